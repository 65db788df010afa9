//! The program of the board with an RP2040 itself, in an emulator of that chip: its ports at the
//! speed they have in a car, its interrupts, its lamp.

use crate::host::{frames, received, told};
use crate::stream::{SAMPLE_US, course, ubx};
use cuepost_engine::wire::{FrameReader, Message, Outcome, Query, Status, encode};
use cuepost_engine::{Cue, Event};
use cuepost_firmware::pattern::Pattern;
use cuepost_tests::board::flash_with;
use std::path::{Path, PathBuf};
use std::process::Command;

/// When the first byte comes: the board has started by then.
const BEGIN_US: u64 = 200_000;
/// So much of the drive: the emulator is slow.
const SAMPLES: usize = 2_500;
/// Bytes of a NAV-PVT.
const FRAME: usize = 100;

/// Builds the program as its user does.
fn program() -> PathBuf {
    let boards = Path::new(env!("CARGO_MANIFEST_DIR")).join("../firmware/boards");
    let built = Command::new("bash")
        .current_dir(&boards)
        .env_remove("RUSTFLAGS")
        .env_remove("CARGO_TARGET_DIR")
        .args(["build.sh", "rp2040"])
        .output()
        .expect("bash");
    let said = String::from_utf8_lossy(&built.stderr);
    assert!(built.status.success(), "build.sh rp2040:\n{said}");
    boards.join("target/cuepost-rp2040.bin")
}

/// A folder with the emulator in it, which npm fetches once.
fn emulator() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("rp2040");
    std::fs::create_dir_all(&folder).unwrap();
    let ours = Path::new(env!("CARGO_MANIFEST_DIR")).join("emulated/rp2040");
    for file in ["package.json", "package-lock.json", "run.mjs"] {
        std::fs::copy(ours.join(file), folder.join(file)).unwrap();
    }
    if !folder.join("node_modules/rp2040js").exists() {
        let npm = Command::new("npm")
            .current_dir(&folder)
            .args(["ci", "--no-audit", "--no-fund"])
            .output()
            .expect("npm, which tests/setup.sh installs");
        let said = String::from_utf8_lossy(&npm.stderr);
        assert!(npm.status.success(), "npm ci:\n{said}");
    }
    folder
}

/// What the chip did.
#[derive(Default)]
struct Did {
    /// Bytes of the computer's port up to a zero, and when their first came, microseconds. A frame
    /// has a zero before it as well, which is a piece of its own.
    out: Vec<(u64, Vec<u8>)>,
    /// The lamp's pin: when, and whether it went on.
    lamp: Vec<(u64, bool)>,
}

/// Runs the program on what comes in: when, on which port, what.
fn run(coming: &[(u64, u16, &[u8])]) -> Did {
    let folder = emulator();
    let mut blob = Vec::new();
    for (at_us, port, bytes) in coming {
        blob.extend(u32::try_from(*at_us).unwrap().to_le_bytes());
        blob.extend(port.to_le_bytes());
        blob.extend((bytes.len() as u16).to_le_bytes());
        blob.extend_from_slice(bytes);
    }
    std::fs::write(folder.join("store.bin"), flash_with(&course().reference)).unwrap();
    std::fs::write(folder.join("received.bin"), blob).unwrap();
    let ran = Command::new("node")
        .current_dir(&folder)
        .arg("run.mjs")
        .arg(program())
        .args(["store.bin", "received.bin"])
        .output()
        .expect("node, which tests/setup.sh installs with npm");
    let said = String::from_utf8_lossy(&ran.stderr);
    assert!(ran.status.success(), "{said}");
    let mut did = Did::default();
    for line in String::from_utf8(ran.stdout).unwrap().lines() {
        let words: Vec<&str> = line.split(' ').collect();
        match words[..] {
            ["out", at, hex] => did.out.push((at.parse().unwrap(), unhex(hex))),
            ["lamp", at, on] => did.lamp.push((at.parse().unwrap(), on == "1")),
            ["cycles", _] => {}
            _ => panic!("the program ran away: {line}"),
        }
    }
    did
}

fn unhex(text: &str) -> Vec<u8> {
    let byte = |at: usize| u8::from_str_radix(&text[at..at + 2], 16).unwrap();
    (0..text.len()).step_by(2).map(byte).collect()
}

fn message(bytes: &[u8]) -> Option<Message> {
    let mut reader = FrameReader::<{ cuepost_engine::wire::BODY_MAX }>::new();
    [0].iter()
        .chain(bytes)
        .find_map(|byte| match reader.feed(*byte) {
            Outcome::Message(message) => Some(message),
            _ => None,
        })
}

fn status(did: &Did) -> Status {
    let messages = did.out.iter().filter_map(|(_, bytes)| message(bytes));
    let mut found = messages.filter_map(|message| match message {
        Message::Status(status) => Some(status),
        _ => None,
    });
    found.next().expect("an answer to the question")
}

/// The cues, each with the number of the sample after which the host gives it.
fn cues(told: &[(usize, Event)]) -> Vec<(usize, Cue)> {
    let cue = |(at, event): &(usize, Event)| match event {
        Event::Cue(cue) => Some((*at, *cue)),
        _ => None,
    };
    told.iter().filter_map(cue).collect()
}

/// When the sample after which the host says this had wholly come in, on the board's clock.
fn arrived_us(told_at: usize) -> u64 {
    BEGIN_US + told_at as u64 * SAMPLE_US + FRAME as u64 * 10 * 1_000_000 / 115_200
}

/// A drive at the pace it had, on the line it has in a car: no byte is lost, the host's bytes come
/// out, each cue within a sample of when the host has it, and the lamp shows it.
#[test]
fn a_receiver_at_its_own_pace() {
    let bytes = ubx(&course().samples[..SAMPLES]);
    let samples = received(&bytes);
    assert_eq!(samples.len(), SAMPLES, "each frame is a sample");
    let told = told(&course().reference, &samples);
    let cues = cues(&told);
    assert!(cues.len() >= 2, "a drive worth watching: {}", cues.len());
    let mut question = [0; 64];
    let len = encode(&Message::Query(Query::Status), &mut question).unwrap();
    let mut coming: Vec<(u64, u16, &[u8])> = bytes
        .chunks(FRAME)
        .zip(0u64..)
        .map(|(frame, n)| (BEGIN_US + n * SAMPLE_US, 1, frame))
        .collect();
    let end_us = BEGIN_US + SAMPLES as u64 * SAMPLE_US;
    coming.push((end_us, 0, &question[..len]));
    let did = run(&coming);

    let status = status(&did);
    let counts = status.counts;
    assert_eq!(counts.lost_in, 0, "{counts:?}");
    assert_eq!(
        (counts.receiver, counts.receiver_refused),
        (SAMPLES as u32, 0)
    );
    assert_eq!(counts.lost_out, 0, "{counts:?}");

    let events: Vec<Event> = told.iter().map(|(_, event)| *event).collect();
    let said: Vec<u8> = did
        .out
        .iter()
        .filter(|(at_us, _)| *at_us < end_us)
        .flat_map(|(_, bytes)| bytes.clone())
        .collect();
    assert!(said == frames(&events), "the host says something else");

    for (told_at, cue) in &cues {
        let wanted = frames(&[Event::Cue(*cue)]);
        let (at_us, _) = did
            .out
            .iter()
            .find(|(_, bytes)| *bytes == wanted[1..])
            .expect("the cue");
        let late_us = at_us.saturating_sub(arrived_us(*told_at));
        assert!(
            late_us <= SAMPLE_US,
            "{late_us} µs behind the sample: {cue:?}"
        );
        println!("cue {late_us} µs behind its sample's last byte");
    }
    lamp_shows(&did, &cues[0].1, arrived_us(cues[0].0));
}

/// After its sample the pulses of the cue, no more and no fewer, short or long.
fn lamp_shows(did: &Did, cue: &Cue, from_us: u64) {
    use cuepost_engine::Way;
    use cuepost_firmware::pattern::{LONG_ON_MS, SHORT_ON_MS};
    let pattern = Pattern::of(cue.phase, cue.advice).expect("a pattern");
    let after: Vec<_> = did.lamp.iter().filter(|(at, _)| *at >= from_us).collect();
    let on_ms = match pattern.way() {
        Way::Less => SHORT_ON_MS,
        _ => LONG_ON_MS,
    };
    for pulse in after.chunks(2).take(pattern.pulses() as usize) {
        let [(on, true), (off, false)] = pulse else {
            panic!("on, then off: {:?}", did.lamp);
        };
        let ms = (off - on).div_ceil(1_000);
        assert!(
            ms.abs_diff(u64::from(on_ms)) <= 5,
            "{ms} ms, not {on_ms}: {:?}",
            did.lamp
        );
    }
}

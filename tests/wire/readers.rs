//! The readers in Python and C that the page offers, run on the golden vectors.

use crate::vectors;
use cuepost_engine::Size;
use cuepost_engine::wire::{Message, Outcome, Refused};
use cuepost_tests::python::python;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap()
}

/// A folder of this test's own under the target folder.
fn work() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("wire-readers");
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// Runs a reader on the golden vectors, the first frame alone: its line must come while the stream
/// is still open, as from a port.
fn run(command: &mut Command) -> String {
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap_or_else(|e| panic!("{command:?}: {e}"));
    let mut input = child.stdin.take().unwrap();
    let mut output = BufReader::new(child.stdout.take().unwrap());
    let mut text = String::new();
    for (i, (_, bytes, _)) in vectors::all().iter().enumerate() {
        input.write_all(bytes).unwrap();
        if i == 0 {
            input.flush().unwrap();
            output.read_line(&mut text).unwrap();
        }
    }
    drop(input);
    output.read_to_string(&mut text).unwrap();
    assert!(child.wait().unwrap().success(), "{command:?} failed");
    text
}

/// What both readers must print.
fn expected() -> String {
    let all = vectors::all();
    all.iter()
        .map(|(_, bytes, outcome)| line(bytes, outcome) + "\n")
        .collect()
}

fn line(bytes: &[u8], outcome: &Outcome) -> String {
    let seconds = |s: Option<f32>| s.map_or("unknown".into(), |s| format!("{s:.3} s"));
    let other = |bytes: &[u8]| {
        let body = ::cobs::decode_vec(&bytes[1..bytes.len() - 1]).unwrap();
        format!("kind 0x{:02X}: {} bytes", body[1], body.len() - 6)
    };
    match outcome {
        Outcome::Message(Message::Cue(c)) => {
            let (size, unit) = match c.size {
                Size::Metres(x) => (x, "m"),
                Size::Speed(x) => (x, "m/s"),
                Size::Deceleration(x) => (x, "m/s2"),
                Size::Seconds(x) => (x, "s"),
            };
            format!(
                "cue: lap {} corner {} {} {} {size:.3} {unit}, {}, loss {}, at {} us",
                c.lap,
                c.corner,
                c.phase.name(),
                c.advice.name(),
                c.told.name(),
                seconds(c.loss_s),
                c.time_us
            )
        }
        Outcome::Message(Message::Lap(l)) => format!(
            "lap: {} took {} us, valid {}, gap {}",
            l.lap,
            l.time_us,
            u8::from(l.valid),
            seconds(l.gap_s)
        ),
        Outcome::Refused(Refused::Version(v)) => format!("refused: version {v}"),
        Outcome::Refused(Refused::Checksum | Refused::Cut | Refused::Short) => {
            "refused: damaged".into()
        }
        // The readers leave payloads of kinds they do not print unread.
        Outcome::Message(_) | Outcome::Refused(_) => other(bytes),
        Outcome::Nothing => unreachable!("every vector is a frame"),
    }
}

#[test]
fn the_python_reader_reads_the_golden_vectors() {
    let python = python(
        Path::new(env!("CARGO_TARGET_TMPDIR")),
        "cobs.cobs",
        &[("--upgrade", "wire/readers.txt")],
    );
    let script = root().join("docs/examples/wire/read_wire.py");
    assert_eq!(run(Command::new(&python).arg(script)), expected());
}

#[test]
fn the_c_reader_reads_the_golden_vectors() {
    let program = work().join("read_wire");
    let mut cc = Command::new("cc");
    cc.args(["-std=c99", "-Wall", "-Wextra", "-Werror", "-O1", "-o"])
        .arg(&program)
        .arg(root().join("docs/examples/wire/read_wire.c"));
    let compiled = cc.status();
    assert!(
        compiled.is_ok_and(|s| s.success()),
        "needs a C compiler called cc"
    );
    assert_eq!(run(&mut Command::new(&program)), expected());
}

#[test]
fn both_are_under_sixty_lines() {
    for name in ["read_wire.py", "read_wire.c"] {
        let text = std::fs::read_to_string(root().join("docs/examples/wire").join(name)).unwrap();
        assert!(text.lines().count() < 60, "{name}");
    }
}

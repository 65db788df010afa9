//! What the fuzzer runs for hours, here for seconds: its corpus, everything it ever found, and
//! damaged copies of both.

use cuepost_engine::file::{HEAD, TAIL};
use cuepost_engine::reference;
use cuepost_engine::wire::{FRAME_MAX, Header, Message, Query, encode, frame};
use cuepost_engine::{Position, Sample};
use cuepost_host::{reference_file, thresholds_file};
use cuepost_tests::hostile::{TARGETS, Target, invented};
use cuepost_tests::ring::{cue, ring};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use std::path::{Path, PathBuf};

/// Damaged copies of each input.
const COPIES: usize = 24;

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../fuzz")
        .join(name)
}

/// The files of a folder in the order of their names.
fn files(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .unwrap_or_else(|e| panic!("{}: {e}", folder.display()))
        .map(|entry| {
            let path = entry.expect("readable").path();
            let bytes = std::fs::read(&path).expect("readable");
            (path.display().to_string(), bytes)
        })
        .collect();
    files.sort();
    files
}

/// A copy with a few bytes changed, cut out, doubled or taken from another.
fn damaged(rng: &mut Pcg64, bytes: &[u8], other: &[u8]) -> Vec<u8> {
    let mut copy = bytes.to_vec();
    for _ in 0..rng.random_range(1..6) {
        if copy.is_empty() {
            copy.push(rng.random());
        }
        let at = rng.random_range(0..copy.len());
        let end = (at + rng.random_range(1..16)).min(copy.len());
        match rng.random_range(0..5) {
            0 => copy[at] ^= 1 << rng.random_range(0..8),
            1 => copy[at] = rng.random(),
            2 => drop(copy.drain(at..end)),
            3 => {
                let again = copy[at..end].to_vec();
                copy.splice(at..at, again);
            }
            _ => {
                let from = rng.random_range(0..=other.len());
                let to = (from + 32).min(other.len());
                copy.splice(at..end, other[from..to].iter().copied());
            }
        }
    }
    copy
}

fn stand(name: &str, target: Target) {
    let mut inputs = files(&folder("corpus").join(name));
    assert!(inputs.len() >= 3, "{name} has hardly a corpus");
    inputs.extend(files(&folder("finds")).into_iter().filter(|(path, _)| {
        let file = Path::new(path).file_name().and_then(|f| f.to_str());
        file.is_some_and(|f| f.starts_with(&format!("{name}-")))
    }));
    let mut rng = Pcg64::seed_from_u64(8);
    for (path, bytes) in &inputs {
        println!("{path}");
        target(bytes);
        for copy in 0..COPIES {
            println!("  copy {copy}");
            let other = &inputs[rng.random_range(0..inputs.len())].1;
            target(&damaged(&mut rng, bytes, other));
        }
    }
}

macro_rules! stands {
    ($($name:ident)*) => {
        const TESTED: &[&str] = &[$(stringify!($name)),*];
        $(
            #[test]
            fn $name() {
                stand(stringify!($name), cuepost_tests::hostile::$name);
            }
        )*
    };
}

stands!(receiver wire reference thresholds table packets engine web);

#[test]
fn every_way_in_is_tested() {
    let names: Vec<&str> = TARGETS.iter().map(|(name, _)| *name).collect();
    assert_eq!(names, TESTED);
}

/// The seeds that are made of our own formats, by their files.
fn made() -> Vec<(&'static str, Vec<u8>)> {
    let content = |file: &[u8]| file[HEAD..file.len() - TAIL].to_vec();
    let reference = reference_file::encode(&invented().view()).expect("valid");
    let config = thresholds_file::to_bytes(&Default::default()).expect("valid");
    let sample = Sample {
        time_us: 118_020_000,
        speed_mps: Some(41.25),
        position: Some(Position::Geodetic {
            lat_e7: 465_012_345,
            lon_e7: -71_234_567,
        }),
        ..Sample::default()
    };
    let mut made = vec![
        ("reference/ring", content(&ring(60.0))),
        ("reference/small-whole", ring(15.0)),
        ("reference/invented", content(&reference)),
        ("thresholds/board", content(&config)),
        ("thresholds/board-whole", config),
    ];
    for (whole, body, message) in [
        ("wire/sample", "wire/sample-body", Message::Sample(sample)),
        ("wire/cue", "wire/cue-body", Message::Cue(cue())),
        (
            "wire/query",
            "wire/query-body",
            Message::Query(Query::Status),
        ),
        (
            "wire/header",
            "wire/header-body",
            Message::Header(Header::default()),
        ),
    ] {
        let mut frame = [0; FRAME_MAX];
        let n = encode(&message, &mut frame).expect("valid");
        made.push((whole, frame[..n].to_vec()));
        // Kind and payload, as between version and checksum.
        let mut inner = frame[1..n - 1].to_vec();
        let length = cobs::decode_in_place(&mut inner).expect("our own");
        made.push((body, inner[1..length - 4].to_vec()));
    }
    made
}

/// A seed of an older format is refused at once and finds nothing. `CUEPOST_SEEDS=renew` writes
/// them.
#[test]
fn the_seeds_are_of_this_version() {
    let renew = std::env::var_os("CUEPOST_SEEDS").is_some();
    for (name, bytes) in made() {
        let path = folder("corpus").join(name);
        if renew {
            std::fs::write(&path, &bytes).expect("written");
        }
        let kept = std::fs::read(&path).expect("there");
        // What is learned changes with the learning; that it can be read is enough.
        let good = match name {
            "reference/invented" => is_read(&kept),
            _ => kept == bytes,
        };
        assert!(
            good,
            "{}: made for another version; renew it with CUEPOST_SEEDS=renew",
            path.display()
        );
    }
}

/// Whether the content of a reference can be read.
fn is_read(content: &[u8]) -> bool {
    let mut file = reference::MAGIC.to_vec();
    file.push(reference::VERSION);
    file.extend_from_slice(&((HEAD + content.len() + TAIL) as u32).to_le_bytes());
    file.extend_from_slice(content);
    let crc = frame::crc32(&file);
    file.extend_from_slice(&crc.to_le_bytes());
    let mut store = Box::new(reference_file::HostReference::new());
    reference::decode(&file, &mut *store).is_ok()
}

/// What is built in has a reason that people can read.
#[test]
fn every_dependency_has_a_reason() {
    let root = folder("..");
    let page = std::fs::read_to_string(root.join("docs/DEPENDENCIES.md")).expect("there");
    let boards = ["emulated", "rp2040", "stm32f4"].map(|b| format!("firmware/boards/{b}"));
    let packages = ["engine", "host", "firmware", "tests", "fuzz"].map(str::to_owned);
    for package in packages.into_iter().chain(boards) {
        let manifest = root.join(&package).join("Cargo.toml");
        let text = std::fs::read_to_string(manifest).expect("there");
        let mut inside = false;
        for line in text.lines() {
            if line.starts_with('[') {
                inside = line.contains("dependencies]");
            }
            let name = line.split(['=', '.', ' ']).next().unwrap_or_default();
            let ours = name.is_empty() || name.starts_with(['#', '[', '"', ']']);
            if inside && !ours && !name.starts_with("cuepost") {
                assert!(page.contains(&format!("`{name}`")), "{package}: `{name}`");
            }
        }
    }
}

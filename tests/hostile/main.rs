//! What the fuzzer runs for hours, here for seconds: its corpus, everything it ever found, and
//! damaged copies of both.

use cuepost_tests::hostile::{TARGETS, Target};
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

stands!(receiver wire reference thresholds table engine web);

#[test]
fn every_way_in_is_tested() {
    let names: Vec<&str> = TARGETS.iter().map(|(name, _)| *name).collect();
    assert_eq!(names, TESTED);
}

//! Several recordings in one replay.

use crate::tables::{cuepost, simulator, work};
use std::process::Command;

/// Each is told as it would be alone, in the order given, also around one that cannot be read.
#[test]
fn several_recordings_are_told_in_order_and_one_that_cannot_be_read_is_named() {
    let (recording, reference) = simulator();
    let text = std::fs::read_to_string(&recording).expect("a recording");
    let half = text.lines().take(text.lines().count() / 2);
    let half: String = half.map(|line| format!("{line}\n")).collect();
    let short = work().join("half.csv");
    std::fs::write(&short, half).expect("written");
    let bad = work().join("bad.csv");
    std::fs::write(&bad, "this is no recording\n").expect("written");
    let (short, bad) = (short.display().to_string(), bad.display().to_string());
    let alone = |of: &str| cuepost(&["replay", of, "-r", &reference, "--format", "jsonl"]);
    let both = alone(&recording) + &alone(&short);
    assert!(both.lines().count() > 50, "a drive worth telling");
    let output = Command::new(env!("CARGO_BIN_EXE_program"))
        .args(["replay", &recording, &bad, &short, "-r", &reference])
        .args(["--format", "jsonl"])
        .output()
        .expect("runs");
    assert!(
        String::from_utf8_lossy(&output.stdout) == both,
        "told otherwise"
    );
    assert_eq!(output.status.code(), Some(2));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(said.contains("bad.csv"), "{said}");
    assert!(said.contains("1 of 3 recordings"), "{said}");
}

/// Tables are named after their recordings; two of one name are refused before anything is written.
#[test]
fn tables_of_several_recordings_are_named_after_them() {
    let (recording, reference) = simulator();
    let other = work().join("again.csv");
    std::fs::copy(&recording, &other).expect("copied");
    let other = other.display().to_string();
    let prefix = work().join("season").display().to_string();
    let words = ["-r", &reference, "--format", "csv", "-o", &prefix];
    let told = cuepost(&[&["replay", &recording, &other][..], &words].concat());
    assert_eq!(told.lines().count(), 6, "{told}");
    assert!(work().join("season.again.facts.csv").exists(), "{told}");
    let twice = Command::new(env!("CARGO_BIN_EXE_program"))
        .args([&["replay", &recording, &recording][..], &words].concat())
        .output()
        .expect("runs");
    assert_eq!(twice.status.code(), Some(2));
}

//! What a coach who knows numpy would write for himself says the same of the same recordings.

use cuepost_tests::command::Folder;
use cuepost_tests::python::{compare, python};
use std::path::Path;
use std::process::Command;

/// Laps of the tables that both read.
const LAPS: [&str; 2] = ["1", "30"];

/// Onsets, slowest points, losses and lap times agree (the script ends with a fault where they do
/// not), and each table has its ratio of both times. How large it is depends on the build.
#[test]
fn the_notebook_says_the_same_and_both_are_timed() {
    let folder = Folder::new("compare");
    let demo = folder.file("demo");
    let program = env!("CARGO_BIN_EXE_program");
    let made = Command::new(program)
        .args(["demo", "--out", &demo])
        .output()
        .expect("started");
    assert!(made.status.success(), "{made:?}");
    let python = python(
        Path::new(env!("CARGO_TARGET_TMPDIR")),
        "numpy, pandas, scipy",
        &[("--upgrade", "compare/requirements.txt")],
    );
    let out = Command::new(python)
        .arg(compare().join("compare.py"))
        .args([program, &demo])
        .args(LAPS)
        .output()
        .expect("started");
    let told = String::from_utf8_lossy(&out.stdout);
    assert!(
        out.status.success(),
        "{told}{}",
        String::from_utf8_lossy(&out.stderr)
    );
    for laps in LAPS {
        let row = told.lines().find(|l| l.starts_with(&format!("| {laps} |")));
        let cells: Vec<&str> = row.expect("a row of each").split('|').collect();
        let ratio: f64 = cells[6].trim().parse().expect("a ratio");
        assert!(ratio > 0.0, "{cells:?}");
    }
    for what in ["brake_m", "throttle_m", "loss_s", "slowest_mps", "lap_s"] {
        let held = told.lines().filter(|l| l.contains(&format!("  {what}: ")));
        assert_eq!(held.count(), LAPS.len(), "{what} in {told}");
    }
}

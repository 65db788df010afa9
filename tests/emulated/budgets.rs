//! What the firmware costs, measured on the emulated board, and the limits it keeps to.
//!
//! The table alone: `cargo test -p cuepost-tests --test emulated budgets -- --nocapture`

use crate::guest::{Guest, programs};
use crate::stream::{course, nmea, ubx, wire};
use std::collections::BTreeMap;
use std::process::Command;

/// Limits of the design.
const MEAN_MOST: u32 = 2_500;
const WORST_MOST: u32 = 30_000;
const CODE_MOST: u32 = 96 * 1024;
const RAM_MOST: u32 = 24 * 1024;
const STACK_MOST: u32 = 4 * 1024;

/// Runs the measuring program over a recording; its report by name.
fn measured(recording: &[u8], for_computer: bool) -> BTreeMap<String, u32> {
    let reference = &course().reference;
    let mut blob = Vec::new();
    blob.extend((reference.len() as u32).to_le_bytes());
    blob.extend((recording.len() as u32).to_le_bytes());
    blob.extend(u32::from(for_computer).to_le_bytes());
    blob.extend_from_slice(reference);
    blob.extend_from_slice(recording);
    let name = format!("cuepost-budget-{}-{}", std::process::id(), recording.len());
    let path = std::env::temp_dir().join(name);
    std::fs::write(&path, blob).unwrap();
    let load = format!(
        "loader,file={},addr=0x21000000,force-raw=on",
        path.display()
    );
    let guest = Guest::start("budget", 1, &["-device".into(), load]);
    let mut heard = guest.listen(0);
    let ends =
        |bytes: &[u8]| bytes.windows(14).any(|w| w == b"engine, bytes:") && bytes.ends_with(b"\n");
    let report = String::from_utf8(heard.until(ends).to_vec()).unwrap();
    std::fs::remove_file(path).unwrap();
    let row = |line: &str| {
        let (name, number) = line.split_once(": ")?;
        Some((name.to_owned(), number.parse().ok()?))
    };
    report.lines().filter_map(row).collect()
}

/// Sizes of the sections of the program that runs on the board.
fn sections() -> BTreeMap<String, u32> {
    let root = Command::new("rustc")
        .args(["--print", "sysroot"])
        .output()
        .unwrap();
    let root = String::from_utf8(root.stdout).unwrap();
    let host = Command::new("rustc")
        .args(["--print", "host-tuple"])
        .output()
        .unwrap();
    let host = String::from_utf8(host.stdout).unwrap();
    let size = format!("{}/lib/rustlib/{}/bin/llvm-size", root.trim(), host.trim());
    let said = Command::new(size)
        .arg("-A")
        .arg(programs().join("cuepost-emulated"))
        .output()
        .expect("llvm-size, which tests/setup.sh installs with llvm-tools");
    let row = |line: &str| {
        let mut words = line.split_whitespace();
        Some((words.next()?.to_owned(), words.next()?.parse().ok()?))
    };
    String::from_utf8(said.stdout)
        .unwrap()
        .lines()
        .filter_map(row)
        .collect()
}

#[test]
fn budgets() {
    let samples = &course().samples;
    let runs = [
        ("UBX", measured(&ubx(samples), false)),
        ("NMEA", measured(&nmea(samples), false)),
        ("wire", measured(&wire(samples), true)),
    ];
    let sections = sections();
    let section = |name: &str| sections.get(name).copied().unwrap_or(0);
    let any = &runs[0].1;
    let code = [".vector_table", ".text", ".rodata", ".data"]
        .map(section)
        .iter()
        .sum::<u32>();
    let ram = section(".data") + section(".bss") + section(".uninit") - any["reference, bytes"];
    let worst = |name: &str| runs.iter().map(|(_, run)| run[name]).max().unwrap_or(0);
    println!("| what | measured | limit |\n|---|---|---|");
    for (kind, run) in &runs {
        assert!(run["samples"] > 4_000, "{kind}: {run:?}");
        let (mean, worst) = (
            run["instructions a sample, mean"],
            run["instructions a sample, worst"],
        );
        println!("| {kind}, instructions a sample, mean | {mean} | {MEAN_MOST} |");
        println!("| {kind}, instructions a sample, worst | {worst} | {WORST_MOST} |");
    }
    println!(
        "| instructions, a step with nothing to do | {} | |",
        any["instructions, nothing to do"]
    );
    println!(
        "| instructions, a cue on strip, sounder, screen | {} | |",
        any["instructions, a cue shown"]
    );
    println!("| code and constants, bytes | {code} | {CODE_MOST} |");
    println!("| static memory without the reference, bytes | {ram} | {RAM_MOST} |");
    println!("| of that the engine, bytes | {} | |", any["engine, bytes"]);
    println!("| the reference, bytes | {} | |", any["reference, bytes"]);
    println!(
        "| stack while running, bytes | {} | {STACK_MOST} |",
        worst("stack, bytes")
    );
    println!(
        "| stack at the start, bytes | {} | |",
        worst("stack at the start, bytes")
    );
}

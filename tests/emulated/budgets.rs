//! What the firmware costs, measured on the emulated board, and the limits it keeps to.
//!
//! The table alone: `cargo test -p cuepost-tests --test emulated budgets -- --nocapture`

use crate::guest::{Guest, Pace, llvm, programs};
use crate::stream::{course, nmea, ubx, wire};
use std::collections::BTreeMap;
use std::process::Command;

/// What a figure should be at most, and what it may be at most today: where that is more, the goal
/// is missed, and the second number keeps it from growing. `docs/SPEED.md` says what it would take.
struct Limit {
    goal: u32,
    today: u32,
}

const UBX_MEAN: Limit = missed(2_500, 6_940);
const NMEA_MEAN: Limit = missed(2_500, 12_300);
const WIRE_MEAN: Limit = missed(2_500, 8_400);
const WORST: Limit = kept(30_000);
/// Kept as well, by so little that it may rise.
const WIRE_WORST: Limit = missed(30_000, 32_350);
const CODE: Limit = missed(96 * 1024, 129_950);
const RAM: Limit = kept(24 * 1024);
const STACK: Limit = kept(4 * 1024);
/// A main loop that has nothing to do.
const IDLE: Limit = kept(100);

const fn kept(goal: u32) -> Limit {
    Limit { goal, today: goal }
}

const fn missed(goal: u32, today: u32) -> Limit {
    Limit { goal, today }
}

/// The rows of the table, and what is over its limit.
#[derive(Default)]
struct Table {
    over: Vec<String>,
}

impl Table {
    fn row(&mut self, what: &str, measured: u32, limit: &Limit) {
        let Limit { goal, today } = *limit;
        let kept = if measured <= goal { "kept" } else { "missed" };
        println!("| {what} | {measured} | {goal} | {kept} |");
        if measured > today.max(goal) {
            self.over
                .push(format!("{what}: {measured}, at most {today} so far"));
        }
    }

    fn note(what: &str, measured: u32) {
        println!("| {what} | {measured} | | |");
    }
}

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
    let guest = Guest::start("budget", 1, Pace::Counted, &["-device".into(), load]);
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
    let said = Command::new(llvm("llvm-size"))
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
    println!("| what | measured | goal | |\n|---|---|---|---|");
    let mut table = Table::default();
    let limits = [
        (UBX_MEAN, WORST),
        (NMEA_MEAN, WORST),
        (WIRE_MEAN, WIRE_WORST),
    ];
    for ((kind, run), (mean, most)) in runs.iter().zip(limits) {
        assert!(run["samples"] > 4_000, "{kind}: {run:?}");
        let name = |which: &str| format!("{kind}, instructions a sample, {which}");
        table.row(&name("mean"), run["instructions a sample, mean"], &mean);
        table.row(&name("worst"), run["instructions a sample, worst"], &most);
    }
    let idle = "instructions, nothing to do";
    table.row(idle, any[idle], &IDLE);
    Table::note(
        "instructions, a cue on strip, sounder, screen",
        any["instructions, a cue shown"],
    );
    table.row("code and constants, bytes", code, &CODE);
    table.row("static memory without the reference, bytes", ram, &RAM);
    Table::note("of that the engine, bytes", any["engine, bytes"]);
    Table::note("the reference, bytes", any["reference, bytes"]);
    table.row("stack while running, bytes", worst("stack, bytes"), &STACK);
    let start = "stack at the start, bytes";
    Table::note(start, worst(start));
    assert!(table.over.is_empty(), "{}", table.over.join("; "));
}

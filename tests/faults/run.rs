//! The fault campaign by hand.
//!
//! ```text
//! cargo run --release -p cuepost-tests --bin faults                     # the stream of the tests
//! cargo run --release -p cuepost-tests --bin faults -- invented=20      # and 20 invented circuits
//! cargo run --release -p cuepost-tests --bin faults -- sim=s2:base.csv:var.csv:2 seeds=5 leap lag
//! ```
//!
//! `sim=NAME:BASE:VAR:EVERY` takes every so-and-so-manieth row of two tables with `t_s, x_m, y_m,
//! speed_mps, course_rad`.

use cuepost_tests::csv::data;
use cuepost_tests::faults::{
    Clean, Fault, Rate, Report, Row, Stream, clean, invented, measure, simulator,
};
use std::path::Path;

const USAGE: &str =
    "faults [sim=NAME:BASE:VAR:EVERY]... [invented=N] [seeds=N] [first=N] [show] [FAULT...]";

fn main() {
    let (mut streams, mut faults) = (Vec::new(), Vec::new());
    let (mut seeds, mut first, mut show) = (1u64, 0u64, false);
    for arg in std::env::args().skip(1) {
        let (name, value) = arg.split_once('=').unwrap_or((&arg, ""));
        let number = || {
            value
                .parse()
                .unwrap_or_else(|_| panic!("{arg}: no number; {USAGE}"))
        };
        match name {
            "sim" => streams.push(from_files(value)),
            "invented" => streams.extend((0..number()).map(invented)),
            "seeds" => seeds = number(),
            "first" => first = number(),
            "show" => show = true,
            other => faults.push(
                Fault::ALL
                    .into_iter()
                    .find(|f| f.name() == other)
                    .unwrap_or_else(|| panic!("{other}: no such fault; {USAGE}")),
            ),
        }
    }
    if streams.is_empty() {
        let base = data("learn/s5_touring.25hz.csv");
        streams.push(simulator(
            "s5",
            &base,
            &data("truth/s5_touring.var25.csv"),
            1,
        ));
    }
    if faults.is_empty() {
        faults = Fault::ALL.to_vec();
    }
    let report = campaign(&streams, &faults, first..first + seeds);
    if show {
        for (name, row) in &report.rows {
            for line in row.wrong.iter().chain(&row.laps_false).chain(&row.slow) {
                println!("{name}: {line}");
            }
        }
    }
    println!("{report}");
}

fn campaign(streams: &[Stream], faults: &[Fault], seeds: std::ops::Range<u64>) -> Report {
    let mut report = Report::default();
    let clean: Vec<_> = streams.iter().map(clean).collect();
    for (stream, Clean { run, .. }) in streams.iter().zip(&clean) {
        let name = &stream.name;
        println!(
            "{name}: {} laps, {} cues when clean",
            run.laps.len(),
            run.cues.len()
        );
    }
    for &fault in faults {
        for rate in Rate::ALL {
            let mut row = Row::default();
            for seed in seeds.clone() {
                for (stream, run) in streams.iter().zip(&clean) {
                    row.add(measure(stream, run, fault, rate, seed));
                }
            }
            report
                .rows
                .push((format!("{} | {}", fault.name(), rate.name()), row));
        }
    }
    report
}

fn from_files(value: &str) -> Stream {
    let parts: Vec<&str> = value.split(':').collect();
    let [name, base, var, every] = parts[..] else {
        panic!("sim={value}: {USAGE}");
    };
    let every = every
        .parse()
        .unwrap_or_else(|_| panic!("{every}: no number; {USAGE}"));
    simulator(name, Path::new(base), Path::new(var), every)
}

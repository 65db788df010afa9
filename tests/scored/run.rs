//! Scores drives with known pedals by hand.
//!
//! `cargo run --release -p cuepost-tests --bin scored` takes the drives of the test data;
//! `scored [seeds=N] [noise=MPS] [pedals] [NAME:BASE:VAR:TRUTH ...]` takes others: a drive whose
//! last whole lap is the reference, a drive with faults, and its table of truth.

use cuepost_tests::scored::{Report, Seen, Stream, run, streams};

const USAGE: &str = "scored [seeds=N] [noise=MPS] [pedals] [NAME:BASE:VAR:TRUTH ...]";

fn main() {
    let mut given: Vec<Stream> = Vec::new();
    let (mut seeds, mut noise_mps, mut pedals) = (1_u64, 0.05, false);
    for arg in std::env::args().skip(1) {
        let parts: Vec<&str> = arg.split(':').collect();
        match (arg.split_once('='), parts.as_slice()) {
            (Some(("seeds", n)), _) => seeds = n.parse().unwrap_or_else(|_| panic!("{USAGE}")),
            (Some(("noise", n)), _) => noise_mps = n.parse().unwrap_or_else(|_| panic!("{USAGE}")),
            (None, ["pedals"]) => pedals = true,
            (None, [name, base, driven, truth]) => given.push(Stream {
                name: (*name).to_owned(),
                base: base.into(),
                driven: vec![(driven.into(), truth.into())],
            }),
            _ => panic!("`{arg}`: {USAGE}"),
        }
    }
    if given.is_empty() {
        given = streams();
    }
    let mut report = Report::default();
    for stream in &given {
        for seed in 0..seeds {
            let seen = Seen {
                pedals,
                noise_mps,
                seed,
            };
            report.add(&run(stream, &seen));
        }
    }
    for miss in &report.misses {
        println!("{miss}");
    }
    println!("\n{report}");
}

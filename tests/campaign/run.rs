//! The campaign by hand.
//!
//! `cargo run --release -p cuepost-tests --bin campaign -- seeds=60 rate=25 noise=0.05` drives
//! seeds 0 to 59 and prints where it failed, then the tables. One seed alone (`seeds=1 first=17`)
//! repeats one case.

use cuepost_host::demo::campaign::Wanted;
use cuepost_host::demo::fault::FaultKind;
use cuepost_host::demo::receiver::ReceiverModel;
use cuepost_tests::campaign::{Report, run};

const USAGE: &str = "campaign [seeds=N] [first=N] [rate=HZ] [noise=MPS] [tau=S] [laps=N] [pace=0.95] \
                     [pedals] [FAULT...]";

struct Asked {
    seeds: u64,
    first: u64,
    wanted: Wanted,
    receiver: ReceiverModel,
}

fn main() {
    let asked = parse(std::env::args().skip(1));
    let mut report = Report::default();
    for seed in asked.first..asked.first + asked.seeds {
        let outcomes = run(seed, &asked.wanted, &asked.receiver);
        report.add(seed, outcomes.as_deref(), &asked.wanted);
    }
    for line in &report.failures {
        println!("{line}");
    }
    println!("\n{report}");
}

fn parse(args: impl Iterator<Item = String>) -> Asked {
    let mut asked = Asked {
        seeds: 20,
        first: 0,
        wanted: Wanted {
            pace: (0.93, 0.975),
            ..Wanted::default()
        },
        receiver: ReceiverModel::usual(25.0),
    };
    let mut kinds = Vec::new();
    for arg in args {
        let (name, value) = arg.split_once('=').unwrap_or((&arg, ""));
        let number = || {
            value
                .parse::<f64>()
                .unwrap_or_else(|_| panic!("`{arg}` is no number; {USAGE}"))
        };
        match name {
            "seeds" => asked.seeds = number() as u64,
            "first" => asked.first = number() as u64,
            "laps" => asked.wanted.laps = number() as usize,
            "rate" => asked.receiver.rate_hz = number(),
            "noise" => asked.receiver.speed_sd_mps = number(),
            "tau" => asked.receiver.speed_tau_s = number(),
            "pace" => asked.wanted.pace = (number(), number() + 1e-6),
            "pedals" => asked.receiver.pedals = true,
            other => kinds.push(
                FaultKind::from_name(other)
                    .unwrap_or_else(|| panic!("no fault is called `{other}`; {USAGE}")),
            ),
        }
    }
    if !kinds.is_empty() {
        asked.wanted.kinds = kinds;
    }
    asked
}

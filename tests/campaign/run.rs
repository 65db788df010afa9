//! The campaign by hand: `campaign [SEEDS] [FIRST] [RATE_HZ] [NOISE_MPS] [pedals] [KIND...]`.
//!
//! `cargo run --release -p cuepost-tests --bin campaign -- 40 0 25 0.05` drives seeds 0 to 39 and
//! prints the tables; one seed alone repeats one case.

use cuepost_host::demo::campaign::Wanted;
use cuepost_host::demo::fault::FaultKind;
use cuepost_host::demo::receiver::ReceiverModel;
use cuepost_tests::campaign::{Report, run};

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let number = |i: usize, or: f64| args.get(i).and_then(|s| s.parse().ok()).unwrap_or(or);
    let (count, first) = (number(0, 20.0) as u64, number(1, 0.0) as u64);
    let kinds: Vec<FaultKind> = args
        .iter()
        .filter_map(|a| FaultKind::from_name(a))
        .collect();
    let mut wanted = Wanted::default();
    if !kinds.is_empty() {
        wanted.kinds = kinds;
    }
    let receiver = ReceiverModel {
        speed_sd_mps: number(3, 0.05),
        pedals: args.iter().any(|a| a == "pedals"),
        ..ReceiverModel::usual(number(2, 25.0))
    };
    let mut report = Report::default();
    for seed in first..first + count {
        let outcomes = run(seed, &wanted, &receiver);
        report.add(seed, outcomes.as_deref(), &wanted);
    }
    for line in &report.failures {
        println!("{line}");
    }
    println!("\n{report}");
}

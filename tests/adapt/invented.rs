//! Many invented circuits and cars: whatever is computed is valid, nothing changed is nothing
//! moved, and less tyre never asks for more.

use crate::asks_for_no_more;
use cuepost_host::adapt::{Change, adapt};
use cuepost_host::demo::campaign::{Wanted, case};
use cuepost_host::demo::receiver::{ReceiverModel, sample};
use cuepost_host::learn::{Options, Take, learn};
use cuepost_host::reference_file::HostReference;

fn reference(seed: u64) -> Box<HostReference> {
    let wanted = Wanted {
        laps: 1,
        ..Wanted::default()
    };
    let case = case(seed, &wanted);
    let samples = sample(&case.coach, &ReceiverModel::usual(25.0), seed);
    let options = Options {
        start: Some(case.circuit.start()),
        ..Options::default()
    };
    let take = Take {
        name: "coach",
        samples: &samples,
    };
    let learned = learn(&[take], &options, &mut |_, _| {}).expect("a reference");
    learned.reference
}

const SEEDS: std::ops::Range<u64> = 1..9;

#[test]
fn invented_circuits_are_carried_over() {
    let mut worst = 0.0_f64;
    for seed in SEEDS {
        let kept = reference(seed);
        let was = kept.view();
        let same = adapt(&kept, Change::default(), false).expect("adapted");
        worst = worst.max(same.residual_mps);
        let is = same.reference.view();
        assert_eq!(was.nodes, is.nodes, "seed {seed}");
        assert_eq!(was.car, is.car, "seed {seed}");
        for (a, b) in was.corners.iter().zip(is.corners) {
            assert_eq!(a.facts, b.facts, "seed {seed}");
            assert_eq!((a.kind, a.begin_m), (b.kind, b.begin_m), "seed {seed}");
        }
        let weaker = [0.95, 0.8, 0.6].map(|grip| Change {
            grip,
            ..Change::default()
        });
        for change in weaker {
            let adapted = adapt(&kept, change, false).expect("adapted");
            let is = adapted.reference.view();
            assert!(
                is.session.lap_time_us > was.session.lap_time_us,
                "seed {seed}"
            );
            asks_for_no_more(&was, &is, &format!("seed {seed}, {change}"));
        }
        for (grip, power, drag, mass) in [
            (1.3, 1.0, 1.0, 1.0),
            (1.0, 0.5, 1.0, 1.0),
            (1.0, 2.0, 0.5, 1.0),
            (0.4, 2.5, 0.4, 0.5),
            (2.5, 0.4, 2.5, 2.5),
        ] {
            let change = Change {
                grip,
                power,
                drag,
                mass,
                downforce: grip,
            };
            // That it is valid is checked within.
            adapt(&kept, change, false).unwrap_or_else(|e| panic!("seed {seed}, {change}: {e}"));
        }
    }
    println!("with nothing changed the computation is at most {worst:.2} m/s rms off a driven lap");
    assert!(worst < 0.3, "{worst} m/s");
}

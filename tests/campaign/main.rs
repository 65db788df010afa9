//! A small fixed part of the campaign, to notice a fall; the whole is run by hand
//! (`cargo run --release -p cuepost-tests --bin campaign -- seeds=60`).

use cuepost_engine::reference::CornerKind;
use cuepost_host::demo::campaign::{Wanted, case};
use cuepost_host::demo::driver::Scatter;
use cuepost_host::demo::fault::FaultKind;
use cuepost_host::demo::receiver::ReceiverModel;
use cuepost_tests::campaign::{Report, run};

#[test]
fn a_case_follows_from_its_seed() {
    let wanted = Wanted {
        laps: 1,
        ..Wanted::default()
    };
    let (a, b) = (case(11, &wanted), case(11, &wanted));
    assert_eq!(a.planted, b.planted);
    assert_eq!(a.driven.passages, b.driven.passages);
    assert_eq!(a.coach.crossings_s, b.coach.crossings_s);
    assert_ne!(a.circuit.length_m(), case(12, &wanted).circuit.length_m());
}

/// All kinds of corners and of faults come up, faults never in two corners in a row, and where
/// the road allows it they come out as large as ordered.
#[test]
fn planted_faults_come_out_as_ordered() {
    let wanted = Wanted {
        scatter: Scatter::NONE,
        laps: 2,
        ..Wanted::default()
    };
    let mut checked = 0;
    for seed in 100..108 {
        let case = case(seed, &wanted);
        for w in case.planted.windows(2) {
            assert!(w[0].lap != w[1].lap || w[1].corner > w[0].corner + 1);
        }
        for p in &case.planted {
            let driven = case.driven.passage(p.lap, p.corner).expect("driven");
            let clean = case.coach.passage(1, p.corner).expect("driven");
            let (a, b, one) = match p.kind {
                FaultKind::BrakeEarly => (clean.brake, driven.brake, wanted.thresholds.brake_m),
                FaultKind::BrakeLate => (driven.brake, clean.brake, wanted.thresholds.brake_m),
                FaultKind::ThrottleLate => (
                    driven.throttle,
                    clean.throttle,
                    wanted.thresholds.throttle_m,
                ),
                _ => continue,
            };
            let (Some(a), Some(b)) = (a, b) else {
                panic!("seed {seed}: an onset of {p:?} is not known")
            };
            let moved = case.circuit.ahead_m(b.along_m, a.along_m);
            let ordered = p.times * f64::from(one);
            assert!(
                (moved - ordered).abs() < 1.5,
                "seed {seed}: {p:?} came out as {moved} m"
            );
            checked += 1;
        }
        assert!(
            case.driver
                .plan
                .turns
                .iter()
                .any(|t| t.kind == CornerKind::Braked)
        );
    }
    assert!(
        checked >= 8,
        "only {checked} faults were of the kinds looked at"
    );
}

/// From planted faults to verdicts and cues, end to end at 25 Hz and 0.05 m/s.
#[test]
fn most_planted_faults_are_named_and_clean_corners_left_alone() {
    let wanted = Wanted::default();
    let mut report = Report::default();
    for seed in 0..6 {
        let outcomes = run(seed, &wanted, &ReceiverModel::usual(25.0));
        report.add(seed, outcomes.as_deref(), &wanted);
    }
    assert_eq!(
        report.unlearned, [0; 0],
        "every coach's laps give a reference"
    );
    let c = report.at_twice();
    assert!(c.all >= 20, "{} planted faults are too few to tell", c.all);
    assert!(
        c.right_share() >= RIGHT_LEAST,
        "{report}\n{}",
        report.failures.join("\n")
    );
    assert!(
        f64::from(c.told_right) >= RIGHT_LEAST * f64::from(c.all),
        "{report}\n{}",
        report.failures.join("\n")
    );
    assert!(
        report.false_percent() <= FALSE_MOST,
        "{report}\n{}",
        report.failures.join("\n")
    );
    assert_eq!(report.told_while_faster, 0);
}

/// Least share of right verdicts, and of faults told right, over these seeds.
const RIGHT_LEAST: f64 = 0.90;
/// Most false cues in a hundred clean corners over these seeds.
const FALSE_MOST: f64 = 2.0;

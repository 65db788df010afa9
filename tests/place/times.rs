//! Stamps of the same clean drive: late, repeated, missing, of a clock that starts again, and more of
//! them than are needed.

use crate::gate::{BEGIN, RADIUS, SPEED, clean, index, places_hold, ring};
use cuepost_engine::Sample;
use cuepost_engine::event::{HealthState, Why};
use cuepost_engine::gate::Refusal;
use cuepost_tests::csv::local;
use cuepost_tests::drive::drive;

#[test]
fn late_and_repeated_samples() {
    let samples = clean(8.0);
    let mut shuffled = samples.clone();
    for i in (50..150).step_by(10) {
        shuffled.swap(i, i + 1);
    }
    let mut doubled = Vec::new();
    for s in &samples {
        doubled.push(*s);
        doubled.push(*s);
    }
    let line = ring();
    let run = drive(&line.view(), &shuffled);
    assert_eq!(run.gate.refused[Refusal::Backward as usize], 10);
    assert!(
        run.steps[30..]
            .iter()
            .all(|s| s.health.0 == HealthState::Ok)
    );
    places_hold(&drive(&line.view(), &samples), 0.1);
    let run = drive(&line.view(), &doubled);
    assert_eq!(
        run.gate.refused[Refusal::Repeated as usize] as usize,
        samples.len()
    );
    assert!(
        run.steps[60..]
            .iter()
            .all(|s| s.health.0 == HealthState::Ok)
    );
}

#[test]
fn gaps() {
    // Bridged without a word, bridged and said because nothing can be dated across it, broken.
    for (seconds, said, broken) in [
        (0.12, false, false),
        (0.4, true, false),
        (0.48, true, false),
        (1.0, true, true),
        (2.9, true, true),
        (8.0, true, true),
    ] {
        let mut samples = clean(BEGIN + seconds + 6.0);
        samples.drain(index(BEGIN)..index(BEGIN + seconds) - 1);
        let run = drive(&ring().view(), &samples);
        let after = &run.steps[index(BEGIN)..];
        assert_eq!(after[0].gate.expect("admitted").broken, broken, "{seconds}");
        assert_eq!(after[0].health.0 == HealthState::Ok, !said, "{seconds}");
        // Believed within half a second, trusted within two.
        assert!(after[..13].iter().any(|s| s.place.is_some()), "{seconds}");
        assert!(
            after[50..].iter().all(|s| s.health.0 == HealthState::Ok),
            "{seconds}"
        );
        let end = run.steps.last().unwrap().place.unwrap().progress_m;
        let truth = drive(&ring().view(), &clean(BEGIN + seconds + 6.0));
        let want = truth.steps.last().unwrap().place.unwrap().progress_m;
        assert!((end - want).abs() < 0.5, "{seconds}: {end} {want}");
    }
}

/// A clock that starts again is a new session: the lap under way is dropped, its number is kept.
#[test]
fn restarted_clock() {
    for shift in [-6_000_000i64, 700_000_000] {
        let mut samples = clean(100.0);
        let at = index(55.0);
        for s in &mut samples[at..] {
            s.time_us = s.time_us.checked_add_signed(shift).unwrap();
        }
        let run = drive(&ring().view(), &samples);
        assert!(run.steps[at].gate.is_err() && run.steps[at + 1].gate.is_err());
        let first = run.steps[at + 2].gate.expect("admitted");
        assert_eq!(first.dt_s, 0.0);
        assert_eq!(
            run.steps[at + 2].health,
            (HealthState::Lost, Why::Restart),
            "{shift}"
        );
        // Crossings near 35, 77 s: the first opens a lap, the restart drops it.
        assert_eq!(run.crossings().len(), 2);
        assert!(run.laps().is_empty());
        assert_eq!(run.steps.last().unwrap().health.0, HealthState::Ok);
    }
    // One stamp out of the row is no restart.
    for wrong in [0u64, 1_000, 7_000_000_000_000] {
        let mut samples = clean(10.0);
        samples[index(BEGIN)].time_us = wrong;
        let run = drive(&ring().view(), &samples);
        assert!(run.steps[index(BEGIN)].gate.is_err());
        assert!(
            run.steps[30..]
                .iter()
                .all(|s| s.health.0 == HealthState::Ok),
            "{wrong}"
        );
    }
}

/// A clock that is set by less than a restart is said, costs the lap and nothing more: the car drove
/// on, its place is no leap.
#[test]
fn set_clock() {
    for shift in [
        -1_800_000i64,
        -900_000,
        -300_000,
        320_000,
        450_000,
        550_000,
        5_000_000,
    ] {
        let mut samples = clean(60.0);
        let at = index(20.0);
        for s in &mut samples[at..] {
            s.time_us = s.time_us.checked_add_signed(shift).unwrap();
        }
        let run = drive(&ring().view(), &samples);
        let said = run.steps[at..at + 14]
            .iter()
            .any(|s| s.health.0 != HealthState::Ok);
        assert!(said || shift > -400_000 && shift < 0, "{shift}");
        // Set back, nothing can be taken before the clock has passed where it was.
        let over = at + index(2.0 - (shift as f64 * 1e-6).min(0.0));
        assert!(
            run.steps[over..]
                .iter()
                .all(|s| s.health.0 == HealthState::Ok),
            "{shift}"
        );
        // The same road, sample by sample, as with the clock left alone.
        let line = ring();
        let truth = drive(&line.view(), &clean(60.0));
        for (a, b) in run.steps[over..].iter().zip(&truth.steps[over..]) {
            let (a, b) = (a.place.unwrap().progress_m, b.place.unwrap().progress_m);
            assert!(line.view().ahead_m(a, b).abs() < 0.5, "{shift}: {a} {b}");
        }
        assert!(run.laps().iter().all(|lap| !lap.valid), "{shift}");
    }
}

/// Samples that are missing are no clock that was set: the place goes on over them.
#[test]
fn missing_samples_are_no_set_clock() {
    for seconds in [0.2, 0.3, 0.4] {
        let mut samples = clean(12.0);
        samples.drain(index(BEGIN)..index(BEGIN + seconds));
        let run = drive(&ring().view(), &samples);
        let after = run.steps[index(BEGIN)];
        assert!(!after.gate.expect("admitted").broken, "{seconds}");
    }
}

/// A source of 1 kHz is thinned to at most 125 Hz, and gives the same laps.
#[test]
fn faster_than_needed() {
    for hz in [125.0, 200.0, 1000.0] {
        let samples: Vec<_> = (0..(60.0 * hz) as usize)
            .map(|i| {
                let t = i as f64 / hz;
                let a = 1.0 + SPEED * t / RADIUS;
                Sample {
                    time_us: (t * 1e6) as u64,
                    position: Some(local(RADIUS * a.cos(), RADIUS * a.sin())),
                    speed_mps: Some(SPEED as f32),
                    ..Sample::default()
                }
            })
            .collect();
        let run = drive(&ring().view(), &samples);
        let admitted = run.steps.iter().filter(|s| s.gate.is_ok()).count();
        assert!(
            (60 * 80..=60 * 125 + 1).contains(&admitted),
            "{hz}: {admitted}"
        );
        let other: u32 = run.gate.refused[..7].iter().sum();
        assert_eq!(other, 0, "{hz}");
        let crossing = run.crossings()[0].time_us as f64 * 1e-6;
        let want = (std::f64::consts::TAU - 1.0) * RADIUS / SPEED;
        assert!((crossing - want).abs() < 0.002, "{hz}: {crossing} {want}");
        assert!(
            run.steps[(2.0 * hz) as usize..]
                .iter()
                .filter(|s| s.gate.is_ok())
                .all(|s| s.health.0 == HealthState::Ok)
        );
    }
}

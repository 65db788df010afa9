//! The time of crossing the start line.
//!
//! Source of the expectations: between two samples a straight line through the positions is off by
//! |a| h² / (8 v) at most, a cubic through positions and speeds is exact for constant acceleration
//! and constant jerk (both by elementary algebra); white position noise of σ gives
//! σ·sqrt((1-α)² + α²)/v for a crossing by two positions alone.

use cuepost_engine::Sample;
use cuepost_engine::reference::SourceKind;
use cuepost_tests::csv::local;
use cuepost_tests::drive::drive;
use cuepost_tests::track::{HERE, Store, line_through};

/// Two straights of 800 m and two half circles of 100 m radius; the start line is in the middle of
/// the first straight, which runs east.
fn stadium() -> Store {
    let mut points = Vec::new();
    for i in 0..40 {
        points.push((f64::from(i) * 10.0, 0.0));
    }
    let arc = |points: &mut Vec<(f64, f64)>, cx: f64, cy: f64, from: f64| {
        for i in 0..32 {
            let a = from + std::f64::consts::PI * f64::from(i) / 32.0;
            points.push((cx + 100.0 * a.cos(), cy + 100.0 * a.sin()));
        }
    };
    arc(&mut points, 400.0, 100.0, -std::f64::consts::FRAC_PI_2);
    for i in 0..80 {
        points.push((400.0 - f64::from(i) * 10.0, 200.0));
    }
    arc(&mut points, -400.0, 100.0, std::f64::consts::FRAC_PI_2);
    for i in 0..40 {
        points.push((-400.0 + f64::from(i) * 10.0, 0.0));
    }
    let mut store = line_through(&points, 5.0, 40.0, HERE);
    store.session.source = SourceKind::Simulator;
    store
}

/// A car on the straight: `v t + a t²/2 + j t³/6` east of the line at time `t` from crossing it.
fn straight(seconds: f64, v: f64, a: f64, j: f64, hz: f64, phase: f64) -> (Vec<Sample>, f64) {
    let crossing_s = 4.0 + phase / hz;
    let n = (seconds * hz) as usize;
    let samples = (0..n)
        .map(|i| {
            let time_s = i as f64 / hz;
            let t = time_s - crossing_s;
            let speed = v + a * t + j * t * t / 2.0;
            Sample {
                time_us: (time_s * 1e6).round() as u64,
                position: Some(local(v * t + a * t * t / 2.0 + j * t * t * t / 6.0, 0.0)),
                speed_mps: Some(speed as f32),
                direction_rad: Some(0.0),
                ..Sample::default()
            }
        })
        .collect();
    (samples, crossing_s)
}

#[test]
fn interpolated_finer_than_the_samples() {
    let store = stadium();
    for (v, a, j) in [
        (60.0, 0.0, 0.0),
        (60.0, 5.0, 0.0),
        (60.0, -10.0, 0.0),
        (45.0, -9.0, 3.0),
        (70.0, 3.0, -1.0),
    ] {
        for hz in [10.0, 25.0, 100.0] {
            for phase in [0.0, 0.13, 0.5, 0.77, 0.999] {
                let (samples, want_s) = straight(5.0, v, a, j, hz, phase);
                let crossings = drive(&store.view(), &samples).crossings();
                assert_eq!(crossings.len(), 1, "{v} {a} {j} {hz} {phase}");
                let off_ms = (crossings[0].time_us as f64 * 1e-6 - want_s) * 1e3;
                assert!(off_ms.abs() < 0.6, "{v} {a} {j} {hz} {phase}: {off_ms} ms");
            }
        }
    }
}

/// A crossing 25 m beside the line is one, 35 m beside it is none: the line is 60 m wide.
#[test]
fn as_wide_as_a_pit_lane_is_far() {
    let store = stadium();
    for (aside_m, counts) in [(25.0, true), (-25.0, true), (35.0, false), (-35.0, false)] {
        let (mut samples, _) = straight(5.0, 30.0, 0.0, 0.0, 25.0, 0.3);
        for s in &mut samples {
            let t = s.time_us as f64 * 1e-6 - (4.0 + 0.3 / 25.0);
            s.position = Some(local(30.0 * t, aside_m));
        }
        let crossings = drive(&store.view(), &samples).crossings();
        assert_eq!(!crossings.is_empty(), counts, "{aside_m}");
    }
}

/// Nobody crosses at walking pace; who speeds up on the line does, when he passed it.
#[test]
fn not_below_three_metres_a_second() {
    let store = stadium();
    let (samples, _) = straight(9.0, 2.0, 0.0, 0.0, 10.0, 0.5);
    assert!(drive(&store.view(), &samples).crossings().is_empty());
    let (samples, want_s) = straight(9.0, 2.0, 0.45, 0.0, 10.0, 0.5);
    let crossings = drive(&store.view(), &samples).crossings();
    assert_eq!(crossings.len(), 1);
    let off_s = crossings[0].time_us as f64 * 1e-6 - want_s;
    assert!(off_s.abs() < 0.15, "{off_s}");
}

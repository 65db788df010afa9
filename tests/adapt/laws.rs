//! What must hold between two computed laps, whatever the circuit: exact for a point mass.

use crate::point::{G, Point, lap};
use cuepost_host::adapt::qss::Solution;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

/// Curvatures of a line that was invented: bends with straights between them.
fn line() -> impl Strategy<Value = Vec<f64>> {
    let piece = (30_usize..250, prop_oneof![Just(0.0), 0.002..0.05_f64]);
    prop::collection::vec(piece, 3..9).prop_map(|pieces| {
        let mut bends: Vec<f64> = pieces
            .into_iter()
            .flat_map(|(nodes, bend)| std::iter::repeat_n(bend, nodes))
            .collect();
        // Something must be slow, and something straight.
        bends.extend([0.03; 40]);
        bends.extend([0.0; 60]);
        bends
    })
}

fn ratio(a: &Solution, b: &Solution) -> (f64, f64) {
    let all = a.speed_mps.iter().zip(&b.speed_mps).map(|(a, b)| a / b);
    all.fold((f64::INFINITY, 0.0), |(l, m), r| (r.min(l), r.max(m)))
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 48,
        rng_seed: RngSeed::Fixed(7),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn all_limits_times_k_is_speeds_times_its_root(bends in line(), k in 0.5..2.0_f64, mu in 0.8..1.6) {
        let car = Point { mu, ..Point::default() };
        let more = Point { mu: mu * k, drive_mps2: car.drive_mps2 * k, ..car };
        let (a, b) = (lap(car, &bends, 1.0), lap(more, &bends, 1.0));
        let (least, most) = ratio(&b, &a);
        prop_assert!((least - k.sqrt()).abs() < 1e-6 && (most - k.sqrt()).abs() < 1e-6);
        prop_assert!((a.lap_s() / b.lap_s() - k.sqrt()).abs() < 1e-6);
    }

    #[test]
    fn a_line_k_times_as_large_is_driven_root_k_times_as_fast(bends in line(), k in 0.5..3.0_f64) {
        let car = Point::default();
        let wide: Vec<f64> = bends.iter().map(|b| b / k).collect();
        let (a, b) = (lap(car, &bends, 1.0), lap(car, &wide, k));
        let (least, most) = ratio(&b, &a);
        prop_assert!((least - k.sqrt()).abs() < 1e-6 && (most - k.sqrt()).abs() < 1e-6);
        prop_assert!((b.lap_s() / a.lap_s() - k.sqrt()).abs() < 1e-6);
    }

    #[test]
    fn mass_power_and_drag_times_k_change_nothing(bends in line(), k in 0.5..2.0_f64) {
        let car = Point { power_w: 200e3, drag: 0.5, ..Point::default() };
        let more = Point { power_w: 200e3 * k, drag: 0.5 * k, mass_kg: 1200.0 * k, ..car };
        let (least, most) = ratio(&lap(more, &bends, 1.0), &lap(car, &bends, 1.0));
        prop_assert!((least - 1.0).abs() < 1e-9 && (most - 1.0).abs() < 1e-9);
    }

    #[test]
    fn with_drive_as_strong_as_brakes_backward_is_the_mirror(bends in line()) {
        let car = Point { drive_mps2: 1.2 * G, ..Point::default() };
        let mut back = bends.clone();
        back.reverse();
        let (a, mut b) = (lap(car, &bends, 1.0), lap(car, &back, 1.0));
        b.speed_mps.reverse();
        let (least, most) = ratio(&a, &b);
        prop_assert!((least - 1.0).abs() < 1e-9 && (most - 1.0).abs() < 1e-9);
    }

    #[test]
    fn more_grip_or_power_is_nowhere_slower(bends in line(), k in 1.0..1.5_f64) {
        let car = Point { power_w: 200e3, drag: 0.5, ..Point::default() };
        let base = lap(car, &bends, 1.0);
        for more in [
            Point { mu: car.mu * k, ..car },
            Point { power_w: car.power_w * k, ..car },
        ] {
            let (least, _) = ratio(&lap(more, &bends, 1.0), &base);
            prop_assert!(least > 1.0 - 1e-9, "{least}");
        }
    }

    #[test]
    fn the_friction_circle_is_nowhere_left(bends in line(), mu in 0.8..1.6) {
        let car = Point { mu, ..Point::default() };
        let found = lap(car, &bends, 1.0);
        let n = bends.len();
        for i in 0..n {
            let (v, w) = (found.speed_mps[i], found.speed_mps[(i + 1) % n]);
            let along = (w * w - v * v) / 2.0;
            let middle = 0.5 * (v + w);
            let across = middle * middle * 0.5 * (bends[i] + bends[(i + 1) % n]);
            // The acceleration of a segment is that at its middle speed: right to its step.
            prop_assert!(along.hypot(across) < mu * G * 1.005, "{along} {across}");
        }
    }
}

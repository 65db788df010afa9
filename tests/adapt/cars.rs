//! What a car is learned to be: its limits explain its own laps, and a car that was changed by a
//! known amount is found to be changed by that amount.

use crate::computed::{CAR, learned};
use crate::data;
use crate::point::Point;
use cuepost_host::adapt::limits::Limits;
use cuepost_host::adapt::qss::{Car, solve};
use cuepost_host::adapt::recompute::driven_speeds;
use cuepost_host::compare::{Measured, fit, measure};
use cuepost_host::learn::{Learned, Options, Take, learn};
use cuepost_host::source;

/// A car at its learned limits everywhere: nobody drives so.
struct AtLimit {
    limits: Limits,
    bend_pm: Vec<f64>,
}

impl AtLimit {
    fn left(&self, i: usize, v: f64) -> f64 {
        let used = v * v * self.bend_pm[i] / self.limits.lateral_mps2(v);
        (1.0 - used.min(1.0).powi(2)).sqrt()
    }
}

impl Car for AtLimit {
    fn corner_mps(&self, node: usize) -> f64 {
        let mut v = 100.0;
        for _ in 0..60 {
            v = (self.limits.lateral_mps2(v) / self.bend_pm[node].max(1e-5))
                .sqrt()
                .min(100.0);
        }
        v
    }

    fn drive_mps2(&self, i: usize, v: f64) -> f64 {
        let resistance = self.limits.resistance_mps2(v);
        self.limits
            .engine_mps2(v)
            .min(self.limits.lateral_mps2(v) * self.left(i, v))
            - resistance
    }

    fn brake_mps2(&self, i: usize, v: f64) -> f64 {
        let resistance = self.limits.resistance_mps2(v);
        (self.limits.brake_mps2(v) - resistance) * self.left(i, v) + resistance
    }
}

fn from_file(name: &str) -> Learned {
    let options = source::Options::default();
    let recording = source::open(&data(name), &options).expect("opened");
    let samples: Vec<_> = recording.map(|s| s.expect("read")).collect();
    let take = Take {
        name,
        samples: &samples,
    };
    learn(&[take], &Options::default(), &mut |_, _| {}).expect("learned")
}

/// Lap time of the car at its limits over that driven, and root mean square of the speeds' ratio
/// from one.
fn explained(name: &str) -> (f64, f64) {
    let learned = from_file(name);
    let view = learned.reference.view();
    let bends: Vec<f64> = view
        .nodes
        .iter()
        .map(|n| (f64::from(n.curvature_e5) * 1e-5).abs())
        .collect();
    let n = bends.len();
    let car = AtLimit {
        limits: Limits::new(view.car, driven_speeds(&view)),
        bend_pm: bends,
    };
    let found = solve(&car, n, view.spacing_m.into()).expect("closed");
    let squares: f64 = found
        .speed_mps
        .iter()
        .zip(view.nodes)
        .map(|(v, node)| (v / (f64::from(node.speed_cmps) * 0.01) - 1.0).powi(2))
        .sum();
    let driven_s = view.session.lap_time_us as f64 * 1e-6;
    (found.lap_s() / driven_s, (squares / n as f64).sqrt())
}

#[test]
fn limits_learned_from_a_simulators_car_explain_its_own_laps() {
    // Drives of a simulator with its own tyre physics, see tests/data/learn and streams.
    for (name, lap_most, speed_most) in [
        ("learn/s5_touring.25hz.csv", 0.05, 0.07),
        ("streams/s2_gt.base.10hz.csv", 0.08, 0.12),
    ] {
        let (lap, speeds) = explained(name);
        println!(
            "{name}: at its limits {:.1} % of the driven time, speeds apart by {:.1} % rms",
            100.0 * lap,
            100.0 * speeds
        );
        assert!((lap - 1.0).abs() < lap_most, "{name}: {lap}");
        assert!(speeds < speed_most, "{name}: {speeds}");
    }
}

fn car(point: Point) -> Measured {
    measure(&learned(point).profiles)
}

#[test]
fn a_known_change_of_a_car_is_found() {
    let drag = Point {
        drive_mps2: 20.0,
        drag: 0.7,
        ..CAR
    };
    let other = Point {
        mu: drag.mu * 0.9,
        power_w: drag.power_w * 1.15,
        ..drag
    };
    let (a, b) = (car(drag), car(other));
    let found = fit(&a, &b).expect("enough values");
    println!("{found:.3?}");
    let near = |k: usize, want: f64, least: f64| {
        let apart = (found.factor[k] / want - 1.0).abs();
        let most = (2.5 * found.sd[k]).max(least);
        assert!(apart < most, "{k}: {} for {want}", found.factor[k]);
    };
    near(0, 0.9, 0.03);
    near(1, 1.15, 0.06);
    assert!(found.told[0] && found.told[1]);
    assert!(found.left_mps2 < 0.35 * found.before_mps2);
}

#[test]
fn a_car_does_not_differ_from_itself() {
    let a = car(CAR);
    let found = fit(&a, &a).expect("enough values");
    for k in 0..4 {
        assert!(
            (found.factor[k] - 1.0).abs() < 0.02,
            "{k}: {}",
            found.factor[k]
        );
    }
    assert!(found.left_mps2 < 0.1, "{}", found.left_mps2);
}

#[test]
fn the_touring_car_has_less_of_everything_than_the_gt_car() {
    // Sideways 13.5 m/s² raw against 35 and more: the maker of the drives, who saw the tyres'
    // own accelerations. Here sustained over a sixth of a second, along the line.
    let gt = measure(&from_file("streams/s2_gt.base.10hz.csv").profiles);
    let touring = measure(&from_file("learn/s5_touring.25hz.csv").profiles);
    let most = |m: &Measured, curve: usize| {
        let seen = (0..24).filter(|i| m.seen[curve][*i]);
        seen.map(|i| m.value[curve][i]).fold(0.0, f64::max)
    };
    for (curve, name) in cuepost_host::compare::CURVES.iter().enumerate().take(3) {
        let (a, b) = (most(&gt, curve), most(&touring, curve));
        println!("{name}: gt {a:.1} m/s², touring {b:.1} m/s²");
        assert!(b < a, "{name}");
    }
    assert!((9.0..14.0).contains(&most(&touring, 0)));
    let found = fit(&gt, &touring).expect("enough values");
    println!("{found:.3?}");
    assert!(found.factor[0] < 0.8 && found.factor[1] < 0.9);
}

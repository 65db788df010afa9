//! The computed speed against mechanics that can be written down.
//!
//! Closed forms: constant acceleration, friction circle, downforce (textbook mechanics, derived).
//! The table of the changed car was made with the PyPI package trajectory-planning-helpers 0.79
//! (LGPL-3.0), run as a program, at a step of 0.5 m.

use crate::point::{G, OnLine, Point, lap, stadium};
use cuepost_host::adapt::qss::solve;

const STRAIGHT_M: f64 = 400.0;
const RADIUS_M: f64 = 50.0;

/// Speed of the bend, of the end of the straight, metres braked, seconds a lap.
fn closed(car: &Point) -> [f64; 4] {
    let brake = car.mu * G;
    let bend2 = car.mu * G * RADIUS_M;
    let peak2 = bend2 + 2.0 * STRAIGHT_M * car.drive_mps2 * brake / (car.drive_mps2 + brake);
    let (bend, peak) = (bend2.sqrt(), peak2.sqrt());
    let straight_s = (peak - bend) * (1.0 / car.drive_mps2 + 1.0 / brake);
    let arc_s = std::f64::consts::PI * RADIUS_M / bend;
    [
        bend,
        peak,
        (peak2 - bend2) / (2.0 * brake),
        2.0 * (straight_s + arc_s),
    ]
}

/// The same of a computed lap.
fn computed(car: Point, step_m: f64) -> [f64; 4] {
    let (bends, step) = stadium(STRAIGHT_M, RADIUS_M, step_m);
    let solution = lap(car, &bends, step);
    let on = OnLine {
        car,
        bend_pm: &bends,
    };
    let node = (STRAIGHT_M / step).ceil() as usize;
    let onset = solution.onset_before(&on, node, node).expect("braked");
    let at_m = node as f64 * step - onset.before_m;
    let peak = onset.speed_mps;
    let least = solution
        .speed_mps
        .iter()
        .copied()
        .fold(f64::INFINITY, f64::min);
    [least, peak, STRAIGHT_M - at_m, solution.lap_s()]
}

#[test]
fn a_stadium_is_driven_as_its_closed_form_says() {
    // Published: 33.2477, 31.3913 and 31.6307 s.
    for (mu, drive_mps2, lap_s) in [
        (1.2, 4.0, 33.2477),
        (1.4, 4.0, 31.3913),
        (1.2, 6.0, 31.6307),
    ] {
        let car = Point {
            mu,
            drive_mps2,
            ..Point::default()
        };
        let want = closed(&car);
        assert!((want[3] - lap_s).abs() < 1e-4);
        let found = computed(car, 0.5);
        println!("mu {mu} drive {drive_mps2}: {found:.4?}, closed form {want:.4?}");
        assert!((found[0] - want[0]).abs() < 1e-6, "speed of the bend");
        assert!((found[1] - want[1]).abs() < 0.02, "fastest");
        assert!((found[2] - want[2]).abs() < 0.3, "metres braked");
        assert!((found[3] - want[3]).abs() < 0.01, "lap time");
    }
}

/// Change, then seconds a lap, m/s at the end of the straight, metres of braking, all against the
/// unchanged car.
const TABLE: [(&str, [f64; 4], [f64; 3]); 6] = [
    ("grip +5 %", [1.05, 1.0, 0.0, 1.0], [-0.521, 0.285, -4.0]),
    ("grip -5 %", [0.95, 1.0, 0.0, 1.0], [0.561, -0.307, 4.0]),
    ("grip -25 %", [0.75, 1.0, 0.0, 1.0], [3.337, -1.776, 25.5]),
    ("power +5 %", [1.0, 1.05, 0.0, 1.0], [-0.102, 0.621, 2.5]),
    ("mass +50 kg", [1.0, 1.0, 50.0, 1.0], [0.074, -0.388, -1.5]),
    ("drag +10 %", [1.0, 1.0, 0.0, 1.1], [0.051, -0.334, -2.0]),
];

#[test]
fn a_changed_car_differs_as_the_published_table_says() {
    let car = Point {
        mu: 1.3,
        drive_mps2: 6.0,
        power_w: 250e3,
        drag: 0.6,
        ..Point::default()
    };
    let base = computed(car, 0.5);
    // Published: 31.5987 s, from a solver of first order at this step.
    println!("base {base:.4?}");
    assert!((base[3] - 31.5987).abs() < 0.05);
    for (name, [grip, power, kilograms, drag], [lap_s, fastest_mps, brake_m]) in TABLE {
        let found = computed(
            Point {
                mu: car.mu * grip,
                power_w: car.power_w * power,
                mass_kg: car.mass_kg + kilograms,
                drag: car.drag * drag,
                ..car
            },
            0.5,
        );
        let by: Vec<f64> = found.iter().zip(base).map(|(a, b)| a - b).collect();
        println!("{name}: {by:.3?}");
        // The table's own steps are worth 0.02 s a lap, some of which goes with the change.
        let tolerance_s = f64::max(0.01, 0.005 * lap_s.abs());
        assert!((by[3] - lap_s).abs() < tolerance_s, "{name}: {} s", by[3]);
        // The table's fastest place is a node: at 12 m/s² half a step is worth 0.05 m/s.
        assert!((by[1] - fastest_mps).abs() < 0.05, "{name}: {} m/s", by[1]);
        // The table's places are nodes of its grid, 0.5 m.
        assert!((by[2] - brake_m).abs() < 0.6, "{name}: {} m", by[2]);
    }
}

#[test]
fn on_a_circle_the_friction_circle_gives_the_speed() {
    // u = v²/(mu g R): u(s) = sin(asin u0 + 2 s/R), forward on the drive and backward on the
    // brakes alike. Published for mu 1.2, R 60 m.
    let car = Point {
        drive_mps2: f64::INFINITY,
        ..Point::default()
    };
    let (radius_m, step_m) = (60.0, 0.05);
    let v_c = (car.mu * G * radius_m).sqrt();
    assert!((v_c - 26.5767).abs() < 1e-4);
    let bends = vec![1.0 / radius_m; 20_000];
    struct Slow<'a>(OnLine<'a>, f64);
    impl cuepost_host::adapt::qss::Car for Slow<'_> {
        fn corner_mps(&self, node: usize) -> f64 {
            if node == 10_000 {
                self.1
            } else {
                self.0.corner_mps(node)
            }
        }
        fn drive_mps2(&self, i: usize, v: f64) -> f64 {
            self.0.drive_mps2(i, v)
        }
        fn brake_mps2(&self, i: usize, v: f64) -> f64 {
            self.0.brake_mps2(i, v)
        }
    }
    for (u0, v0, at) in [
        (
            0.5,
            18.7926,
            [(2.0, 19.8274), (5.0, 21.2072), (10.0, 23.1055)],
        ),
        (
            0.8,
            23.7709,
            [(2.0, 24.3317), (5.0, 25.0506), (10.0, 25.9348)],
        ),
        (
            0.9,
            25.2129,
            [(2.0, 25.5888), (5.0, 26.0376), (10.0, 26.4846)],
        ),
    ] {
        let slow = f64::sqrt(u0) * v_c;
        assert!((slow - v0).abs() < 1e-4);
        let on = OnLine {
            car,
            bend_pm: &bends,
        };
        let solution = solve(&Slow(on, slow), bends.len(), step_m).expect("closed");
        for (way_m, v) in at {
            for sign in [1.0, -1.0] {
                let found = solution.speed_at(10_000.0 * step_m + sign * way_m);
                assert!(
                    (found - v).abs() < 2e-3,
                    "u0 {u0}, {way_m} m: {found}, not {v}"
                );
            }
        }
    }
}

#[test]
fn downforce_and_grip_give_the_published_speeds() {
    // v² = mu g R / (1 - mu k R / m), published for mu 1.5, 1300 kg, k 1.5 kg/m.
    for (radius_m, mass_kg, downforce, v) in [
        (50.0, 1300.0, 1.5, 28.3805),
        (50.0, 1300.0, 0.0, 27.1247),
        (100.0, 1300.0, 1.5, 42.1840),
        (200.0, 1300.0, 1.5, 67.0899),
        (100.0, 1350.0, 1.5, 42.0214),
    ] {
        let car = Point {
            mu: 1.5,
            mass_kg,
            downforce,
            ..Point::default()
        };
        let bends = vec![1.0 / radius_m; 300];
        let found = lap(car, &bends, 1.0);
        assert!(
            (found.speed_mps[7] - v).abs() < 1e-3,
            "{}",
            found.speed_mps[7]
        );
    }
}

#[test]
fn drag_shortens_braking_as_published() {
    // d = ln((a + c v1²)/(a + c v2²)) / 2c: from 70 to 30 m/s at 10 m/s² with c 0.001 156.2992 m.
    for (v1, v2, brake, c, metres) in [
        (70.0, 30.0, 10.0, 0.001, 156.2992),
        (70.0, 30.0, 10.0, 0.0025, 119.3632),
        (60.0, 20.0, 11.0, 0.0015, 115.4254),
    ] {
        struct Stop(f64, f64, f64);
        impl cuepost_host::adapt::qss::Car for Stop {
            fn corner_mps(&self, node: usize) -> f64 {
                if node == 3000 { self.0 } else { 200.0 }
            }
            fn drive_mps2(&self, _: usize, _: f64) -> f64 {
                1000.0
            }
            fn brake_mps2(&self, _: usize, v: f64) -> f64 {
                self.1 + self.2 * v * v
            }
        }
        let step_m = 0.25;
        let solution = solve(&Stop(v2, brake, c), 4000, step_m).expect("closed");
        let from = (0..3000)
            .rev()
            .find(|i| solution.speed_mps[*i] >= v1)
            .expect("braked from it");
        let (u, w) = (
            solution.speed_mps[from].powi(2),
            solution.speed_mps[from + 1].powi(2),
        );
        let into = (u - v1 * v1) / (u - w);
        let found = (3000.0 - from as f64 - into) * step_m;
        assert!((found - metres).abs() < 0.01, "{found}, not {metres}");
    }
}

//! The car against mechanics that can be written down.

use cuepost_host::demo::car::{Car, Controls, GRAVITY_MPS2, Motion};
use cuepost_host::demo::circuit::{BendKind, Circuit};
use cuepost_host::demo::layout::lay;
use cuepost_host::demo::path::Path;
use cuepost_host::demo::pieces::Piece;
use cuepost_host::demo::target::{Curve, Target};

const DT_S: f64 = 0.002;

/// Two straights and two half circles without easing.
fn stadium(straight_m: f64, radius_m: f64) -> Circuit {
    let pieces = [
        Piece::straight(straight_m / 2.0),
        Piece::bend(BendKind::Single, 180.0, radius_m, 0.0),
        Piece::straight(straight_m),
        Piece::bend(BendKind::Single, 180.0, radius_m, 0.0),
        Piece::straight(straight_m / 2.0),
    ];
    lay("stadium", &pieces, 0.0).expect("a stadium closes")
}

/// A body of one kilogram without air, engine or lag, on tyres that hold anything.
fn bare() -> Car {
    Car {
        mass_kg: 1.0,
        power_w: 0.0,
        drag_kgpm: 0.0,
        downforce_kgpm: 0.0,
        rolling: 0.0,
        grip_long: 100.0,
        grip_lat: 100.0,
        brake_n: 10.0,
        brake_lag_s: 0.0,
        engine_brake_n: 0.0,
        steer_lag_s: 0.0,
        ..Car::touring()
    }
}

/// Metres driven until a speed is reached, with a pedal that depends on time.
fn way_to(car: &Car, from_mps: f64, to_mps: f64, brake: impl Fn(f64) -> f64) -> f64 {
    let circuit = stadium(4000.0, 100.0);
    let mut m = Motion {
        progress_m: 0.0,
        speed_mps: from_mps,
        ..Motion::default()
    };
    for i in 0..100_000 {
        let before = m;
        let pedal = brake((f64::from(i) + 0.5) * DT_S);
        let controls = Controls {
            brake: pedal,
            ..Controls::default()
        };
        car.step(&circuit, &mut m, &controls, DT_S);
        if m.speed_mps <= to_mps {
            let part = (before.speed_mps - to_mps) / (before.speed_mps - m.speed_mps);
            return before.progress_m + part * (m.progress_m - before.progress_m);
        }
    }
    panic!("never slowed to {to_mps} m/s");
}

/// `d = ln((a + c v1²)/(a + c v2²)) / (2c)`, from `dv/dt = -(a + c v²)`.
#[test]
fn braking_with_drag_takes_the_closed_form_distance() {
    // Values recomputed by quadrature to 1e-4 m.
    for (v1, v2, a, c, metres) in [
        (70.0, 30.0, 10.0, 0.001, 156.2992),
        (70.0, 30.0, 10.0, 0.0025, 119.3632),
        (60.0, 20.0, 11.0, 0.0015, 115.4254),
    ] {
        let car = Car {
            drag_kgpm: c,
            brake_n: a,
            ..bare()
        };
        let way = way_to(&car, v1, v2, |_| 1.0);
        assert!((way - metres).abs() < 0.02, "{way} m instead of {metres} m");
    }
}

/// Off both pedals only air acts: `v(t) = v0 / (1 + c v0 t)`, so `d = ln(v1/v2) / c`.
#[test]
fn coasting_down_in_air_takes_the_closed_form_distance() {
    let car = Car {
        drag_kgpm: 0.0005,
        ..bare()
    };
    let way = way_to(&car, 70.0, 50.0, |_| 0.0);
    let exact = (70.0f64 / 50.0).ln() / 0.0005;
    assert!((way - exact).abs() < 0.01, "{way} m instead of {exact} m");
}

/// A ramp of T on the brake costs `v T/2 + v²/2a - a T²/24` to a stop: 185.9833 m from 60 m/s at
/// 10 m/s² with 0.2 s, 1.7 cm less than a step at the middle of the ramp.
#[test]
fn a_brake_ramp_is_a_step_at_its_middle() {
    let ramp = |t: f64| (t / 0.2).min(1.0);
    // The last metre per second is left to the formula: the car is never stepped to a stop.
    let way = way_to(&bare(), 60.0, 1.0, ramp) + 1.0 / 20.0;
    assert!(
        (way - 185.9833).abs() < 0.01,
        "{way} m instead of 185.9833 m"
    );
}

/// The brakes' lag moves the whole ramp by its time constant.
#[test]
fn brake_lag_delays_by_its_time_constant() {
    let lagging = Car {
        brake_lag_s: 0.04,
        ..bare()
    };
    let ramp = |t: f64| (t / 0.2).clamp(0.0, 1.0);
    // The lag counts from the pedal at the beginning of a step, as a driver gives it.
    let driven = |t: f64| ramp(t - DT_S / 2.0);
    let more = way_to(&lagging, 60.0, 10.0, driven) - way_to(&bare(), 60.0, 10.0, ramp);
    // The speed at the onset is 60 m/s; the lag's tail takes away a hair.
    assert!((more - 60.0 * 0.04).abs() < 0.02, "{more} m");
}

/// `v² = mu g R / (1 - mu k R / m)` with mu 1.5, m 1300 kg, k 1.5 kg/m.
#[test]
fn downforce_raises_the_cornering_speed_as_the_closed_form_says() {
    let car = Car {
        mass_kg: 1300.0,
        downforce_kgpm: 1.5,
        grip_lat: 1.5,
        ..bare()
    };
    for (radius, speed) in [(50.0, 28.3805), (100.0, 42.1840), (200.0, 67.0899)] {
        let limit = car.corner_mps(1.0 / radius, 1.0, 200.0);
        assert!(
            (limit - speed).abs() < 1e-3,
            "{limit} m/s instead of {speed} m/s"
        );
    }
    let flat = Car {
        downforce_kgpm: 0.0,
        ..car
    };
    assert!((flat.corner_mps(1.0 / 50.0, 1.0, 200.0) - 27.1247).abs() < 1e-3);
    let huge = Car {
        downforce_kgpm: 9.0,
        ..flat
    };
    assert_eq!(
        huge.corner_mps(1.0 / 200.0, 1.0, 123.0),
        123.0,
        "no limit with enough downforce"
    );
}

/// On the circle the stepped car holds the limit speed and runs wide a percent above it.
#[test]
fn the_car_holds_the_limit_and_not_more() {
    let circuit = stadium(400.0, 100.0);
    let car = Car {
        mass_kg: 1300.0,
        grip_lat: 1.5,
        downforce_kgpm: 1.5,
        ..bare()
    };
    let limit = car.corner_mps(0.01, 1.0, 200.0);
    let offset_after = |speed_mps: f64| {
        let mut m = Motion {
            progress_m: 202.0,
            speed_mps,
            ..Motion::default()
        };
        let controls = Controls {
            curvature_pm: 0.01,
            ..Controls::default()
        };
        while m.progress_m < 510.0 {
            car.step(&circuit, &mut m, &controls, DT_S);
        }
        m.offset_m
    };
    assert!(offset_after(0.999 * limit).abs() < 0.01);
    assert!(
        offset_after(1.02 * limit) < -1.0,
        "left-hander: wide is to the right"
    );
}

/// Braking into a constant radius on the limit, backward from the slowest point, with
/// `u = v²/(mu g R)`: `u(s) = sin(asin u0 + 2 s / R)`; mu 1.2, R 60 m.
#[test]
fn trail_braking_on_a_circle_follows_the_closed_form() {
    let circuit = stadium(400.0, 60.0);
    let car = Car {
        grip_long: 1.2,
        grip_lat: 1.2,
        ..bare()
    };
    for (from, steps) in [
        (18.7926, [(2.0, 19.8274), (5.0, 21.2072), (10.0, 23.1055)]),
        (23.7709, [(2.0, 24.3317), (5.0, 25.0506), (10.0, 25.9348)]),
    ] {
        let target = Target {
            turn_m: 200.0,
            throttle_m: 300.0,
            speed_mps: from,
            release_m: 300.0,
            trail_m: 300.0,
            brake_share: 1.0,
            grip_share: 1.0,
        };
        let curve = Curve::braking(&circuit, &car, &Path::default(), &target);
        for (left, speed) in steps {
            let got = curve.at(left);
            // First-order steps of half a metre.
            assert!(
                (got - speed).abs() < 0.06,
                "{got} m/s instead of {speed} m/s"
            );
        }
    }
}

/// Whatever is asked for, the forces of the tyres stay inside the ellipse.
#[test]
fn the_ellipse_is_never_left() {
    let circuit = stadium(400.0, 50.0);
    let car = Car::touring();
    let mut m = Motion {
        progress_m: 150.0,
        speed_mps: 50.0,
        ..Motion::default()
    };
    let mut most = 0.0f64;
    for i in 0..2000 {
        let v = m.speed_mps;
        let wild = f64::from(i % 37) / 37.0;
        let controls = Controls {
            brake: if i % 200 < 100 { 1.5 * wild } else { 0.0 },
            throttle: if i % 200 >= 100 { wild } else { 0.0 },
            curvature_pm: 0.05 * (f64::from(i) / 90.0).sin(),
            shifting: false,
        };
        let felt = car.step(&circuit, &mut m, &controls, DT_S);
        let along = felt.long_mps2 * car.mass_kg + car.resistance_n(v);
        let across = felt.lat_mps2 * car.mass_kg;
        let used = (along / car.grip_long_n(v)).hypot(across / car.grip_lat_n(v));
        most = most.max(used);
        assert!(used <= 1.0 + 1e-6, "{used} of the ellipse");
    }
    assert!(most > 0.999, "the test asked for too little: {most}");
}

/// A slope acts with its share of gravity, and nothing else does on a bare car.
#[test]
fn a_slope_acts_with_gravity() {
    let pieces = [
        Piece::straight(500.0).sloping(0.05),
        Piece::bend(BendKind::Single, 180.0, 100.0, 0.0),
        Piece::straight(1000.0).sloping(-0.05),
        Piece::bend(BendKind::Single, 180.0, 100.0, 0.0),
        Piece::straight(500.0).sloping(0.05),
    ];
    let circuit = lay("hill", &pieces, 0.0).expect("closes");
    let slope = circuit.slope(250.0);
    assert!(slope > 0.02);
    let mut m = Motion {
        progress_m: 250.0,
        speed_mps: 30.0,
        ..Motion::default()
    };
    let felt = bare().step(&circuit, &mut m, &Controls::default(), DT_S);
    assert!((felt.long_mps2 + GRAVITY_MPS2 * slope).abs() < 1e-12);
}

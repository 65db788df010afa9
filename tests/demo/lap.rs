//! Whole laps: against a closed form, against energy, and reproducible.

use cuepost_engine::reference::CornerKind;
use cuepost_host::demo::car::{Car, GRAVITY_MPS2};
use cuepost_host::demo::circuit::BendKind;
use cuepost_host::demo::driver::{Driver, LapPlan, Scatter};
use cuepost_host::demo::layout::lay;
use cuepost_host::demo::pieces::Piece;
use cuepost_host::demo::plan::Style;
use cuepost_host::demo::quillmere;

/// Two straights of 400 m and two half circles of 50 m, constant drive and braking:
/// `v_c² = mu g R`, `v_p² = v_c² + 2 L a b / (a + b)`,
/// lap `2 [(v_p - v_c)(1/a + 1/b) + pi R / v_c]`. With mu 1.2 and a 4 m/s² that is 33.2477 s.
///
/// The closed form drives the half circles at one speed. A driver brakes into them and accelerates
/// out of them inside the friction circle, which gains, and has feet that take a fifth of a second
/// from pedal to pedal, which loses; each is worth a percent or two. So: never faster than the
/// closed form at the whole grip, and within 3 % of the one at the driver's own share of it.
#[test]
fn a_stadium_lap_is_near_the_closed_form() {
    let (mu, a, r, l) = (1.2, 4.0, 50.0, 400.0);
    let closed = |turn: f64, brake: f64| {
        let vc2 = turn * mu * GRAVITY_MPS2 * r;
        let b = brake * mu * GRAVITY_MPS2;
        let vc = f64::sqrt(vc2);
        let vp = f64::sqrt(vc2 + 2.0 * l * a * b / (a + b));
        2.0 * ((vp - vc) * (1.0 / a + 1.0 / b) + std::f64::consts::PI * r / vc)
    };
    assert!(
        (closed(1.0, 1.0) - 33.2477).abs() < 1e-4,
        "the formula itself"
    );
    let pieces = [
        Piece::straight(l / 2.0),
        Piece::bend(BendKind::Single, 180.0, r, 0.04),
        Piece::straight(l),
        Piece::bend(BendKind::Single, 180.0, r, 0.04),
        Piece::straight(l / 2.0),
    ];
    let circuit = lay("stadium", &pieces, 0.0).expect("closes");
    let car = Car {
        mass_kg: 1000.0,
        power_w: 1e9,
        drag_kgpm: 0.0,
        downforce_kgpm: 0.0,
        rolling: 0.0,
        grip_long: mu,
        grip_lat: mu,
        driven: a / (mu * GRAVITY_MPS2),
        engine_brake_n: 0.0,
        shift_s: 0.0,
        ..Car::touring()
    };
    let style = Style {
        turn_share: 0.93,
        brake_share: 0.93,
        roll_s: 0.0,
        ..Style::STEADY
    };
    let driver = Driver::practised(&circuit, &car, style, Scatter::NONE);
    let lap = driver.plan.lap_s().expect("a whole lap");
    let best = closed(0.93, 0.93);
    assert!(
        lap > closed(1.0, 1.0),
        "{lap} s is faster than physics allows"
    );
    assert!((lap / best - 1.0).abs() < 0.03, "{lap} s against {best} s");
}

/// The engine is the only source of energy: over any second of a lap, kinetic energy and height
/// grow by no more than its power, and braking takes away what the tyres can carry.
#[test]
fn energy_is_not_made_from_nothing() {
    let circuit = quillmere::circuit().expect("the pieces fit");
    let car = Car::touring();
    let driver = Driver::practised(&circuit, &car, Style::STEADY, Scatter::CLUB);
    let drive = driver.drive(&circuit, &[LapPlan::clean()], 2);
    for w in drive.instants.windows(101).step_by(10) {
        let (a, b) = (w[0].moment, w[100].moment);
        let kinetic = 0.5 * car.mass_kg * (b.speed_mps.powi(2) - a.speed_mps.powi(2));
        let rise: f64 = w[..100]
            .iter()
            .map(|i| circuit.slope(i.moment.along_m) * i.moment.speed_mps * 0.01)
            .sum();
        let gained = kinetic + car.mass_kg * GRAVITY_MPS2 * rise;
        assert!(
            gained <= car.power_w * 1.0 + 500.0,
            "{gained} J in a second"
        );
    }
}

/// All accelerations of tyres and engine times k: the same lap, faster by the square root of k.
/// Downforce and rolling are taken away: they do not scale.
#[test]
fn pace_scales_the_lap_with_the_square_root() {
    let circuit = quillmere::circuit().expect("the pieces fit");
    let car = Car {
        downforce_kgpm: 0.0,
        rolling: 0.0,
        engine_brake_n: 0.0,
        shift_s: 0.0,
        ..Car::touring()
    };
    let usual = Driver::practised(&circuit, &car, Style::STEADY, Scatter::NONE);
    let drive = usual.drive(
        &circuit,
        &[LapPlan::clean(), LapPlan::at_pace(0.9), LapPlan::clean()],
        1,
    );
    let (a, b) = (
        drive.lap_s(1).expect("lap 1"),
        drive.lap_s(2).expect("lap 2"),
    );
    // The feet do not slow down with the car, and the road is not level.
    assert!(
        (b / a / (1.0f64 / 0.9).sqrt() - 1.0).abs() < 0.005,
        "{}",
        b / a
    );
    assert!(
        (drive.lap_s(3).expect("lap 3") - a).abs() < 0.3,
        "the car is itself again"
    );
}

#[test]
fn a_seed_makes_the_drive_and_another_seed_another() {
    let circuit = quillmere::circuit().expect("the pieces fit");
    let driver = Driver::practised(&circuit, &Car::touring(), Style::STEADY, Scatter::CLUB);
    let laps = [LapPlan::clean(), LapPlan::clean()];
    let (a, b) = (
        driver.drive(&circuit, &laps, 7),
        driver.drive(&circuit, &laps, 7),
    );
    assert_eq!(a.instants, b.instants);
    assert_eq!(a.passages, b.passages);
    let other = driver.drive(&circuit, &laps, 8);
    assert_ne!(a.passages, other.passages);
}

/// Scatter is what it says: brake onsets of clean laps lie around the plan's with its deviation,
/// and nobody slides or leaves the line.
#[test]
fn clean_laps_scatter_as_ordered() {
    let circuit = quillmere::circuit().expect("the pieces fit");
    let driver = Driver::practised(&circuit, &Car::touring(), Style::STEADY, Scatter::CLUB);
    let drive = driver.drive(&circuit, &vec![LapPlan::clean(); 12], 3);
    assert_eq!(drive.laps(), 12);
    let mut deviations = Vec::new();
    for lap in 1..=12u16 {
        for turn in &driver.plan.turns {
            let p = drive
                .passage(lap, turn.number)
                .expect("every corner is passed");
            assert_eq!(p.kind, turn.kind, "corner {} in lap {lap}", turn.number);
            assert!(p.widest_m < 1.0, "{p:?}");
            assert_eq!(p.lifts, 0);
            if turn.kind == CornerKind::Braked {
                let base = f64::from(lap - 1) * drive.length_m;
                let (driven, planned) = (p.brake.expect("braked"), turn.practice.brake);
                deviations.push(driven.along_m - base - planned.expect("braked").along_m);
            }
        }
    }
    let n = deviations.len() as f64;
    let mean = deviations.iter().sum::<f64>() / n;
    let sd = (deviations.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / n).sqrt();
    assert!(mean.abs() < 0.8, "mean {mean} m");
    assert!((sd - driver.scatter.brake_m).abs() < 0.5, "sd {sd} m");
}

//! An invented circuit driven by a model whose truth is known: bends, braking points, lap times.

use super::{learned, near};
use cuepost_engine::CornerKind;
use cuepost_host::demo::campaign::{Wanted, case};
use cuepost_host::demo::car::Car;
use cuepost_host::demo::driver::{Driver, LapPlan, Scatter};
use cuepost_host::demo::plan::Style;
use cuepost_host::demo::quillmere;
use cuepost_host::demo::receiver::ReceiverModel;
use cuepost_host::demo::receiver::sample;
use cuepost_host::learn::Options;

#[test]
fn corners_are_the_drivers_and_braking_points_the_models() {
    let circuit = quillmere::circuit().expect("the pieces fit");
    let car = Car::touring();
    let driver = Driver::practised(&circuit, &car, Style::STEADY, Scatter::CLUB);
    let drive = driver.drive(
        &circuit,
        &[LapPlan::clean(), LapPlan::clean(), LapPlan::clean()],
        5,
    );
    let options = Options {
        start: Some(circuit.start()),
        ..Options::default()
    };
    // Lap times carry the receiver's wander over a lap, 12 ms of standard deviation at these speeds.
    for (receiver, within_s) in [
        (ReceiverModel::usual(10.0), 0.04),
        (ReceiverModel::usual(25.0), 0.04),
        (ReceiverModel::usual(25.0).with_pedals(), 0.04),
        (ReceiverModel::perfect(10.0), 0.001),
        (ReceiverModel::perfect(50.0), 0.001),
    ] {
        let samples = sample(&drive, &receiver, 11);
        let out = learned(&samples, &options);
        assert_eq!(out.cut.laps.len(), 3);
        for (lap, number) in out.cut.laps.iter().zip(1..) {
            let truth = drive.lap_s(number).expect("a whole lap");
            assert_eq!(lap.fault, None);
            near(lap.time_s, truth, within_s, "lap");
        }
        let chosen = out.cut.laps[out.chosen].number as u16;
        let view = out.reference.view();
        near(view.length_m().into(), circuit.length_m(), 12.0, "length");
        let turns = &driver.plan.turns;
        let kinds: Vec<(CornerKind, i8)> = view.corners.iter().map(|c| (c.kind, c.turn)).collect();
        let truth: Vec<(CornerKind, i8)> = turns
            .iter()
            .map(|t| (t.kind, if t.curvature_pm > 0.0 { 1 } else { -1 }))
            .collect();
        assert_eq!(kinds, truth, "{receiver:?}");
        for (corner, turn) in view.corners.iter().zip(turns) {
            let passage = drive.passage(chosen, turn.number).expect("driven");
            let scale = f64::from(view.length_m()) / circuit.length_m();
            if let (Some(brake), Some(truth)) = (corner.facts.brake_m, passage.brake) {
                let truth_m = drive.progress_m(truth.along_m) * scale;
                near(brake.value.into(), truth_m, 8.0, "brake onset");
            }
        }
    }
}

/// Random circuits, cars and drivers: every corner that costs clearly more than the least loss of
/// speed is found where it is and of its kind, and nothing else is taken for one.
#[test]
fn corners_of_random_circuits_are_found_and_no_others() {
    for seed in 200..206 {
        let case = case(seed, &Wanted::default());
        let rate_hz = if seed % 2 == 0 { 10.0 } else { 25.0 };
        let samples = sample(&case.coach, &ReceiverModel::usual(rate_hz), seed);
        let options = Options {
            start: Some(case.circuit.start()),
            ..Options::default()
        };
        let out = learned(&samples, &options);
        let chosen = out.cut.laps[out.chosen].number as u16;
        let view = out.reference.view();
        let scale = view.length_m() / case.circuit.length_m() as f32;
        let mut taken = vec![false; view.corners.len()];
        for turn in &case.driver.plan.turns {
            let passage = case.coach.passage(chosen, turn.number).expect("driven");
            let slow = passage.brake.or(passage.lift);
            let slowest_m = case.coach.progress_m(passage.slowest.along_m) as f32 * scale;
            let drop = slow.map_or(0.0, |s| s.speed_mps - passage.slowest.speed_mps);
            let place = if turn.kind == CornerKind::Flat {
                (0.5 * (turn.turn_m + turn.exit_m)) as f32 * scale
            } else {
                slowest_m
            };
            let found = (0..taken.len())
                .filter(|&i| !taken[i])
                .map(|i| (i, view.ahead_m(view.corners[i].apex_m, place).abs()))
                .min_by(|a, b| a.1.total_cmp(&b.1))
                .filter(|(_, apart)| *apart < 120.0);
            let what = format!("seed {seed}, corner {}, {drop:.1} m/s", turn.number);
            match found {
                Some((i, apart)) => {
                    taken[i] = true;
                    if drop > 3.5 {
                        assert_eq!(view.corners[i].kind, turn.kind, "{what}");
                        assert!(apart < 40.0, "{what}: {apart} m away");
                    }
                }
                None => assert!(drop < 3.5, "{what} is missing"),
            }
        }
        let extra: Vec<f32> = (0..taken.len())
            .filter(|&i| !taken[i])
            .map(|i| view.corners[i].apex_m)
            .collect();
        assert!(extra.is_empty(), "seed {seed}: no corners at {extra:?}");
    }
}

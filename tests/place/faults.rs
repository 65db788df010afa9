//! Known faults of other software that touch gate, progress and laps: invented inputs after public
//! reports. The ring is a circle of 200 m radius driven anticlockwise, 1256.6 m round.

use cuepost_engine::Frame;
use cuepost_engine::event::HealthState;
use cuepost_engine::gate::Refusal;
use cuepost_host::geodesy::frame_at;
use cuepost_tests::csv::{Table, geodetic};
use cuepost_tests::drive::{Drive, drive};
use cuepost_tests::track::{Store, line_through, located};

fn here() -> Frame {
    frame_at(45.5, 9.5)
}

/// The line through the points of a file with `lat_deg, lon_deg`.
fn line(name: &str) -> Store {
    let table = Table::read(name);
    let positions: Vec<_> = (0..table.len())
        .map(|r| geodetic(table.number(r, "lat_deg"), table.number(r, "lon_deg")).expect("point"))
        .collect();
    line_through(&located(&here(), &positions), 5.0, 30.0, here())
}

fn ring(samples: &str) -> Drive {
    let store = line("faults/ref_ring.csv");
    drive(&store.view(), &Table::read(samples).geodetic_samples())
}

/// Jitter on the start line is not a lap: https://github.com/Ikolvi/Tracelet/issues/268
#[test]
fn fault_05_line_jitter() {
    let run = ring("faults/05_line_jitter.csv");
    let laps = run.laps();
    assert_eq!(laps.len(), 1, "{laps:?}");
    let end_s = run.crossings().last().unwrap().time_us as f64 * 1e-6;
    assert!((end_s - 37.741).abs() < 0.005, "ends at {end_s}");
    let lap_s = laps[0].time_us as f64 * 1e-6;
    assert!((33.8..=33.95).contains(&lap_s), "lap of {lap_s}");
}

/// A leap, then 30 m outside, then a long gap:
/// https://github.com/osmandapp/OsmAnd/issues/20485, https://github.com/ArduPilot/ardupilot/issues/5813
#[test]
fn fault_11_jump_and_reacquire() {
    let run = ring("faults/11_jump_and_reacquire.csv");
    assert_eq!(run.at(3.0).gate.unwrap_err(), Refusal::Leap);
    let before = run.at(1.9).place.unwrap().progress_m;
    let after = run.at(3.1).place.unwrap().progress_m;
    assert!((after - before - 36.0).abs() < 3.0, "{before} {after}");
    for step in run.between(5.0, 5.5) {
        assert_ne!(step.health.0, HealthState::Ok, "{step:?}");
    }
    // Believed again within 0.5 s of the 15 s gap.
    assert!(run.between(22.1, 22.6).any(|s| s.place.is_some()));
    assert!(run.laps().is_empty() && run.crossings().is_empty());
    let end = run.steps.last().unwrap().place.unwrap().progress_m;
    assert!((end - 820.0).abs() < 5.0, "ends at {end}");
    assert_eq!(run.steps.last().unwrap().health.0, HealthState::Ok);
}

/// Where the line crosses itself, places do not swap:
/// https://github.com/graphhopper/graphhopper/issues/996
#[test]
fn fault_13a_crossing() {
    let store = line("faults/13a_ref_figure8.csv");
    // The input was made on a sphere: 0.1 % longer here.
    assert!((store.view().length_m() - 1219.4).abs() < 2.0);
    let samples = Table::read("faults/13a_samples_figure8.csv").geodetic_samples();
    let run = drive(&store.view(), &samples);
    let places: Vec<_> = run.steps.iter().filter_map(|s| s.place).collect();
    assert!(places.len() >= 15, "{}", places.len());
    for p in &places {
        assert!((594.0..626.0).contains(&p.progress_m), "{p:?}");
        assert!(p.step_m >= 0.0, "{p:?}");
    }
    let end = places.last().unwrap().progress_m;
    assert!((end - 623.7).abs() < 2.0, "{end}");
    assert!(run.crossings().is_empty());
}

/// The pit lane 12 m inside is a state; its crossing closes the lap and marks it:
/// https://github.com/mapbox/mapbox-navigation-android/issues/378
#[test]
fn fault_13b_pit_lane() {
    let run = ring("faults/13b_pit_lane_samples.csv");
    assert!(run.steps.iter().any(|s| s.health.0 == HealthState::Pit));
    let crossings = run.crossings();
    assert_eq!(crossings.len(), 1);
    let at_s = crossings[0].time_us as f64 * 1e-6;
    // Between the samples at 8.7 and 8.8 s; 20 ms for the noise of the data.
    assert!((8.68..8.82).contains(&at_s), "{at_s}");
    assert_eq!(run.at(8.7).health.0, HealthState::Pit);
}

/// A false start and driving back are no laps: https://github.com/osmandapp/OsmAnd/issues/15013
#[test]
fn fault_14_partial_and_reversed() {
    let run = ring("faults/14_partial_and_reversed.csv");
    let laps = run.laps();
    assert_eq!(laps.len(), 1, "{laps:?}");
    let lap_s = laps[0].time_us as f64 * 1e-6;
    assert!((lap_s - 41.888).abs() < 0.01, "{lap_s}");
    assert!(laps[0].valid);
    let forward: Vec<_> = run
        .crossings()
        .iter()
        .map(|c| c.time_us as f64 * 1e-6)
        .collect();
    for (at, want) in forward.iter().zip([31.416, 67.336, 109.224]) {
        assert!((at - want).abs() < 0.02, "{forward:?}");
    }
    assert!(
        run.between(49.0, 50.0)
            .all(|s| s.health.0 == HealthState::WrongWay)
    );
}

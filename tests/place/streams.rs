//! Laps and places on streams of a driving simulator (see `data/streams/README.md`).

use cuepost_engine::Sample;
use cuepost_engine::event::HealthState;
use cuepost_engine::reference::SourceKind;
use cuepost_tests::csv::Table;
use cuepost_tests::drive::{Drive, drive};
use cuepost_tests::track::{HERE, Store, lap_points, line_through};

/// When the simulator says the start line was crossed, seconds from the first row.
fn crossings_s(table: &Table) -> Vec<f64> {
    let (t, lap) = (table.column("t_s"), table.column("lap"));
    let (d, v) = (table.column("dist_from_start"), table.column("speed_mps"));
    (1..t.len())
        .filter(|&i| lap[i] != lap[i - 1])
        // Back from the first row behind the line, at the mean of the speeds there and before.
        .map(|i| {
            t[i] - t[0]
                - d[i] / (v[i] + 0.5 * (v[i - 1] - v[i]) * d[i] / (v[i] * (t[i] - t[i - 1])))
        })
        .collect()
}

/// A reference from one lap of the stream itself, starting where the simulator's lap does.
fn line_of(table: &Table) -> Store {
    let lap = table.column("lap");
    let first = lap[0] + 1.0;
    let (x, y) = (table.column("x_m"), table.column("y_m"));
    let rows = (0..table.len()).filter(|&i| lap[i] == first);
    let mut points: Vec<_> = rows.clone().map(|i| (x[i], y[i])).collect();
    // The first row of the lap is up to a sample behind the line: bring it back onto it.
    let row = rows.clone().next().expect("a lap");
    let (back, course) = (
        table.number(row, "dist_from_start").unwrap(),
        table.number(row, "course_rad").unwrap(),
    );
    points.insert(
        0,
        (x[row] - back * course.cos(), y[row] - back * course.sin()),
    );
    let mut store = line_through(&lap_points(&points, 8.0), 4.5, 40.0, HERE);
    store.session.source = SourceKind::Simulator;
    store
}

fn laps_agree(name: &str, laps: usize) -> Drive {
    let table = Table::read(name);
    let truth = crossings_s(&table);
    let run = drive(&line_of(&table).view(), &table.local_samples());
    let found: Vec<f64> = run
        .crossings()
        .iter()
        .map(|c| c.time_us as f64 * 1e-6)
        .collect();
    assert_eq!(found.len(), truth.len(), "{found:?} {truth:?}");
    assert_eq!(run.laps().len(), laps);
    for (lap, pair) in run.laps().iter().zip(truth.windows(2)) {
        let off_ms = (lap.time_us as f64 * 1e-6 - (pair[1] - pair[0])) * 1e3;
        assert!(off_ms.abs() < 20.0, "{name} lap {}: {off_ms} ms", lap.lap);
        assert!(lap.valid, "{name} lap {}", lap.lap);
    }
    for (at, want) in found.iter().zip(&truth) {
        assert!((at - want).abs() < 0.02, "{name}: {at} {want}");
    }
    run
}

#[test]
fn lap_times_of_three_laps() {
    laps_agree("streams/s2_gt.base.10hz.csv", 2);
}

/// The circuit crosses over itself: the place goes on steadily, at most one step per sample.
#[test]
fn lap_times_and_places_where_the_line_crosses_itself() {
    let run = laps_agree("streams/s6_gt.base.10hz.csv", 1);
    let places: Vec<_> = run.steps.iter().filter_map(|s| s.place).collect();
    assert!(places.len() + 12 > run.steps.len(), "{}", places.len());
    for (step, place) in run.steps.iter().filter_map(|s| Some((s, s.place?))) {
        let speed = step.gate.expect("admitted").speed_mps;
        assert!(
            (0.0..=0.115 * speed + 0.5).contains(&place.step_m),
            "{place:?}"
        );
        assert!(place.offset_m.abs() < 8.0, "{place:?}");
    }
}

/// Found anew at any moment of the lap, also at the crossover, within half a second and right.
#[test]
fn found_anywhere_on_a_line_that_crosses_itself() {
    let table = Table::read("streams/s6_gt.base.10hz.csv");
    let store = line_of(&table);
    let line = store.view();
    let samples = table.local_samples();
    let whole = drive(&line, &samples);
    for begin in (0..samples.len() - 30).step_by(7) {
        let run = drive(&line, &samples[begin..begin + 20]);
        let found = run
            .steps
            .iter()
            .position(|s| s.place.is_some())
            .expect("found");
        assert!(found <= 7, "from {begin}: {found} samples");
        for (step, known) in run.steps.iter().zip(&whole.steps[begin..]) {
            if let (Some(a), Some(b)) = (step.place, known.place) {
                let off = line.ahead_m(b.progress_m, a.progress_m);
                assert!(off.abs() < 2.0, "from {begin}: {off}");
            }
        }
    }
}

/// Standing start, spins, stops and trips off the track are named, and the laps still close.
#[test]
fn first_laps_with_spins_and_stops() {
    let points = Table::read("streams/s1_gt.line.csv");
    let path: Vec<_> = points
        .column("x_m")
        .into_iter()
        .zip(points.column("y_m"))
        .collect();
    let mut store = line_through(&path, 4.5, 40.0, HERE);
    store.session.source = SourceKind::Simulator;
    let table = Table::read("streams/s7_touring_firstlaps.5hz.csv");
    let run = drive(&store.view(), &table.local_samples());
    let laps = run.laps();
    let truth = crossings_s(&table);
    assert_eq!(laps.len(), 3);
    for (lap, pair) in laps.iter().zip(truth.windows(2)) {
        let off_ms = (lap.time_us as f64 * 1e-6 - (pair[1] - pair[0])) * 1e3;
        assert!(off_ms.abs() < 50.0, "lap {}: {off_ms} ms", lap.lap);
        assert!(!lap.valid, "each has a spin or a trip");
    }
    let named = |at_s: f64, states: &[HealthState]| {
        let health = run.at(at_s).health.0;
        assert!(states.contains(&health), "{at_s} s: {health:?}");
    };
    use HealthState::{OffTrack, Ok, Pit, Standing, WrongWay};
    named(1.2, &[Standing]);
    named(30.0, &[Ok]);
    // A trip 33 m off the track, where it turns round and comes back.
    for at in [58.2, 59.0, 60.5, 62.0, 63.0, 64.5] {
        named(at, &[OffTrack, Standing, WrongWay, Pit]);
    }
    named(90.0, &[Ok]);
    // Off by more than 10 m or standing: never good for longer than 0.4 s.
    let mut bad_s = 0.0;
    for pair in run.steps.windows(2) {
        let out = pair[1].place.is_some_and(|p| p.offset_m.abs() > 10.0)
            || pair[1].gate.is_ok_and(|a| a.speed_mps < 3.0);
        bad_s = if out {
            bad_s + pair[1].time_s - pair[0].time_s
        } else {
            0.0
        };
        assert!(bad_s <= 0.61 || pair[1].health.0 != Ok, "{:?}", pair[1]);
    }
}

/// Found while driven against the line, the place runs backward from the first step on.
#[test]
fn found_against_the_line() {
    let table = Table::read("streams/s6_gt.base.10hz.csv");
    let store = line_of(&table);
    let line = store.view();
    let samples = table.local_samples();
    let whole = drive(&line, &samples);
    for begin in (0..samples.len() - 40).step_by(29) {
        let part = &samples[begin..begin + 30];
        let back: Vec<_> = part
            .iter()
            .rev()
            .zip(part)
            .map(|(there, now)| Sample {
                time_us: now.time_us,
                direction_rad: there.direction_rad.map(|d| d + std::f32::consts::PI),
                ..*there
            })
            .collect();
        let run = drive(&line, &back);
        let places: Vec<_> = run.steps.iter().filter_map(|s| s.place).collect();
        assert!(places.len() >= 20, "from {begin}: {}", places.len());
        // Where the line runs past itself the other branch may be taken, far beside the car: never
        // with a good word for it.
        let beside = places.iter().any(|p| p.offset_m.abs() > 20.0);
        for place in &places[1..] {
            assert!(beside || place.step_m < 0.0, "from {begin}: {place:?}");
            assert_ne!(place.state, HealthState::Ok, "from {begin}");
            assert!(place.crossing.is_none(), "from {begin}");
        }
        let end = run.steps.last().and_then(|s| s.place).expect("found");
        if let Some(known) = whole.steps[begin].place.filter(|_| !beside) {
            let off_m = line.ahead_m(known.progress_m, end.progress_m);
            assert!(off_m.abs() < 2.0, "from {begin}: {off_m}");
        }
    }
}

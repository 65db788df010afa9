//! What a source is off by: found, and taken out of the places.

use cuepost_engine::reference::SourceKind;
use cuepost_engine::{Position, Sample};
use cuepost_tests::csv::{Table, local};
use cuepost_tests::drive::{Drive, drive};
use cuepost_tests::track::{HERE, Store, lap_points, line_through};

/// Three laps of a driving simulator and a reference of the first whole one.
fn stream() -> (Store, Vec<Sample>) {
    let table = Table::read("streams/s2_gt.base.10hz.csv");
    let lap = table.column("lap");
    let (x, y) = (table.column("x_m"), table.column("y_m"));
    let points: Vec<_> = (0..table.len())
        .filter(|&i| lap[i] == lap[0] + 1.0)
        .map(|i| (x[i], y[i]))
        .collect();
    let mut store = line_through(&lap_points(&points, 8.0), 4.5, 40.0, HERE);
    store.session.source = SourceKind::Receiver;
    (store, table.local_samples())
}

fn moved(s: &mut Sample, east_m: f64, north_m: f64) {
    if let Some(Position::Local { east_mm, north_mm }) = s.position {
        s.position = Some(local(
            east_mm as f64 * 1e-3 + east_m,
            north_mm as f64 * 1e-3 + north_m,
        ));
    }
}

/// Largest distance along and beside the line between two drives after the first lap and a half.
fn apart(store: &Store, a: &Drive, b: &Drive) -> (f32, f32) {
    let line = store.view();
    let late = a.steps.iter().zip(&b.steps).skip(1000);
    late.filter_map(|(a, b)| Some((a.place?, b.place?))).fold(
        (0.0, 0.0),
        |(along, aside), (a, b)| {
            (
                line.ahead_m(b.progress_m, a.progress_m).abs().max(along),
                (a.offset_m - b.offset_m).abs().max(aside),
            )
        },
    )
}

/// The day's common offset of the position.
#[test]
fn common_offset() {
    let (store, samples) = stream();
    let plain = drive(&store.view(), &samples);
    for (east_m, north_m) in [(3.0, -1.0), (-2.0, 2.5), (0.0, 4.0)] {
        let mut off = samples.clone();
        off.iter_mut().for_each(|s| moved(s, east_m, north_m));
        let run = drive(&store.view(), &off);
        let found = run.progress.correction();
        assert!((f64::from(found.east_m) - east_m).abs() < 0.5, "{found:?}");
        assert!(
            (f64::from(found.north_m) - north_m).abs() < 0.5,
            "{found:?}"
        );
        let (along, aside) = apart(&store, &run, &plain);
        assert!(along < 1.0 && aside < 1.0, "{along} {aside}");
        let (a, b) = (run.laps(), plain.laps());
        assert_eq!(a.len(), b.len());
        for (a, b) in a.iter().zip(&b) {
            assert!(a.time_us.abs_diff(b.time_us) < 20_000, "{a:?} {b:?}");
        }
    }
}

/// A driver who keeps 1.5 m to the left of the reference everywhere is not an offset.
#[test]
fn another_line_is_no_offset() {
    let (store, samples) = stream();
    let mut left: Vec<_> = samples.clone();
    for s in &mut left {
        let d = f64::from(s.direction_rad.unwrap());
        moved(s, -1.5 * d.sin(), 1.5 * d.cos());
    }
    // The speed that goes with the other path.
    let metres = |s: &Sample| match s.position {
        Some(Position::Local { east_mm, north_mm }) => {
            (east_mm as f64 * 1e-3, north_mm as f64 * 1e-3)
        }
        _ => panic!("local"),
    };
    for i in 1..left.len() - 1 {
        let (a, b) = (metres(&left[i - 1]), metres(&left[i + 1]));
        let h = (left[i + 1].time_us - left[i - 1].time_us) as f64 * 1e-6;
        let (a0, b0) = (metres(&samples[i - 1]), metres(&samples[i + 1]));
        let ratio = (a.0 - b.0).hypot(a.1 - b.1) / (a0.0 - b0.0).hypot(a0.1 - b0.1);
        assert!(h > 0.0 && (0.9..1.1).contains(&ratio));
        left[i].speed_mps = samples[i].speed_mps.map(|v| v * ratio as f32);
    }
    let run = drive(&store.view(), &left);
    let found = run.progress.correction();
    assert!(found.east_m.hypot(found.north_m) < 0.7, "{found:?}");
    let offsets: Vec<f32> = run.steps[1000..]
        .iter()
        .filter_map(|s| Some(s.place?.offset_m))
        .collect();
    let mean = offsets.iter().sum::<f32>() / offsets.len() as f32;
    assert!((mean - 1.5).abs() < 0.3, "{mean}");
}

/// Wheels that show 1.5 % too much, and a speed that lags 0.16 s, move no place.
#[test]
fn scale_and_lag_of_the_speed() {
    let (store, samples) = stream();
    let plain = drive(&store.view(), &samples);
    let mut scaled = samples.clone();
    scaled
        .iter_mut()
        .for_each(|s| s.speed_mps = s.speed_mps.map(|v| v * 1.015));
    let run = drive(&store.view(), &scaled);
    let stretch = run.progress.correction().stretch;
    assert!((stretch - 1.0 / 1.015).abs() < 0.002, "{stretch}");
    let (along, _) = apart(&store, &run, &plain);
    assert!(along < 0.3, "{along}");

    let mut lagging = samples.clone();
    let mut late = samples[0].speed_mps.unwrap();
    for s in &mut lagging {
        // A low-pass of 0.16 s at 10 Hz.
        late += (s.speed_mps.unwrap() - late) * (1.0 - (-0.1f32 / 0.16).exp());
        s.speed_mps = Some(late);
    }
    let run = drive(&store.view(), &lagging);
    let lag_s = run.progress.correction().lag_s;
    assert!((0.08..0.22).contains(&lag_s), "{lag_s}");
    let (along, _) = apart(&store, &run, &plain);
    assert!(along < 0.6, "{along}");
}

/// White noise of the position moves the place far less than itself, and lap times by less than
/// 20 ms.
#[test]
fn noise() {
    let (store, samples) = stream();
    let plain = drive(&store.view(), &samples);
    let mut rng = 99u64;
    let mut uniform = move || {
        rng = rng
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (rng >> 11) as f64 / (1u64 << 53) as f64
    };
    let mut gauss = move || (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
    let mut noisy = samples.clone();
    for s in &mut noisy {
        moved(s, 0.5 * gauss(), 0.5 * gauss());
        s.speed_mps = s.speed_mps.map(|v| v + 0.05 * gauss() as f32);
    }
    let run = drive(&store.view(), &noisy);
    let (along, _) = apart(&store, &run, &plain);
    assert!(along < 1.0, "{along}");
    for (a, b) in run.laps().iter().zip(plain.laps()) {
        assert!(a.time_us.abs_diff(b.time_us) < 20_000, "{a:?} {b:?}");
    }
    let steps = run.steps[1000..]
        .windows(2)
        .zip(plain.steps[1000..].windows(2));
    let jitter = steps
        .filter_map(|(a, b)| Some((a[1].place?.step_m - b[1].place?.step_m).abs()))
        .fold(0.0f32, f32::max);
    assert!(jitter < 0.25, "{jitter}");
}

//! Whatever comes in: nothing panics, nothing is not a number, every place is on the line.

use cuepost_engine::gate::Gate;
use cuepost_engine::progress::Progress;
use cuepost_engine::{Position, Sample};
use cuepost_tests::track::{HERE, Store, line_through};
use proptest::prelude::*;

fn figure_eight() -> Store {
    let points: Vec<_> = (0..160)
        .map(|i| {
            let a = std::f64::consts::TAU * f64::from(i) / 160.0;
            (200.0 * a.sin(), 120.0 * (2.0 * a).sin())
        })
        .collect();
    line_through(&points, 5.0, 30.0, HERE)
}

/// Any number, the awkward ones often.
fn awkward() -> impl Strategy<Value = f32> {
    prop_oneof![
        4 => -200.0f32..200.0,
        1 => prop::num::f32::ANY,
        1 => prop::sample::select(vec![0.0, -0.0, f32::NAN, f32::INFINITY, f32::MIN, f32::MAX]),
    ]
}

fn position() -> impl Strategy<Value = Option<Position>> {
    prop_oneof![
        6 => (-250_000i64..250_000, -150_000i64..150_000)
            .prop_map(|(east_mm, north_mm)| Some(Position::Local { east_mm, north_mm })),
        1 => (any::<i64>(), any::<i64>())
            .prop_map(|(east_mm, north_mm)| Some(Position::Local { east_mm, north_mm })),
        1 => (any::<i32>(), any::<i32>())
            .prop_map(|(lat_e7, lon_e7)| Some(Position::Geodetic { lat_e7, lon_e7 })),
        1 => Just(None),
    ]
}

prop_compose! {
    fn any_sample()(
        time_us in prop_oneof![0u64..30_000_000, any::<u64>()],
        position in position(),
        numbers in prop::array::uniform8(prop::option::of(awkward())),
    ) -> Sample {
        let [speed_mps, direction_rad, position_sd_m, speed_sd_mps, brake, throttle, yaw, acc] = numbers;
        Sample {
            time_us, position, speed_mps, direction_rad, position_sd_m, speed_sd_mps, brake, throttle,
            yaw_rate_rps: yaw, long_acc_mps2: acc, ..Sample::default()
        }
    }
}

/// One thing done to a sample of a drive.
#[derive(Clone, Copy, Debug)]
enum Mishap {
    None,
    Drop,
    Repeat,
    Late(u64),
    Jump(i64, i64),
    Speed(f32),
    NoPosition,
    NoDirection,
    Clock(i64),
}

fn mishap() -> impl Strategy<Value = Mishap> {
    prop_oneof![
        30 => Just(Mishap::None),
        2 => Just(Mishap::Drop),
        1 => Just(Mishap::Repeat),
        1 => (0u64..5_000_000).prop_map(Mishap::Late),
        1 => (-90_000i64..90_000, -90_000i64..90_000).prop_map(|(e, n)| Mishap::Jump(e, n)),
        1 => awkward().prop_map(Mishap::Speed),
        2 => Just(Mishap::NoPosition),
        2 => Just(Mishap::NoDirection),
        1 => (-5_000_000i64..900_000_000).prop_map(Mishap::Clock),
    ]
}

/// A drive along the figure at any speed and offset with mishaps on the way.
fn driven(mishaps: &[Mishap], speed_mps: f64, aside_m: f64, hz: f64, way: f64) -> Vec<Sample> {
    let mut samples = Vec::new();
    let mut clock = 1_000_000i64;
    let point = |s: f64| {
        let a = s / 220.0;
        (200.0 * a.sin(), 120.0 * (2.0 * a).sin())
    };
    for (i, m) in mishaps.iter().enumerate() {
        let s = way * speed_mps * i as f64 / hz;
        let (e, n) = point(s);
        let (e2, n2) = point(s + way * 0.5);
        let d = (n2 - n).atan2(e2 - e);
        clock += (1e6 / hz) as i64;
        let mut sample = Sample {
            time_us: clock.max(0) as u64,
            position: Some(Position::Local {
                east_mm: ((e - aside_m * d.sin()) * 1e3) as i64,
                north_mm: ((n + aside_m * d.cos()) * 1e3) as i64,
            }),
            speed_mps: Some(speed_mps as f32),
            direction_rad: Some(d as f32),
            ..Sample::default()
        };
        match *m {
            Mishap::None => {}
            Mishap::Drop => continue,
            Mishap::Repeat => samples.push(sample),
            Mishap::Late(us) => sample.time_us = sample.time_us.saturating_sub(us),
            Mishap::Jump(de, dn) => {
                if let Some(Position::Local { east_mm, north_mm }) = &mut sample.position {
                    *east_mm += de;
                    *north_mm += dn;
                }
            }
            Mishap::Speed(v) => sample.speed_mps = Some(v),
            Mishap::NoPosition => sample.position = None,
            Mishap::NoDirection => sample.direction_rad = None,
            Mishap::Clock(us) => {
                clock = (clock + us).max(0);
                sample.time_us = clock as u64;
            }
        }
        samples.push(sample);
    }
    samples
}

/// What must hold for every sample.
fn holds(store: &Store, samples: &[Sample]) -> Result<(), TestCaseError> {
    let line = store.view();
    let (mut gate, mut progress) = (Gate::default(), Progress::default());
    let mut last_us = None;
    for sample in samples {
        let Ok(a) = gate.admit(&line.frame, sample) else {
            continue;
        };
        let numbers = [
            a.dt_s,
            a.east_m,
            a.north_m,
            a.speed_mps,
            a.direction_rad.unwrap_or(0.0),
        ];
        prop_assert!(numbers.iter().all(|x| x.is_finite()), "{a:?}");
        prop_assert!(a.speed_mps >= 0.0 && a.dt_s >= 0.0);
        prop_assert_eq!(
            a.dt_s == 0.0,
            last_us.is_none_or(|l| l >= a.time_us || a.time_us - l > 600_000_000)
        );
        prop_assert!(a.dt_s == 0.0 || last_us.is_some_and(|l| l < a.time_us));
        last_us = Some(a.time_us);
        if let Some(p) = progress.advance(&line, &a) {
            prop_assert!((0.0..line.length_m()).contains(&p.progress_m), "{p:?}");
            prop_assert!(p.offset_m.abs() <= 61.0 && p.step_m.is_finite(), "{p:?}");
            prop_assert!(p.slip_rad.is_none_or(|s| s.abs() < 3.15), "{p:?}");
            if let Some(c) = p.crossing {
                prop_assert!(c.time_us <= a.time_us);
                if let Some(closed) = c.closed {
                    prop_assert!(closed.time_us >= line.session.lap_time_us / 2);
                }
            }
        }
        let c = progress.correction();
        let numbers = [c.east_m, c.north_m, c.offset_sd_m, c.lag_s, c.stretch];
        prop_assert!(numbers.iter().all(|x| x.is_finite()), "{c:?}");
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_samples(samples in prop::collection::vec(any_sample(), 0..200)) {
        holds(&figure_eight(), &samples)?;
    }

    #[test]
    fn drives_with_mishaps(
        mishaps in prop::collection::vec(mishap(), 50..900),
        speed_mps in 0.0f64..90.0,
        aside_m in -70.0f64..70.0,
        hz in prop::sample::select(vec![5.0, 10.0, 18.0, 25.0, 50.0, 100.0, 400.0]),
        way in prop::sample::select(vec![1.0, 1.0, -1.0]),
    ) {
        holds(&figure_eight(), &driven(&mishaps, speed_mps, aside_m, hz, way))?;
    }

    /// A line that no circuit has: any nodes at all.
    #[test]
    fn any_line(
        nodes in prop::collection::vec((any::<i32>(), any::<i32>(), any::<i16>()), 0..40),
        spacing_m in prop_oneof![0.1f32..20.0, prop::num::f32::ANY],
        samples in prop::collection::vec(any_sample(), 0..60),
    ) {
        let mut store = Store::new();
        store.spacing_m = spacing_m;
        for (east_mm, north_mm, curvature_e5) in nodes {
            let node = cuepost_engine::Node { east_mm, north_mm, curvature_e5, ..Default::default() };
            store.nodes.push(node).unwrap();
        }
        let line = store.view();
        let (mut gate, mut progress) = (Gate::default(), Progress::default());
        for sample in &samples {
            if let Ok(a) = gate.admit(&line.frame, sample) {
                let _ = progress.advance(&line, &a);
            }
        }
    }
}

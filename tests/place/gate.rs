//! What the gate refuses, bridges, believes and complains of, one fault at a time on a clean drive
//! round a circle of 200 m radius at 30 m/s and 25 Hz.

use cuepost_engine::event::{HealthState, Why};
use cuepost_engine::gate::Refusal;
use cuepost_engine::reference::SourceKind;
use cuepost_engine::{Position, Sample};
use cuepost_tests::csv::local;
use cuepost_tests::drive::{Drive, Step, drive};
use cuepost_tests::track::{HERE, Store, line_through};

const HZ: f64 = 25.0;
pub const SPEED: f64 = 30.0;
pub const RADIUS: f64 = 200.0;
/// Every fault begins here, seconds.
pub const BEGIN: f64 = 5.0;

pub fn ring() -> Store {
    let points: Vec<_> = (0..126)
        .map(|i| {
            let a = std::f64::consts::TAU * f64::from(i) / 126.0;
            (RADIUS * a.cos(), RADIUS * a.sin())
        })
        .collect();
    let mut store = line_through(&points, 5.0, SPEED, HERE);
    store.session.source = SourceKind::Receiver;
    store
}

/// A clean drive of so many seconds.
pub fn clean(seconds: f64) -> Vec<Sample> {
    (0..(seconds * HZ) as usize)
        .map(|i| {
            let t = i as f64 / HZ;
            let a = 1.0 + SPEED * t / RADIUS;
            Sample {
                time_us: 7_000_000 + (t * 1e6) as u64,
                position: Some(local(RADIUS * a.cos(), RADIUS * a.sin())),
                speed_mps: Some(SPEED as f32),
                direction_rad: Some((a + std::f64::consts::FRAC_PI_2) as f32),
                ..Sample::default()
            }
        })
        .collect()
}

pub fn index(at_s: f64) -> usize {
    (at_s * HZ).round() as usize
}

/// The drive with a fault done to its samples from [`BEGIN`] for so long.
pub fn faulty(seconds: f64, mut fault: impl FnMut(usize, &mut Sample)) -> Drive {
    let mut samples = clean(BEGIN + seconds + 6.0);
    for (i, s) in samples
        .iter_mut()
        .enumerate()
        .take(index(BEGIN + seconds))
        .skip(index(BEGIN))
    {
        fault(i, s);
    }
    drive(&ring().view(), &samples)
}

/// Steps from so long after the fault's begin to so long after its end.
pub fn states(run: &Drive, from_s: f64, to_s: f64) -> Vec<&Step> {
    run.steps[index(BEGIN + from_s)..index(BEGIN + to_s)]
        .iter()
        .collect()
}

/// Not good within 0.5 s of the fault's begin, and good again within 2 s of its end.
fn named_and_over(run: &Drive, seconds: f64, why: &[Why]) {
    for step in states(run, 0.52, seconds) {
        assert_ne!(step.health.0, HealthState::Ok, "{step:?}");
        assert!(why.contains(&step.health.1), "{step:?}");
    }
    for step in states(run, seconds + 2.0, seconds + 5.9) {
        assert_eq!(step.health.0, HealthState::Ok, "{step:?}");
    }
}

/// The places of a faulty drive are the clean one's within some metres wherever they are given as
/// good.
pub fn places_hold(run: &Drive, within_m: f32) {
    let store = ring();
    let line = store.view();
    let samples = clean(run.steps.len() as f64 / HZ);
    let truth = drive(&line, &samples);
    for (a, b) in run.steps.iter().zip(&truth.steps) {
        if a.health.0 == HealthState::Ok
            && let (Some(a), Some(b)) = (a.place, b.place)
        {
            let off = line.ahead_m(b.progress_m, a.progress_m);
            assert!(off.abs() < within_m, "{off} {a:?}");
        }
    }
}

#[test]
fn a_clean_drive_is_good_after_a_second() {
    let run = drive(&ring().view(), &clean(20.0));
    assert_eq!(run.gate.refused, [0; 8]);
    assert!(
        run.steps[25..]
            .iter()
            .all(|s| s.health == (HealthState::Ok, Why::Good))
    );
}

#[test]
fn values_that_are_none() {
    type Spoil = fn(&mut Sample);
    let spoils: [(Spoil, Refusal); 9] = [
        (|s| s.speed_mps = Some(f32::NAN), Refusal::NotFinite),
        (|s| s.speed_mps = Some(f32::INFINITY), Refusal::NotFinite),
        (|s| s.speed_mps = Some(-5.0), Refusal::NotFinite),
        (|s| s.speed_mps = Some(1e39f64 as f32), Refusal::NotFinite),
        (|s| s.speed_mps = Some(400.0), Refusal::NotFinite),
        (|s| s.speed_mps = None, Refusal::NoFix),
        (|s| s.position = Some(local(1e7, 1e7)), Refusal::Leap),
        (|s| s.position_sd_m = Some(40.0), Refusal::Inaccurate),
        (
            |s| {
                s.position = Some(Position::Geodetic {
                    lat_e7: 1,
                    lon_e7: 1,
                })
            },
            Refusal::Leap,
        ),
    ];
    for (spoil, why) in spoils {
        let once = faulty(1.0 / HZ, |_, s| spoil(s));
        assert_eq!(once.steps[index(BEGIN)].gate, Err(why));
        assert_eq!(once.gate.refused.iter().sum::<u32>(), 1);
        assert!(
            states(&once, 0.1, 6.0)
                .iter()
                .all(|s| s.health.0 == HealthState::Ok)
        );
        let long = faulty(3.0, |_, s| spoil(s));
        named_and_over(&long, 3.0, &[why.why(), Why::Gap, Why::Searching]);
        places_hold(&long, 0.5);
    }
}

/// Fields that the engine can do without are dropped, the sample is kept.
#[test]
fn fields_that_are_none() {
    let run = faulty(1.0, |_, s| {
        s.brake = Some(f32::NAN);
        s.throttle = Some(100.0);
        s.yaw_rate_rps = Some(f32::INFINITY);
        s.speed_sd_mps = Some(-1.0);
        s.direction_rad = Some(f32::NAN);
        s.position_sd_m = Some(f32::NAN);
        s.long_acc_mps2 = Some(f32::NEG_INFINITY);
    });
    assert!(run.gate.dropped_fields >= 4 * 25);
    for step in states(&run, 0.0, 1.0) {
        let a = step.gate.expect("admitted");
        assert_eq!(
            (a.brake, a.throttle, a.yaw_rate_rps, a.speed_sd_mps),
            (None, None, None, None)
        );
        assert!(a.direction_rad.is_none_or(f32::is_finite));
    }
    places_hold(&run, 0.2);
}

/// Half a second without positions is bridged on speed round the bend; more is said.
#[test]
fn missing_positions() {
    let short = faulty(0.44, |_, s| s.position = None);
    assert!(
        states(&short, 0.0, 0.44)
            .iter()
            .all(|s| !s.gate.expect("admitted").located)
    );
    for (step, clean) in states(&short, 0.0, 0.44)
        .iter()
        .zip(&clean(10.0)[index(BEGIN)..])
    {
        let a = step.gate.expect("admitted");
        let Some(Position::Local { east_mm, north_mm }) = clean.position else {
            panic!("local")
        };
        let (e, n) = (east_mm as f32 * 1e-3, north_mm as f32 * 1e-3);
        assert!((a.east_m - e).hypot(a.north_m - n) < 0.3, "{a:?}");
    }
    assert!(
        states(&short, 0.0, 6.0)
            .iter()
            .all(|s| s.health.0 == HealthState::Ok)
    );
    places_hold(&short, 0.2);
    named_and_over(
        &faulty(2.0, |_, s| s.position = None),
        2.0,
        &[Why::NoFix, Why::Gap],
    );
}

#[test]
fn frozen_source() {
    let held = clean(BEGIN)[index(BEGIN) - 1].position;
    let run = faulty(3.0, |_, s| s.position = held);
    named_and_over(&run, 3.0, &[Why::Frozen, Why::Gap, Why::Searching]);
    assert!(run.gate.refused[Refusal::Frozen as usize] > 50);
    places_hold(&run, 0.5);
}

/// A leap is refused and moves nothing; one that stays is believed, and the way back too.
#[test]
fn leaps() {
    for aside_m in [20.0, 45.0, 300.0, 20_000.0] {
        let away = |s: &mut Sample| {
            let Some(Position::Local { east_mm, north_mm }) = s.position else {
                return;
            };
            s.position = Some(Position::Local {
                east_mm: east_mm + (aside_m * 1e3) as i64,
                north_mm,
            });
        };
        let once = faulty(1.0 / HZ, |_, s| away(s));
        assert_eq!(once.steps[index(BEGIN)].gate, Err(Refusal::Leap));
        assert!(
            states(&once, 0.1, 6.0)
                .iter()
                .all(|s| s.health.0 == HealthState::Ok)
        );
        places_hold(&once, 0.1);
        let long = faulty(3.0, |_, s| away(s));
        named_and_over(
            &long,
            3.0,
            &[
                Why::Leap,
                Why::Gap,
                Why::Searching,
                Why::FarFromLine,
                Why::BesideLine,
                Why::Contradiction,
            ],
        );
        places_hold(&long, 1.0);
    }
}

/// Without a direction of its own the source's path gives one, right on a circle; below 3 m/s
/// there is none.
#[test]
fn direction_from_positions() {
    let mut samples = clean(10.0);
    let truth: Vec<_> = samples.iter().map(|s| s.direction_rad.unwrap()).collect();
    for s in &mut samples {
        s.direction_rad = None;
    }
    let run = drive(&ring().view(), &samples);
    for (step, want) in run.steps.iter().zip(&truth).skip(15) {
        let d = step.gate.unwrap().direction_rad.expect("a direction");
        let off = cuepost_engine::math::wrap_angle(d - want);
        assert!(off.abs() < 0.004, "{off}");
    }
    for s in &mut samples {
        s.speed_mps = Some(2.9);
        s.direction_rad = Some(1.0);
    }
    let run = drive(&ring().view(), &samples[..20]);
    assert!(
        run.steps
            .iter()
            .filter_map(|s| s.gate.ok())
            .all(|a| a.direction_rad.is_none())
    );
}

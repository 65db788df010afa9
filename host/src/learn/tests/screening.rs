//! Laps that must not be learned from, each dropped for its own reason.

use super::super::screen::Fault;
use super::super::{LearnError, Options, StartAt, Take, learn};
use super::track::{Drive, STADIUM};
use cuepost_engine::Sample;
use cuepost_engine::sample::Position;

fn car() -> Drive {
    Drive::new(&STADIUM, 11.8, 4.0, 90.0)
}

fn options() -> Options {
    Options {
        start: Some(StartAt::Plane {
            east_m: 12_345.678,
            north_m: -7_654.321,
            bearing_deg: 90.0,
        }),
        ..Options::default()
    }
}

/// Drives three good laps, one that `spoil` changes and a good one, and returns the faults. `spoil`
/// gets the distance driven since the spoilt lap's begin, and says whether the sample is kept.
fn faults(spoil: impl Fn(f64, &mut Sample) -> bool) -> Vec<Option<Fault>> {
    let length = car().length_m();
    let samples: Vec<Sample> = driven(25.0, 5.2)
        .into_iter()
        .filter_map(|(m, mut s)| {
            let on = m - 3.0 * length;
            (on < 0.0 || spoil(on, &mut s)).then_some(s)
        })
        .collect();
    faults_of(&samples)
}

/// Samples with the distance driven from the start line.
fn driven(rate_hz: f64, rounds: f64) -> Vec<(f64, Sample)> {
    let car = car();
    let samples = car.samples(-100.0, rounds * car.length_m(), rate_hz, [0.02, 0.03]);
    let mut driven = -100.0;
    let mut last: Option<Sample> = None;
    let mut out = Vec::new();
    for s in samples {
        if let Some(l) = last {
            let dt = (s.time_us - l.time_us) as f64 * 1e-6;
            let speeds = s.speed_mps.unwrap_or(0.0) + l.speed_mps.unwrap_or(0.0);
            driven += 0.5 * dt * f64::from(speeds);
        }
        last = Some(s);
        out.push((driven, s));
    }
    out
}

fn faults_of(samples: &[Sample]) -> Vec<Option<Fault>> {
    let take = Take {
        name: "test",
        samples,
    };
    let out = learn(&[take], &options(), &mut |_, _| {}).expect("laps");
    out.cut.laps.iter().map(|l| l.fault).collect()
}

fn moved(s: &mut Sample, east_m: f64, north_m: f64) {
    if let Some(Position::Local { east_mm, north_mm }) = &mut s.position {
        *east_mm += (east_m * 1e3) as i64;
        *north_mm += (north_m * 1e3) as i64;
    }
}

#[test]
fn good_laps_have_no_fault() {
    assert_eq!(faults(|_, _| true), [None; 5]);
}

#[test]
fn a_gap_is_named_with_its_length_and_place() {
    let all = faults(|m, _| !(500.0..540.0).contains(&m));
    let Some(Fault::Gap { seconds, at_m }) = all[3] else {
        panic!("{all:?}");
    };
    assert!((0.6..1.4).contains(&seconds), "{seconds}");
    assert!((530.0..550.0).contains(&at_m), "{at_m}");
    assert_eq!(all.iter().filter(|f| f.is_some()).count(), 1);
}

#[test]
fn a_stop_is_named() {
    // Time runs up to thirty times slower over 200 m of the second lap.
    let mut late_us = 0.0;
    let mut before_us = 0;
    let length = car().length_m();
    let samples: Vec<Sample> = driven(100.0, 3.2)
        .into_iter()
        .map(|(m, mut s)| {
            let x = ((m - length - 500.0) / 200.0).clamp(0.0, 1.0);
            let slow = 1.0 + 29.0 * (std::f64::consts::PI * x).sin().powi(4);
            late_us += (s.time_us - before_us) as f64 * (slow - 1.0);
            before_us = s.time_us;
            s.time_us += late_us as u64;
            s.speed_mps = s.speed_mps.map(|v| v / slow as f32);
            s
        })
        .collect();
    let all = faults_of(&samples);
    assert!(
        matches!(all[..], [None, Some(Fault::Stopped { at_m }), None] if (540.0..660.0).contains(&at_m)),
        "{all:?}"
    );
}

#[test]
fn an_excursion_is_off_the_line() {
    // A bow of 25 m to the outside of the second straight.
    let all = faults(|m, s| {
        let x = (m - 450.0) / 200.0;
        if (0.0..1.0).contains(&x) {
            moved(s, 0.0, 25.0 * (std::f64::consts::PI * x).sin().powi(2));
        }
        true
    });
    let Some(Fault::OffLine { offset_m, at_m }) = all[3] else {
        panic!("{all:?}");
    };
    assert!((-26.0..-24.0).contains(&offset_m), "{offset_m}");
    assert!((530.0..570.0).contains(&at_m), "{at_m}");
}

#[test]
fn a_pit_lane_beside_the_start_line_is_told_from_an_excursion() {
    let all = faults(|m, s| {
        let x = (1.0 - (m - 1110.0).abs() / 150.0).clamp(0.0, 0.5) * 2.0;
        moved(s, 0.0, 18.0 * x * x * (3.0 - 2.0 * x));
        true
    });
    assert!(matches!(all[3], Some(Fault::Pit { .. })), "{all:?}");
}

#[test]
fn a_reference_lap_can_be_chosen_but_not_a_broken_one() {
    let car = car();
    let mut samples = car.samples(-100.0, 3.2 * car.length_m(), 25.0, [0.0, 0.0]);
    samples.retain(|s| !(45_000_000..46_000_000).contains(&s.time_us));
    let with = |lap| {
        let take = Take {
            name: "test",
            samples: &samples,
        };
        let options = Options {
            lap: Some(lap),
            ..options()
        };
        learn(&[take], &options, &mut |_, _| {}).map(|l| l.cut.laps[l.chosen].number)
    };
    assert_eq!(with(3), Ok(3));
    assert_eq!(with(4), Err(LearnError::NoSuchLap(4, 3)));
    assert!(matches!(with(2), Err(LearnError::BadLap(2, _))));
}

#[test]
fn what_cannot_be_learned_from_is_refused_with_the_reason() {
    let car = car();
    let samples = car.samples(0.0, 700.0, 25.0, [0.0, 0.0]);
    let refused = |samples: &[Sample], options: &Options| {
        let take = Take {
            name: "test",
            samples,
        };
        learn(&[take], options, &mut |_, _| {})
            .map(|_| ())
            .unwrap_err()
    };
    assert_eq!(refused(&[], &Options::default()), LearnError::NoPosition);
    assert_eq!(refused(&samples, &Options::default()), LearnError::NoRound);
    assert_eq!(refused(&samples, &options()), LearnError::NoCrossing);
    let mut mixed = samples.clone();
    mixed[5].position = Some(Position::Geodetic {
        lat_e7: 450_000_000,
        lon_e7: 90_000_000,
    });
    assert_eq!(refused(&mixed, &options()), LearnError::MixedPositions);
    let blind: Vec<Sample> = samples
        .iter()
        .map(|s| Sample {
            position: None,
            ..*s
        })
        .collect();
    assert_eq!(refused(&blind, &options()), LearnError::NoPosition);
    let globe = Options {
        start: StartAt::parse("45.1,9.2,90", true).ok(),
        ..Options::default()
    };
    assert_eq!(refused(&samples, &globe), LearnError::StartElsewhere);
}

#[test]
fn start_lines_are_read_or_refused() {
    let plane = StartAt::parse("12.5, -3,270", false);
    assert_eq!(
        plane,
        Ok(StartAt::Plane {
            east_m: 12.5,
            north_m: -3.0,
            bearing_deg: 270.0
        })
    );
    for (text, geodetic) in [
        ("1,2", false),
        ("a,2,3", false),
        ("1,2,nan", false),
        ("1,2,400", false),
        ("91,2,3", true),
        ("45,181,3", true),
        ("", true),
    ] {
        assert!(StartAt::parse(text, geodetic).is_err(), "{text}");
    }
}

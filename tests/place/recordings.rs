//! Known faults of other software that reach the gate through a receiver's text.

use cuepost_engine::event::HealthState;
use cuepost_engine::gate::{Gate, Refusal};
use cuepost_engine::{Frame, Sample};
use cuepost_host::geodesy::frame_at;
use cuepost_host::source::{Options, open};
use cuepost_tests::csv::{Table, data};

fn samples(name: &str) -> Vec<Sample> {
    open(&data(name), &Options::default())
        .expect("opens")
        .map(|s| s.expect("read to its end"))
        .collect()
}

/// The admitted samples in a frame, and the gate.
fn admitted(frame: &Frame, samples: &[Sample]) -> (Vec<cuepost_engine::gate::Admitted>, Gate) {
    let mut gate = Gate::default();
    let admitted = samples
        .iter()
        .filter_map(|s| gate.admit(frame, s).ok())
        .collect();
    (admitted, gate)
}

/// No course while standing or creeping: https://github.com/peterhinch/micropython-async/issues/71
#[test]
fn fault_02_standstill_course() {
    let (all, gate) = admitted(
        &frame_at(45.5, 9.5),
        &samples("faults/02_standstill_course.nmea"),
    );
    assert_eq!(all.len() + gate.refused.iter().sum::<u32>() as usize, 16);
    let slow = all.iter().filter(|a| a.speed_mps < 3.0);
    assert!(slow.clone().count() >= 12);
    assert!(slow.clone().all(|a| a.direction_rad.is_none()));
    // The courses of 359.6, 0.4, 359.9 and 1.2 degrees are all about north.
    for d in all.iter().filter_map(|a| a.direction_rad) {
        let off = cuepost_engine::math::wrap_angle(d - std::f32::consts::FRAC_PI_2);
        assert!(off.abs() < 0.03, "{d}");
    }
}

/// Repeated and late epochs: https://github.com/tkrajina/gpxpy/issues/197
#[test]
fn fault_08_duplicate_epochs() {
    let (all, _) = admitted(
        &frame_at(45.5, 9.5),
        &samples("faults/08_duplicate_epoch.nmea"),
    );
    assert_eq!(all.len(), 3);
    for a in &all[1..] {
        assert!((a.dt_s - 0.1).abs() < 1e-5, "{a:?}");
    }
}

/// Midnight: https://github.com/SignalK/nmea0183-signalk/issues/366
#[test]
fn fault_20_midnight() {
    let (all, _) = admitted(&frame_at(45.5, 9.5), &samples("faults/20_midnight.nmea"));
    for pair in all.windows(2) {
        assert!(pair[1].time_us > pair[0].time_us);
    }
    let lap_us = all.last().unwrap().time_us - all[0].time_us;
    assert_eq!(lap_us, 60_000_000);
}

/// NaN and infinities in a table: https://github.com/nasa/fprime-gds/issues/123
#[test]
fn fault_22_nan_rows() {
    let (all, gate) = admitted(
        &frame_at(45.5, 9.5),
        &Table::read("faults/22_nan_rows.csv").geodetic_samples(),
    );
    let times: Vec<u64> = all.iter().map(|a| a.time_us).collect();
    assert!(times.contains(&0) && times.contains(&160_000), "{times:?}");
    // Rows whose speed is no number are refused; the row with -0 is a sudden stop, refused too.
    for ms in [60_000u64, 80_000, 100_000, 120_000] {
        assert!(!times.contains(&ms), "{times:?}");
    }
    assert!(gate.refused[Refusal::NotFinite as usize] >= 2);
    let end = all.last().unwrap();
    assert!((end.speed_mps - 30.8).abs() < 1e-4 && end.dt_s.is_finite());
    assert_ne!(gate.health().0, HealthState::Lost);
}

/// Signs near zero degrees and the step over 180:
/// https://github.com/mikalhart/TinyGPSPlus/issues/3
#[test]
fn fault_23_signs_and_180() {
    let all = samples("faults/23_signs_and_180.nmea");
    assert_eq!(all.len(), 9);
    let frame = frame_at(-16.75, 180.0);
    let east: Vec<f32> = all[5..]
        .iter()
        .map(|s| frame.locate(s.position.expect("a fix")).expect("near").0)
        .collect();
    for pair in east.windows(2) {
        assert!(pair[1] > pair[0], "{east:?}");
    }
    let step = east[2] - east[1];
    assert!((step - 21.3).abs() < 0.1, "{step}");
    let near_greenwich = frame_at(51.5, 0.0);
    let at = |s: &Sample| {
        near_greenwich
            .locate(s.position.expect("a fix"))
            .expect("near")
            .0
    };
    assert!(at(&all[3]) > 100.0 && at(&all[4]) < -100.0);
}

/// Times beyond 32 bits of milliseconds are told apart to the millisecond:
/// https://github.com/Aasim-A/AsyncTimer/issues/26
#[test]
fn fault_28_millis_wrap() {
    let table = Table::read("faults/28_millis_wrap.csv");
    // A source that knows its counter wraps adds the wrapping difference.
    let mut time_ms = 0u64;
    let mut last: Option<u32> = None;
    let mut gate = Gate::default();
    let frame = frame_at(45.5, 9.5);
    let mut times = Vec::new();
    for r in 0..table.len() {
        let tick = table.number(r, "tick_ms_u32").unwrap() as u32;
        time_ms = match last {
            Some(l) => time_ms + u64::from(tick.wrapping_sub(l)),
            None => u64::from(tick),
        };
        last = Some(tick);
        let sample = Sample {
            time_us: time_ms * 1000,
            position: cuepost_tests::csv::geodetic(Some(45.5), Some(9.5)),
            speed_mps: Some(0.0),
            ..Sample::default()
        };
        times.push(gate.admit(&frame, &sample).expect("admitted").time_us);
    }
    assert_eq!(times.last().unwrap() - times[0], 91_234_000);
}

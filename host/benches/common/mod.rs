//! Drives and their bytes, for all benches.
#![allow(dead_code, reason = "each bench uses some of them")]

use cuepost_engine::wire::{FRAME_MAX, Message, encode};
use cuepost_engine::{Config, Position, Sample};
use cuepost_host::demo::car::Car;
use cuepost_host::demo::circuit::{BendKind, Circuit};
use cuepost_host::demo::driver::{Driver, LapPlan, Scatter};
use cuepost_host::demo::fault::FaultKind;
use cuepost_host::demo::layout::lay;
use cuepost_host::demo::pieces::Piece;
use cuepost_host::demo::plan::Style;
use cuepost_host::demo::quillmere;
use cuepost_host::demo::receiver::{Plane, ReceiverModel, sample};
use cuepost_host::learn::{Options, Take, learn};
use cuepost_host::reference_file::HostReference;
use cuepost_host::tune::settings::{Setting, Vary, grid};
use std::fmt::Write;

/// A reference and laps to hold against it.
pub struct Drive {
    pub reference: Box<HostReference>,
    pub samples: Vec<Sample>,
}

/// A receiver at 25 Hz, with positions in degrees.
fn model() -> ReceiverModel {
    ReceiverModel {
        plane: Plane::Geodetic {
            lat_deg: 45.5,
            lon_deg: 9.5,
        },
        ..ReceiverModel::usual(25.0)
    }
}

/// Clean laps to learn from, then so many laps with faults in two corners.
pub fn drive(circuit: &Circuit, laps: usize) -> Drive {
    let driver = Driver::practised(circuit, &Car::touring(), Style::STEADY, Scatter::COACH);
    let coach = driver.drive(circuit, &vec![LapPlan::clean(); 3], 1);
    let coached = sample(&coach, &model(), 1);
    let take = Take {
        name: "coach",
        samples: &coached,
    };
    let learned = learn(&[take], &Options::default(), &mut |_, _| {}).expect("a reference");
    let faults = [
        (1, FaultKind::BrakeEarly.of(14.0)),
        (3, FaultKind::ThrottleLate.of(25.0)),
    ];
    let plans = vec![LapPlan::with(&faults); laps];
    Drive {
        reference: learned.reference,
        samples: sample(&driver.drive(circuit, &plans, 2), &model(), 2),
    }
}

/// The circuit of the demo.
pub fn usual(laps: usize) -> Drive {
    drive(&quillmere::circuit().expect("the pieces fit"), laps)
}

/// So many pairs of bends, 400 m each, round a big circle: as many corners a kilometre whatever the
/// length.
pub fn round(pairs: u32) -> Circuit {
    let mut pieces = Vec::new();
    for _ in 0..pairs {
        pieces.push(Piece::straight(160.0));
        pieces.push(Piece::bend(BendKind::Single, 50.0, 45.0, 0.8));
        pieces.push(Piece::straight(120.0));
        let back_deg = -50.0 - 360.0 / f64::from(pairs);
        pieces.push(Piece::bend(BendKind::Single, back_deg, 40.0, 0.8));
    }
    lay("a round", &pieces, 0.0).expect("the pieces fit")
}

/// 1,000 settings of thresholds: ten values each of three.
pub fn settings() -> Vec<Setting> {
    let varied = [
        "throttle_m=4:22:2",
        "brake_m=3:12:1",
        "loss_s=0.02:0.2:0.02",
    ];
    let varied: Vec<Vary> = varied
        .iter()
        .map(|v| v.parse().expect("a threshold"))
        .collect();
    let all = grid(&Config::default(), &varied).expect("not too many");
    assert_eq!(all.len(), 1000);
    all
}

/// The samples without the pedals.
pub fn bare(samples: &[Sample]) -> Vec<Sample> {
    let bare = |s: &Sample| Sample {
        brake: None,
        throttle: None,
        gear: None,
        ..*s
    };
    samples.iter().map(bare).collect()
}

/// The samples with pedals, as if a logger had them: what the speed does.
pub fn pedalled(samples: &[Sample]) -> Vec<Sample> {
    let mut before = 0.0;
    let pedals = |s: &Sample| {
        let speed_mps = s.speed_mps.unwrap_or(before);
        let gained = speed_mps - before;
        before = speed_mps;
        Sample {
            brake: Some((-gained * 2.5).clamp(0.0, 1.0)),
            throttle: Some((gained * 5.0).clamp(0.0, 1.0)),
            ..*s
        }
    };
    samples.iter().map(pedals).collect()
}

/// As wire frames.
pub fn wire(samples: &[Sample]) -> Vec<u8> {
    let mut bytes = Vec::new();
    for sample in samples {
        let mut frame = [0; FRAME_MAX];
        let len = encode(&Message::Sample(*sample), &mut frame).expect("a sample in range");
        bytes.extend_from_slice(&frame[..len]);
    }
    bytes
}

/// One epoch of a receiver.
struct Epoch {
    ms: u64,
    lat_e7: i32,
    lon_e7: i32,
    speed_mps: f64,
    /// Clockwise from north.
    course_deg: f64,
}

fn epochs(samples: &[Sample]) -> impl Iterator<Item = Epoch> {
    let geodetic = |s: &Sample| match s.position {
        Some(Position::Geodetic { lat_e7, lon_e7 }) => Some((lat_e7, lon_e7)),
        _ => None,
    };
    samples.iter().filter_map(move |s| {
        let (lat_e7, lon_e7) = geodetic(s)?;
        Some(Epoch {
            ms: s.time_us / 1_000 % 86_400_000,
            lat_e7,
            lon_e7,
            speed_mps: f64::from(s.speed_mps?),
            course_deg: (90.0 - f64::from(s.direction_rad.unwrap_or(0.0)).to_degrees())
                .rem_euclid(360.0),
        })
    })
}

/// As UBX NAV-PVT, 92 bytes of payload (layout from memory).
pub fn ubx(samples: &[Sample]) -> Vec<u8> {
    let mut bytes = Vec::new();
    for e in epochs(samples) {
        let mut p = [0u8; 92];
        let mut put = |at: usize, value: &[u8]| p[at..at + value.len()].copy_from_slice(value);
        let s = e.ms / 1_000;
        put(4, &2026u16.to_le_bytes());
        put(
            6,
            &[
                6,
                16,
                (s / 3_600) as u8,
                (s / 60 % 60) as u8,
                (s % 60) as u8,
                7,
            ],
        );
        put(16, &((e.ms % 1_000) as i32 * 1_000_000).to_le_bytes());
        put(20, &[3, 1, 0, 14]);
        put(24, &e.lon_e7.to_le_bytes());
        put(28, &e.lat_e7.to_le_bytes());
        put(40, &900u32.to_le_bytes());
        put(60, &((e.speed_mps * 1e3).round() as i32).to_le_bytes());
        put(64, &((e.course_deg * 1e5).round() as i32).to_le_bytes());
        put(68, &60u32.to_le_bytes());
        let begin = bytes.len();
        bytes.extend([0xB5, 0x62, 0x01, 0x07, 92, 0]);
        bytes.extend_from_slice(&p);
        let sums = bytes[begin + 2..].iter().fold((0u8, 0u8), |(a, b), byte| {
            let a = a.wrapping_add(*byte);
            (a, b.wrapping_add(a))
        });
        bytes.extend([sums.0, sums.1]);
    }
    bytes
}

/// As NMEA 0183, RMC and GGA of each epoch.
pub fn nmea(samples: &[Sample]) -> Vec<u8> {
    let mut text = String::new();
    for e in epochs(samples) {
        let s = e.ms / 1_000;
        let time = format!(
            "{:02}{:02}{:02}.{:03}",
            s / 3_600,
            s / 60 % 60,
            s % 60,
            e.ms % 1_000
        );
        let angle = |e7: i32, width: usize| {
            let whole = e7.unsigned_abs() / 10_000_000;
            let minutes = f64::from(e7.unsigned_abs() % 10_000_000) * 60e-7;
            format!("{whole:0width$}{minutes:010.7}")
        };
        let place = format!("{},N,{},E", angle(e.lat_e7, 2), angle(e.lon_e7, 3));
        let knots = e.speed_mps * 3_600.0 / 1_852.0;
        let course = e.course_deg;
        for body in [
            format!("GPRMC,{time},A,{place},{knots:.3},{course:.2},160626,,,A"),
            format!("GPGGA,{time},{place},1,14,0.8,120.0,M,40.0,M,,"),
        ] {
            let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
            let _ = write!(text, "${body}*{sum:02X}\r\n");
        }
    }
    text.into_bytes()
}

/// As a table.
pub fn csv(samples: &[Sample]) -> Vec<u8> {
    let mut text = String::from("time_s,lat_deg,lon_deg,speed_mps,course_deg\n");
    for (s, e) in samples.iter().zip(epochs(samples)) {
        let _ = writeln!(
            text,
            "{:.3},{:.7},{:.7},{:.3},{:.2}",
            s.time_us as f64 * 1e-6,
            f64::from(e.lat_e7) * 1e-7,
            f64::from(e.lon_e7) * 1e-7,
            e.speed_mps,
            e.course_deg
        );
    }
    text.into_bytes()
}

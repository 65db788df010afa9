//! A drive as bytes: what a receiver or a simulator sends of it.

use cuepost_engine::wire::{FRAME_MAX, Message, encode};
use cuepost_engine::{Position, Sample, reference};
use cuepost_host::demo::car::Car;
use cuepost_host::demo::driver::{Driver, LapPlan, Scatter};
use cuepost_host::demo::fault::FaultKind;
use cuepost_host::demo::plan::Style;
use cuepost_host::demo::quillmere;
use cuepost_host::demo::receiver::{Plane, ReceiverModel, sample};
use cuepost_host::learn::{Options, Take, learn};
use std::sync::OnceLock;

/// Microseconds between two samples of it.
pub const SAMPLE_US: u64 = 40_000;

/// The drive everything here is about.
pub struct Course {
    /// The file of the reference, learned from two clean laps.
    pub reference: Vec<u8>,
    /// Laps with faults, 25 samples a second.
    pub samples: Vec<Sample>,
}

/// Made once for all tests.
pub fn course() -> &'static Course {
    static COURSE: OnceLock<Course> = OnceLock::new();
    COURSE.get_or_init(make)
}

fn make() -> Course {
    let circuit = quillmere::circuit().expect("the pieces fit");
    let driver = Driver::practised(&circuit, &Car::touring(), Style::STEADY, Scatter::COACH);
    let model = ReceiverModel {
        plane: Plane::Geodetic {
            lat_deg: 45.5,
            lon_deg: 9.5,
        },
        ..ReceiverModel::usual(25.0)
    };
    let clean = driver.drive(&circuit, &[LapPlan::clean(), LapPlan::clean()], 11);
    let take = sample(&clean, &model, 1);
    let takes = [Take {
        name: "clean laps",
        samples: &take,
    }];
    let learned = learn(&takes, &Options::default(), &mut |_, _| {}).expect("two good laps");
    let mut bytes = vec![0; 1 << 16];
    let view = learned.reference.view();
    let len = reference::encode(&view, &mut bytes).expect("a valid reference");
    bytes.truncate(len);
    let faults = [
        (1, FaultKind::BrakeEarly.of(25.0)),
        (2, FaultKind::ThrottleLate.of(30.0)),
        (6, FaultKind::OverSlow.of(3.0)),
    ];
    let laps = [LapPlan::with(&faults), LapPlan::with(&faults[1..])];
    Course {
        reference: bytes,
        samples: sample(&driver.drive(&circuit, &laps, 12), &model, 2),
    }
}

/// The samples as wire frames.
pub fn wire(samples: &[Sample]) -> Vec<u8> {
    let mut bytes = Vec::new();
    for sample in samples {
        let mut frame = [0; FRAME_MAX];
        let len = encode(&Message::Sample(*sample), &mut frame).expect("a sample in range");
        bytes.extend_from_slice(&frame[..len]);
    }
    bytes
}

struct Epoch {
    ms: u64,
    lat_e7: i32,
    lon_e7: i32,
    speed_mps: f64,
    /// Clockwise from north.
    course_deg: Option<f64>,
}

/// Ten in the morning, so that no day ends on the way.
fn epochs(samples: &[Sample]) -> impl Iterator<Item = Epoch> {
    samples.iter().map(|s| {
        let Some(Position::Geodetic { lat_e7, lon_e7 }) = s.position else {
            panic!("a position in degrees");
        };
        let course = |rad: f32| (90.0 - f64::from(rad).to_degrees()).rem_euclid(360.0);
        Epoch {
            ms: 36_000_000 + s.time_us / 1_000,
            lat_e7,
            lon_e7,
            speed_mps: f64::from(s.speed_mps.expect("a speed")),
            course_deg: s.direction_rad.map(course),
        }
    })
}

/// UBX NAV-PVT, 92 bytes of payload. Layout: u-blox, "u-blox M8 Receiver description including
/// protocol specification", UBX-NAV-PVT, from memory.
pub fn ubx(samples: &[Sample]) -> Vec<u8> {
    let mut bytes = Vec::new();
    for e in epochs(samples) {
        let mut p = [0u8; 92];
        let mut put = |at: usize, value: &[u8]| p[at..at + value.len()].copy_from_slice(value);
        put(0, &((e.ms + 2 * 86_400_000) as u32).to_le_bytes());
        put(4, &2026u16.to_le_bytes());
        put(6, &[6, 16]);
        let s = e.ms / 1_000;
        put(
            8,
            &[(s / 3_600) as u8, (s / 60 % 60) as u8, (s % 60) as u8, 7],
        );
        put(12, &20u32.to_le_bytes());
        put(16, &((e.ms % 1_000) as i32 * 1_000_000).to_le_bytes());
        put(20, &[3, 1, 0, 14]);
        put(24, &e.lon_e7.to_le_bytes());
        put(28, &e.lat_e7.to_le_bytes());
        put(40, &900u32.to_le_bytes());
        put(60, &((e.speed_mps * 1e3).round() as i32).to_le_bytes());
        let course = e.course_deg.unwrap_or(0.0);
        put(64, &((course * 1e5).round() as i32).to_le_bytes());
        put(68, &60u32.to_le_bytes());
        frame(&mut bytes, &p);
    }
    bytes
}

fn frame(bytes: &mut Vec<u8>, payload: &[u8]) {
    let begin = bytes.len();
    bytes.extend([0xB5, 0x62, 0x01, 0x07]);
    bytes.extend((payload.len() as u16).to_le_bytes());
    bytes.extend_from_slice(payload);
    let (mut a, mut b) = (0u8, 0u8);
    for byte in &bytes[begin + 2..] {
        a = a.wrapping_add(*byte);
        b = b.wrapping_add(a);
    }
    bytes.extend([a, b]);
}

/// NMEA 0183: RMC and GGA of each epoch.
pub fn nmea(samples: &[Sample]) -> Vec<u8> {
    let mut text = String::new();
    let angle = |e7: i32, width: usize, signs: [char; 2]| {
        let total = u64::from(e7.unsigned_abs());
        let minutes = (total % 10_000_000) as f64 * 60e-7;
        let sign = signs[usize::from(e7 < 0)];
        format!("{:0width$}{minutes:010.7},{sign}", total / 10_000_000)
    };
    for e in epochs(samples) {
        let s = e.ms / 1_000;
        let (h, m) = (s / 3_600, s / 60 % 60);
        let time = format!("{h:02}{m:02}{:02}.{:03}", s % 60, e.ms % 1_000);
        let place = format!(
            "{},{}",
            angle(e.lat_e7, 2, ['N', 'S']),
            angle(e.lon_e7, 3, ['E', 'W'])
        );
        let knots = e.speed_mps * 3_600.0 / 1_852.0;
        let course = e
            .course_deg
            .map_or(String::new(), |deg| format!("{deg:.2}"));
        sentence(
            &mut text,
            &format!("GPRMC,{time},A,{place},{knots:.3},{course},160626,,,A"),
        );
        sentence(
            &mut text,
            &format!("GPGGA,{time},{place},1,14,0.8,120.0,M,40.0,M,,"),
        );
    }
    text.into_bytes()
}

fn sentence(text: &mut String, body: &str) {
    let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
    text.push_str(&format!("${body}*{sum:02X}\r\n"));
}

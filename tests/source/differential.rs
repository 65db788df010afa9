//! What two other parsers make of the same bytes, with the disagreements listed.

use crate::{data, lat_lon, receive};
use cuepost_engine::receiver::{Counts, Reason};
use cuepost_engine::{Position, Sample};
use nmea::sentences::rmc::RmcStatusOfFix;
use nmea::{ParseResult, parse_str};
use std::collections::BTreeMap;
use ublox::UbxPacket;
use ublox::proto23::PacketRef;

/// Every line that starts a sentence, of logs and streams.
fn lines() -> Vec<String> {
    let mut lines = Vec::new();
    for folder in ["receivers", "gnss", "faults", "receivers/pyubx2"] {
        let mut files: Vec<_> = std::fs::read_dir(data(folder))
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .filter(|path| path.extension().is_some_and(|e| e == "log" || e == "nmea"))
            .collect();
        files.sort();
        for file in files {
            let bytes = std::fs::read(file).unwrap();
            let text = bytes.split(|b| *b == b'\n');
            lines.extend(
                text.filter(|line| line.starts_with(b"$") && line.is_ascii())
                    .map(|line| String::from_utf8_lossy(line).trim_end().to_owned()),
            );
        }
    }
    lines
}

/// Our sample of one sentence alone.
fn ours(line: &str) -> (Option<Sample>, Counts) {
    let (samples, counts) = receive(format!("{line}\r\n").as_bytes());
    assert!(samples.len() <= 1, "{line}");
    (samples.first().copied(), counts)
}

/// What the other makes of it, in our terms: microseconds of the day, place, knots, course.
#[derive(Debug, Default)]
struct Theirs {
    time_us: Option<u64>,
    place: Option<(f64, f64)>,
    knots: Option<f32>,
    course_deg: Option<f32>,
}

/// `13:00:00.040` in microseconds.
fn microseconds(time: impl ToString) -> u64 {
    let time = time.to_string();
    let mut parts = time.split(':').map(|part| part.parse::<f64>().unwrap());
    let mut next = || parts.next().unwrap();
    ((next() * 3600.0 + next() * 60.0 + next()) * 1e6).round() as u64
}

/// `None` when it refuses the line or does not use it.
fn theirs(line: &str) -> Option<Theirs> {
    match parse_str(line).ok()? {
        ParseResult::RMC(rmc) => {
            let valid = rmc.status_of_fix != RmcStatusOfFix::Invalid;
            Some(Theirs {
                time_us: rmc.fix_time.map(microseconds),
                place: rmc.lat.zip(rmc.lon).filter(|_| valid),
                knots: rmc.speed_over_ground.filter(|_| valid),
                course_deg: rmc.true_course.filter(|_| valid),
            })
        }
        ParseResult::GGA(gga) => Some(Theirs {
            time_us: gga.fix_time.map(microseconds),
            place: gga
                .latitude
                .zip(gga.longitude)
                .filter(|_| gga.fix_type.is_some_and(|fix| fix.is_valid())),
            ..Theirs::default()
        }),
        _ => None,
    }
}

/// How the two differ; `None` when they do not.
fn difference(line: &str) -> Option<&'static str> {
    let ((ours, counts), theirs) = (ours(line), theirs(line));
    let sentence = counts.rmc + counts.gga > 0;
    let Some(theirs) = theirs else {
        return sentence.then_some("we read it, they refuse it");
    };
    if !sentence {
        return Some("they read it, we refuse it");
    }
    let Some(ours) = ours else {
        assert_eq!(counts.refused(Reason::NoTime).count, 1, "{line}");
        return theirs.time_us.is_some().then_some("time");
    };
    if theirs
        .time_us
        .is_none_or(|us| us.abs_diff(ours.time_us) > 1)
    {
        return Some("time");
    }
    match (lat_lon(&ours), theirs.place) {
        (None, Some((0.0, 0.0))) => return Some("0, 0 is a place for them"),
        (None, None) => return None,
        (Some(a), Some(b)) if (a.0 - b.0).abs() < 6e-8 && (a.1 - b.1).abs() < 6e-8 => {}
        _ => return Some("place"),
    }
    let mps = theirs.knots.map(|knots| knots * (1852.0 / 3600.0));
    let same_speed = match (ours.speed_mps, mps) {
        (Some(a), Some(b)) => (a - b).abs() <= 1e-6 * b + 3e-5,
        (a, b) => a.is_none() && b.is_none(),
    };
    if !same_speed {
        return Some("speed");
    }
    let same_course = match (ours.direction_rad, theirs.course_deg) {
        (Some(a), Some(b)) => {
            let off = (90.0 - f64::from(b)) - f64::from(a).to_degrees();
            (off - 360.0 * (off / 360.0).round()).abs() < 1e-4
        }
        (a, b) => a.is_none() && b.is_none(),
    };
    (!same_course).then_some("course")
}

/// Lines by how the two differ on them.
fn differences(lines: impl Iterator<Item = String>) -> BTreeMap<&'static str, Vec<String>> {
    let mut differences: BTreeMap<_, Vec<String>> = BTreeMap::new();
    for line in lines {
        if let Some(difference) = difference(&line) {
            differences.entry(difference).or_default().push(line);
        }
    }
    differences
}

/// Of some 16,000 lines of real and simulated receivers, the two differ on six: the crate takes a
/// whole line or nothing, where a sentence was cut by the next; and it takes 0, 0 for a place.
#[test]
fn sentences_as_the_crate_nmea_reads_them() {
    let lines = lines();
    assert!(lines.len() > 15_000);
    let differences = differences(lines.into_iter());
    let counts: Vec<_> = differences
        .iter()
        .map(|(why, lines)| (*why, lines.len()))
        .collect();
    assert_eq!(
        counts,
        [
            ("0, 0 is a place for them", 1),
            ("we read it, they refuse it", 5)
        ]
    );
    for line in &differences["we read it, they refuse it"] {
        assert!(line.matches('$').count() > 1, "{line}");
    }
}

/// A sequence of numbers that looks random, the same every time.
struct Random(u64);

impl Random {
    fn below(&mut self, most: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % most
    }
}

/// With one character of a sentence replaced and its checksum made right again, each refuses some
/// that the other reads: the crate refuses what is wrong in fields not used here and dates that do
/// not exist, and reads numbers loosely (times with letters in them, 9.9e9 degrees). Where both
/// read a line they agree on everything, but for what counts as a fix: mode N and quality 8
/// (a simulator) do for one only.
#[test]
fn changed_sentences_as_the_crate_nmea_reads_them() {
    let used = |line: &String| ours(line).1.rmc + ours(line).1.gga > 0;
    let lines: Vec<_> = lines().into_iter().filter(used).collect();
    let mut random = Random(1);
    let changed = std::iter::repeat_with(|| {
        let line = &lines[random.below(lines.len())];
        let end = line.rfind('*').unwrap();
        let begin = line[..end].rfind('$').unwrap() + 1;
        let mut body = line.as_bytes()[begin..end].to_vec();
        let at = 6 + random.below(body.len() - 6);
        body[at] = b"0123456789.,-+ANSEWV"[random.below(20)];
        let sum = body.iter().fold(0, |sum, byte| sum ^ byte);
        format!("${}*{sum:02X}", String::from_utf8(body).unwrap())
    });
    let mut differences = differences(changed.take(30_000));
    for one_sided in [
        "0, 0 is a place for them",
        "they read it, we refuse it",
        "we read it, they refuse it",
    ] {
        differences.remove(one_sided);
    }
    let places = differences.remove("place").unwrap_or_default();
    for line in places {
        let fields: Vec<_> = line.split([',', '*']).collect();
        assert!(fields[12] == "N" || fields[6] == "8", "{line}");
    }
    assert!(differences.is_empty(), "{differences:#?}");
}

/// What the crate `ublox` reads of the NAV-PVT in some bytes.
fn frames(bytes: &[u8]) -> Vec<Sample> {
    let mut parser = ublox::Parser::default_proto();
    let mut packets = parser.consume_ubx(bytes);
    let mut samples = Vec::new();
    while let Some(packet) = packets.next() {
        let Ok(UbxPacket::Proto23(PacketRef::NavPvt(pvt))) = packet else {
            continue;
        };
        let seconds =
            u64::from(pvt.hour()) * 3600 + u64::from(pvt.min()) * 60 + u64::from(pvt.sec());
        let nanos = seconds as i64 * 1_000_000_000 + i64::from(pvt.nanosec());
        let fix = pvt
            .flags()
            .contains(ublox::nav_pvt::common::NavPvtFlags::GPS_FIX_OK);
        let e7 = |degrees: f64| (degrees * 1e7).round() as i32;
        samples.push(Sample {
            time_us: (nanos + 500).div_euclid(1000) as u64,
            position: fix.then(|| Position::Geodetic {
                lat_e7: e7(pvt.latitude()),
                lon_e7: e7(pvt.longitude()),
            }),
            speed_mps: fix.then(|| pvt.ground_speed_2d() as f32),
            speed_sd_mps: fix.then(|| pvt.speed_accuracy() as f32),
            ..Sample::default()
        });
    }
    samples
}

/// The parts of ours that are compared.
fn reduced(samples: &[Sample]) -> Vec<Sample> {
    let reduce = |s: &Sample| Sample {
        time_us: s.time_us,
        position: s.position,
        speed_mps: s.speed_mps,
        speed_sd_mps: s.speed_sd_mps,
        ..Sample::default()
    };
    samples.iter().map(reduce).collect()
}

#[test]
fn frames_as_the_crate_ublox_reads_them() {
    for name in [
        "gnss/s1_good25.ubx",
        "gnss/s4_cheap10.ubx",
        "gnss/s6_18hz.ubx",
        "receivers/ublox-neo-m8n.log",
    ] {
        let bytes = std::fs::read(data(name)).unwrap();
        let theirs = frames(&bytes);
        assert!(theirs.len() >= 24, "{name}");
        let ours = reduced(&receive(&bytes).0);
        assert_eq!(ours.len(), theirs.len(), "{name}");
        for (ours, theirs) in ours.iter().zip(&theirs) {
            assert_eq!(
                (ours.time_us, ours.position),
                (theirs.time_us, theirs.position)
            );
            let near = |a: Option<f32>, b: Option<f32>| match (a, b) {
                (Some(a), Some(b)) => (a - b).abs() < 1e-5,
                (a, b) => a.is_none() && b.is_none(),
            };
            assert!(near(ours.speed_mps, theirs.speed_mps), "{name}");
            assert!(near(ours.speed_sd_mps, theirs.speed_sd_mps), "{name}");
        }
    }
}

/// In damaged streams every frame that the crate finds is found here as well; the crate loses some
/// whole ones behind damage.
#[test]
fn damaged_frames_as_the_crate_ublox_reads_them() {
    let whole = std::fs::read(data("gnss/s1_good25.ubx")).unwrap();
    let mut random = Random(7);
    let (mut ours_more, mut total) = (0, 0);
    for _ in 0..2_000 {
        let start = 100 * random.below(590);
        let mut bytes = whole[start..start + 1_000].to_vec();
        for _ in 0..random.below(6) {
            let at = random.below(bytes.len());
            match random.below(4) {
                0 => bytes[at] ^= 1 << random.below(8),
                1 => drop(bytes.drain(at..(at + random.below(150)).min(bytes.len()))),
                2 => bytes
                    .splice(at..at, b"\xb5\x62\x01\x07\xff\xff".iter().copied())
                    .for_each(drop),
                _ => bytes.insert(at, 0xb5),
            }
            if bytes.is_empty() {
                break;
            }
        }
        let theirs = frames(&bytes).len();
        let (_, counts) = receive(&bytes);
        assert!(counts.pvt as usize >= theirs, "{bytes:02x?}");
        total += theirs;
        ours_more += counts.pvt as usize - theirs;
    }
    assert!(total > 10_000 && ours_more > 50, "{total} {ours_more}");
}

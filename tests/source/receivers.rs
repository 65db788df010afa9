//! Logs of real receivers (`tests/data/receivers/README.md`).

use crate::{data, lat_lon, open, receive};
use cuepost_engine::Sample;
use cuepost_engine::receiver::Reason;
use cuepost_tests::csv::Table;

const DAY_US: u64 = 86_400_000_000;

/// A distinct epoch with a fix: microseconds of the day, latitude, longitude.
type Epoch = (u64, f64, f64);

/// What gpsd made of a log.
fn expected(name: &str) -> Vec<Epoch> {
    let table = Table::read(&format!("receivers/{name}.expected.csv"));
    (0..table.len())
        .map(|row| {
            let utc = table.text(row, "utc").unwrap();
            let part = |range: std::ops::Range<usize>| utc[range].parse::<f64>().unwrap();
            let seconds = part(11..13) * 3600.0 + part(14..16) * 60.0 + part(17..23);
            let number = |column| table.number(row, column).unwrap();
            (
                (seconds * 1e6).round() as u64,
                number("lat_deg"),
                number("lon_deg"),
            )
        })
        .collect()
}

fn epochs(samples: &[Sample]) -> Vec<Epoch> {
    samples
        .iter()
        .filter_map(|s| lat_lon(s).map(|(lat, lon)| (s.time_us % DAY_US, lat, lon)))
        .collect()
}

/// To a millisecond, as gpsd writes times, and to the last digit of 1e-7 degree.
fn same(a: &Epoch, b: &Epoch) -> bool {
    a.0.abs_diff(b.0) <= 1000 && same_place(a, b)
}

fn same_place(a: &Epoch, b: &Epoch) -> bool {
    (a.1 - b.1).abs() < 1.1e-7 && (a.2 - b.2).abs() < 1.1e-7
}

/// Epochs of one list that the other lacks.
fn lacking(of: &[Epoch], other: &[Epoch], same: fn(&Epoch, &Epoch) -> bool) -> Vec<Epoch> {
    of.iter()
        .filter(|epoch| !other.iter().any(|o| same(epoch, o)))
        .copied()
        .collect()
}

/// What gpsd and we make of a log: its list of epochs and ours.
fn both(name: &str) -> (Vec<Epoch>, Vec<Epoch>) {
    let (samples, _, error) = open(&format!("receivers/{name}.log"), &[]);
    assert!(error.is_none(), "{name}: {error:?}");
    (expected(name), epochs(&samples))
}

/// Epochs agree both ways, but for some of the first three of a log, in which gpsd finds out what the
/// receiver sends, and the last, which it reports only when the next begins.
#[test]
fn epochs_with_a_fix_agree_with_gpsd() {
    for (name, more_of_ours) in [
        ("garmin-10x", 0),
        ("gp-320fw-2019-04-06-overflow", 1),
        ("haicom-305N", 1),
        ("nmea-fuzzy-cases", 0),
        ("nmea-rtk", 0),
        ("quectel-eg25-g", 0),
        ("rst39", 1),
        ("ublox-neo-m8l", 0),
        ("ublox-neo-m8n", 2),
        ("ublox-neo-m8u-hnr", 0),
        ("ublox-zed-f9r", 1),
        ("unicore-um621", 0),
    ] {
        let (theirs, ours) = both(name);
        assert_eq!(lacking(&theirs, &ours, same), [], "{name}");
        let more = lacking(&ours, &theirs, same);
        assert_eq!(more.len(), more_of_ours, "{name}: {more:?}");
        for epoch in more {
            let first = ours.iter().take(3);
            assert!(
                first.chain(ours.last()).any(|e| *e == epoch),
                "{name}: {epoch:?}"
            );
        }
    }
}

/// Three captures in one file; the last is an hour before the second. Two epochs pass before the
/// step back is believed; the times after it go on from those before.
#[test]
fn a_log_that_steps_back_an_hour() {
    let (theirs, ours) = both("bt451");
    let lost = lacking(&theirs, &ours, same_place);
    assert_eq!(lost.len(), 2);
    let at = theirs.iter().position(|epoch| *epoch == lost[0]).unwrap();
    assert!(theirs[at].0 + 3_000_000_000 < theirs[at - 1].0);
    assert_eq!(theirs[at + 1], lost[1]);
    let (samples, counts) = receive(&bytes("bt451"));
    assert_eq!(counts.restarts, 1);
    assert!(
        samples
            .windows(2)
            .all(|pair| pair[0].time_us < pair[1].time_us)
    );
    let gap = samples
        .windows(2)
        .map(|pair| pair[1].time_us - pair[0].time_us)
        .max();
    assert_eq!(gap, Some(10_000_000));
    // The only car at road speed among these logs: 16.6 m/s at most by its RMC.
    let fastest = samples
        .iter()
        .filter_map(|s| s.speed_mps)
        .fold(0.0, f32::max);
    assert!((16.4..16.7).contains(&fastest), "{fastest}");
}

/// A cold start with much noise on the line: 21 sentences are damaged, of those used here the ones
/// counted. What gpsd reports is there; the epoch before it is known by its GGA alone.
#[test]
fn a_cold_start_with_a_noisy_line() {
    let (theirs, ours) = both("gp-320fw-2019-04-07-coldboot");
    assert_eq!(lacking(&theirs, &ours, same), []);
    assert_eq!(lacking(&ours, &theirs, same).len(), 1);
    let (_, counts) = receive(&bytes("gp-320fw-2019-04-07-coldboot"));
    assert_eq!(counts.refused(Reason::Checksum).count, 11);
    assert_eq!(counts.refused(Reason::Cut).count, 1);
    assert_eq!(counts.restarts, 1);
}

fn bytes(name: &str) -> Vec<u8> {
    std::fs::read(data(&format!("receivers/{name}.log"))).expect("a log")
}

/// Speeds of the logs are those in their RMC sentences, read here field by field: gpsd's own speeds
/// come from position steps where a sentence lacks one.
#[test]
fn speeds_are_those_of_the_sentences() {
    for name in [
        "bt451",
        "haicom-305N",
        "nmea-rtk",
        "quectel-eg25-g",
        "garmin-10x",
    ] {
        let bytes = bytes(name);
        let (samples, _) = receive(&bytes);
        let speeds = samples.iter().filter_map(|s| s.speed_mps);
        let text = String::from_utf8_lossy(&bytes);
        let mut checked = 0;
        let mut expected = text.lines().filter_map(|line| {
            let fields: Vec<&str> = line.split(',').collect();
            let rmc = fields.len() > 8 && fields[0].ends_with("RMC") && fields[2] == "A";
            rmc.then(|| fields[7].parse::<f64>().unwrap() * 1852.0 / 3600.0)
        });
        // In order; two are lost where `bt451` steps back.
        for speed in speeds {
            let found = expected.find(|e| (e - f64::from(speed)).abs() < 1e-4);
            assert!(found.is_some(), "{name}: {speed}");
            checked += 1;
        }
        assert!(checked >= 9, "{name}: {checked}");
    }
}

/// The files of another library's own tests, damaged, cut and mixed on purpose: what pyubx2 1.4.0
/// reads of NAV-PVT and HNR-PVT is what we read. Fix type 5 (time only, as of a surveyed base
/// station) is no fix here.
#[test]
fn damaged_and_mixed_files_agree_with_pyubx2() {
    let table = Table::read("receivers/pyubx2/expected.csv");
    let mut files = 0;
    for entry in std::fs::read_dir(data("receivers/pyubx2")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|extension| extension != "log") {
            continue;
        }
        files += 1;
        let name = path.file_stem().unwrap().to_str().unwrap();
        let (samples, _) = receive(&std::fs::read(&path).unwrap());
        assert!(
            samples
                .windows(2)
                .all(|pair| pair[0].time_us < pair[1].time_us)
        );
        // Only frames state the accuracy of the speed.
        let ours: Vec<_> = samples
            .iter()
            .filter(|s| s.speed_sd_mps.is_some())
            .map(|s| (s.time_us, lat_lon(s).unwrap(), s.speed_mps.unwrap()))
            .collect();
        let theirs: Vec<_> = (0..table.len())
            .filter(|&row| table.text(row, "file") == Some(name))
            .filter(|&row| table.text(row, "fix_type") != Some("5"))
            .map(|row| {
                let number = |column| table.number(row, column).unwrap();
                assert_eq!(number("fix_ok"), 1.0);
                let us = number("second_of_day") * 1e6 + number("nano") * 1e-3;
                let place = (number("lat_deg"), number("lon_deg"));
                (us.round() as u64, place, number("speed_mmps") as f32 * 1e-3)
            })
            .collect();
        assert_eq!(ours.len(), theirs.len(), "{name}");
        for (a, b) in ours.iter().zip(&theirs) {
            assert!(a.0.abs_diff(b.0) <= 1, "{name}: {a:?} {b:?}");
            assert!((a.1.0 - b.1.0).abs() < 1e-9 && (a.1.1 - b.1.1).abs() < 1e-9);
            assert!((a.2 - b.2).abs() < 1e-6);
        }
    }
    assert_eq!(files, 14);
}

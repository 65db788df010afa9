//! The same drive put otherwise gives the same cues: at another time, in a mirror, on a turned map,
//! in other units, in another format, at another rate.
//!
//! Everything goes the user's way: files are written and read, the reference is learned from them
//! without being told anything, the recording is replayed.

mod rate;
mod stream;
mod told;

use cuepost_engine::{Config, Cue, Sample};
use cuepost_host::demo::campaign::{Wanted, case};
use cuepost_host::demo::receiver::{ReceiverModel, sample};
use cuepost_host::source;
use cuepost_tests::command::Folder;
use cuepost_tests::csv::data;
use std::sync::LazyLock;
use stream::{Row, SI, Units, directed, globe, mirrored, nmea, rows, shifted, table, turned};
use told::{Near, cues, differences, read, taught};

/// A coach's drive and a driver's.
struct Drive {
    name: &'static str,
    coach: Vec<Row>,
    driver: Vec<Row>,
}

/// A simulator's touring car, and an invented one with a receiver's noise.
static DRIVES: LazyLock<[Drive; 2]> = LazyLock::new(|| {
    let file = |name: &str| -> Vec<Row> {
        let all = source::open(&data(name), &source::Options::default()).expect("a recording");
        let samples: Vec<Sample> = all.map(|s| s.expect("a sample")).collect();
        rows(&samples)
    };
    let case = case(503, &Wanted::default());
    let receiver = ReceiverModel::usual(25.0);
    [
        Drive {
            name: "touring",
            coach: file("learn/s5_touring.25hz.csv"),
            driver: file("truth/s5_touring.var25.csv"),
        },
        Drive {
            name: "invented",
            coach: rows(&sample(&case.coach, &receiver, 1)),
            driver: rows(&sample(&case.driven, &receiver, 2)),
        },
    ]
});

/// From two files to cues.
fn told(folder: &Folder, name: &str, coach: &str, driver: &str) -> Vec<(Cue, f64)> {
    let coach = read(&folder.put(&format!("{name}.coach"), coach));
    let driver = read(&folder.put(&format!("{name}.driver"), driver));
    cues(&taught(&coach), &driver, &Config::default())
}

/// Both drives as they are, and put otherwise by `put`.
fn check(what: &str, near: Near, put: impl Fn(&[Row]) -> String) {
    compare(what, near, |r| table(r, &SI), put);
}

fn compare(
    what: &str,
    near: Near,
    plain: impl Fn(&[Row]) -> String,
    put: impl Fn(&[Row]) -> String,
) {
    let folder = Folder::new(&format!("metamorphic-{what}"));
    for drive in DRIVES.iter() {
        let one = told(
            &folder,
            "plain",
            &plain(&drive.coach),
            &plain(&drive.driver),
        );
        let other = told(&folder, what, &put(&drive.coach), &put(&drive.driver));
        assert!(
            one.len() >= 15,
            "{}: {} cues are few",
            drive.name,
            one.len()
        );
        let apart = differences(&one, &other, near);
        let lines = apart.join("\n");
        println!(
            "{what}, {}: {} cues, {} apart\n{lines}",
            drive.name,
            one.len(),
            apart.len()
        );
        assert!(apart.is_empty(), "{what}, {}:\n{lines}", drive.name);
    }
}

/// To the microsecond and to the last digit.
const SAME: Near = Near {
    ms: 1e-6,
    share: 0.0,
};

#[test]
fn at_another_time_of_the_day() {
    check("shifted", SAME, |r| table(&shifted(r, 40_123_457), &SI));
}

#[test]
fn in_a_mirror() {
    let near = Near {
        ms: 40.0,
        share: 0.01,
    };
    check("mirrored", near, |r| table(&mirrored(r), &SI));
}

#[test]
fn on_a_map_turned_by_a_quarter() {
    let near = Near {
        ms: 40.0,
        share: 0.01,
    };
    check("quarter", near, |r| table(&turned(r, 90.0, 0.0, 0.0), &SI));
}

#[test]
fn on_a_map_turned_and_moved() {
    let near = Near {
        ms: 40.0,
        share: 0.02,
    };
    check("turned", near, |r| {
        table(&turned(r, 37.3, 2_500.0, -1_700.0), &SI)
    });
}

#[test]
fn in_kilometres_an_hour_and_milliseconds() {
    let units = Units {
        time: ("time_ms", 1e-3),
        speed: ("speed_kmh", 1.0 / 3.6),
    };
    check("kmh", SAME, |r| table(r, &units));
}

#[test]
fn in_miles_an_hour_and_microseconds() {
    let units = Units {
        time: ("time_us", 1e-6),
        speed: ("speed_mph", 0.447_04),
    };
    check("mph", SAME, |r| table(r, &units));
}

#[test]
fn in_knots() {
    let units = Units {
        time: ("time_s", 1.0),
        speed: ("speed_kn", 1852.0 / 3600.0),
    };
    check("knots", SAME, |r| table(r, &units));
}

/// The last digit of a degree is a centimetre, and that of a plane a millimetre. Where the source
/// does not tell its direction, it is made from positions, and that digit moves a turn-in: by up to
/// 4 m on the touring car. So the direction is told.
const GLOBE: Near = Near {
    ms: 40.0,
    share: 0.02,
};

fn directly(r: &[Row]) -> String {
    table(&directed(r), &SI)
}

#[test]
fn on_the_globe() {
    compare("globe", GLOBE, directly, |r| globe(&directed(r)));
}

#[test]
fn as_sentences_of_a_receiver() {
    compare("nmea", GLOBE, directly, |r| nmea(&directed(r)));
}

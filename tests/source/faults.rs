//! Faults of other software, restated (`tests/data/faults/README.md`): what touches decoding.

use crate::{data, lat_lon, open, receive};
use cuepost_engine::receiver::Reason;
use cuepost_engine::{Position, Sample};
use cuepost_host::source::{Kind, Place};

fn bytes(name: &str) -> Vec<u8> {
    std::fs::read(data(&format!("faults/{name}"))).expect("a file of test data")
}

fn steps_us(samples: &[Sample]) -> Vec<u64> {
    samples
        .windows(2)
        .map(|pair| pair[1].time_us - pair[0].time_us)
        .collect()
}

#[test]
fn fault_01_void_and_zero_fixes_have_no_place() {
    let (samples, counts) = receive(&bytes("01_void_fix.nmea"));
    assert_eq!(counts.refused(Reason::NoTime).count, 2);
    let fixed: Vec<_> = samples.iter().filter_map(lat_lon).collect();
    assert_eq!(fixed, [(45.5, 9.5)]);
    assert_eq!(samples.len(), 4);
    for void in &samples[..3] {
        assert_eq!(
            (void.position, void.speed_mps, void.direction_rad),
            (None, None, None)
        );
    }
    let speed = samples[3].speed_mps.unwrap();
    assert!((speed - 54.3 * 1852.0 / 3600.0).abs() < 1e-4);
}

#[test]
fn fault_02_an_empty_course_is_none_and_the_wrap_is_small() {
    let (samples, counts) = receive(&bytes("02_standstill_course.nmea"));
    assert_eq!((samples.len(), counts.refused_total()), (16, 0));
    assert!(samples[..8].iter().all(|s| s.direction_rad.is_none()));
    let fast: Vec<f32> = samples[12..]
        .iter()
        .map(|s| s.direction_rad.unwrap())
        .collect();
    for pair in fast.windows(2) {
        let turn = cuepost_engine::math::wrap_angle(pair[1] - pair[0]);
        assert!(turn.abs().to_degrees() < 1.5, "{turn}");
    }
    let (sin, cos) = fast
        .iter()
        .fold((0.0, 0.0), |(s, c), a| (s + a.sin(), c + a.cos()));
    // 0.275 degrees east of north.
    assert!((f32::atan2(sin, cos).to_degrees() - 89.725).abs() < 0.01);
}

#[test]
fn fault_04_nanoseconds_below_zero() {
    let (samples, counts) = receive(&bytes("04_ubx_negative_nano.bin"));
    assert_eq!((samples.len(), counts.refused_total()), (5, 0));
    for step in steps_us(&samples) {
        assert!(step.abs_diff(100_000) <= 1, "{step}");
    }
    let quarter_past_eight = (8 * 3600 + 15 * 60) * 1_000_000;
    assert_eq!(samples[2].time_us, quarter_past_eight);
}

const NAMES: [&str; 4] = [
    "time_s=time",
    "lat_deg=lat",
    "lon_deg=lon",
    "speed_mps=speed",
];

#[test]
fn fault_07_semicolons_and_decimal_commas() {
    for (name, separator) in [
        ("07a_semicolon_decimal_comma.csv", "semicolons"),
        ("07b_comma_quoted_decimal_comma.csv", "commas"),
    ] {
        let (samples, report, error) = open(&format!("faults/{name}"), &NAMES);
        assert!(error.is_none());
        assert_eq!((report.kind, samples.len()), (Kind::Csv, 6));
        let second = samples[1];
        assert_eq!(second.time_us, 100_000);
        assert_eq!(
            second.position,
            Some(Position::Geodetic {
                lat_e7: 455_000_281,
                lon_e7: 95_025_630
            })
        );
        assert_eq!(second.speed_mps, Some(31.35));
        assert!(report.notes[0].contains(separator), "{:?}", report.notes);
        assert!(report.notes[0].contains("decimals with a comma"));
    }
}

#[test]
fn fault_07_what_is_ambiguous_is_refused_with_its_line() {
    let (samples, _, error) = open("faults/07c_ambiguous.csv", &NAMES);
    assert!(samples.is_empty());
    let error = error.expect("a refusal");
    assert_eq!(error.place, Some(Place::line(2)));
    let words = error.to_string();
    assert!(
        words.contains("07c_ambiguous.csv: line 2: more values than the 4 names"),
        "{words}"
    );
    assert!(words.contains("semicolon"), "{words}");
}

#[test]
fn fault_07_thousands_are_understood() {
    let (samples, _, error) = open(
        "faults/07a_semicolon_decimal_comma.csv",
        &["time_s=time", "x_m=distance", "y_m=lat"],
    );
    assert!(error.is_none());
    assert_eq!(
        samples[1].position,
        Some(Position::Local {
            east_mm: 1_237_125,
            north_mm: 45_500
        })
    );
}

#[test]
fn fault_08_repeats_conflicts_and_late_rows() {
    let (samples, counts) = receive(&bytes("08_duplicate_epoch.nmea"));
    assert_eq!(steps_us(&samples), [100_000, 100_000]);
    let count = |reason| counts.refused(reason).count;
    assert_eq!(count(Reason::Repeated), 1);
    assert_eq!(count(Reason::Conflict), 1);
    assert_eq!(count(Reason::Late), 1);
    // The first of the two is kept.
    assert_eq!(
        samples[1].position,
        Some(Position::Geodetic {
            lat_e7: 455_000_270,
            lon_e7: 95_025_630
        })
    );
}

#[test]
fn fault_20_midnight() {
    let (samples, counts) = receive(&bytes("20_midnight.nmea"));
    assert_eq!(
        steps_us(&samples),
        [29_800_000, 100_000, 100_000, 100_000, 29_900_000]
    );
    assert_eq!(counts.refused(Reason::Late).count, 1);
}

#[test]
fn fault_22_what_is_no_number_is_missing_and_counted() {
    let (samples, report, error) = open("faults/22_nan_rows.csv", &[]);
    assert!(error.is_none());
    assert_eq!(samples.len(), 9);
    let missing: Vec<_> = samples
        .iter()
        .map(|s| (s.position.is_none(), s.speed_mps.is_none()))
        .collect();
    let (whole, no_place, no_speed) = ((false, false), (true, false), (false, true));
    assert_eq!(
        missing,
        [
            whole, no_place, no_place, no_speed, no_speed, no_speed, no_speed, whole, whole
        ]
    );
    let zero = samples[7].speed_mps.unwrap();
    assert!(zero == 0.0 && zero.is_sign_positive());
    let refused: Vec<_> = report
        .refused
        .iter()
        .map(|r| (r.reason.as_str(), r.count, r.first.line))
        .collect();
    assert_eq!(
        refused,
        [
            ("`lat_deg` is not a finite number", 1, Some(3)),
            ("`lon_deg` is not a finite number", 1, Some(4)),
            ("`speed_mps` is empty", 1, Some(8)),
            ("`speed_mps` is not a finite number", 3, Some(5)),
        ]
    );
}

#[test]
fn fault_23_signs_and_the_date_line() {
    let (samples, _) = receive(&bytes("23_signs_and_180.nmea"));
    let places: Vec<_> = samples.iter().filter_map(lat_lon).collect();
    let near = |(lat, lon): (f64, f64), at: usize| {
        let (a, b) = places[at];
        assert!(
            (a - lat).abs() < 1e-7 && (b - lon).abs() < 1e-7,
            "row {at}: {a} {b}"
        );
    };
    near((0.5, 0.25), 0);
    near((-0.5, -0.25), 1);
    near((-33.25, 151.5), 2);
    near((51.5, 0.001_666_7), 3);
    near((51.5, -0.001_666_7), 4);
    near((-16.75, 179.9998), 5);
    near((-16.75, 179.9999), 6);
    near((-16.75, -179.9999), 7);
    near((-16.75, -179.9998), 8);
}

#[test]
fn fault_26_steps_do_not_follow_a_wrong_date() {
    let (samples, counts) = receive(&bytes("26_cold_start_date.nmea"));
    assert_eq!(steps_us(&samples), [10_000_000, 10_000_000, 100_000]);
    assert_eq!((counts.refused_total(), counts.restarts), (0, 0));
}

#[test]
fn fault_26_a_date_is_given_only_when_believable() {
    let text = String::from_utf8(bytes("26_cold_start_date.nmea")).unwrap();
    let mut receiver = cuepost_engine::receiver::Receiver::default();
    // 1 January 2026, the day of the build, say.
    let earliest = 20_454;
    let days: Vec<_> = text
        .split_inclusive('\n')
        .map(|line| {
            receiver.push_slice(line.as_bytes(), |_| {});
            receiver.day(earliest)
        })
        .collect();
    // 14 June 2026 is day 20618; an empty date changes nothing.
    assert_eq!(days, [None, None, Some(20_618), Some(20_618)]);
}

#[test]
fn fault_28_a_tick_counter_wraps() {
    // Two columns: time and what happened. A speed is put beside them to make it a table of samples.
    let text = String::from_utf8(bytes("28_millis_wrap.csv")).unwrap();
    let table: String = text
        .lines()
        .enumerate()
        .map(|(at, line)| match at {
            0 => format!("{line},speed_mps\n"),
            _ => format!("{line},30\n"),
        })
        .collect();
    let options = cuepost_host::source::Options::with_columns(&["time_ms=tick_ms_u32"]).unwrap();
    let recording = cuepost_host::source::read(std::io::Cursor::new(table), &options).unwrap();
    let samples: Vec<Sample> = recording.map(Result::unwrap).collect();
    assert_eq!(samples.len(), 6);
    assert_eq!(samples[5].time_us - samples[0].time_us, 91_234_000);
    assert!(
        samples
            .windows(2)
            .all(|pair| pair[0].time_us < pair[1].time_us)
    );
}

#[test]
fn fault_29_an_absurd_length_takes_nothing_along() {
    let bytes = bytes("29_ubx_bad_length.bin");
    let (samples, counts) = receive(&bytes);
    let begin = (8 * 3600 + 19 * 60 + 42) * 1_000_000;
    let times: Vec<_> = samples.iter().map(|s| s.time_us - begin).collect();
    assert_eq!(times, [0, 100_000, 200_000, 300_000]);
    assert_eq!(counts.refused(Reason::Length).count, 1);
    // None late: each comes out with its own last byte.
    let mut receiver = cuepost_engine::receiver::Receiver::default();
    let mut ends = Vec::new();
    for (at, &byte) in bytes.iter().enumerate() {
        receiver.push(byte, |_| ends.push(at + 1));
    }
    let sentence_end = bytes.windows(2).position(|pair| pair == b"\r\n").unwrap();
    assert!(
        ends.contains(&bytes.len()) && ends.contains(&sentence_end),
        "{ends:?}"
    );
}

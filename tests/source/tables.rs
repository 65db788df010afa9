//! Tables of text as people and programs write them.

use crate::data;
use cuepost_engine::{Position, Sample};
use cuepost_host::source::{self, Fault, Kind, Options, Report, SourceError, Stream};
use std::io::Cursor;

/// What a table gives.
struct Read {
    samples: Vec<Sample>,
    report: Report,
    error: Option<SourceError>,
}

fn read_with(table: impl Into<Vec<u8>>, columns: &[&str]) -> Result<Read, SourceError> {
    let options = Options::with_columns(columns)?;
    let mut recording = source::read(Cursor::new(table.into()), &options)?;
    let mut samples = Vec::new();
    let mut error = None;
    for item in &mut recording {
        match item {
            Ok(sample) => samples.push(sample),
            Err(fault) => error = Some(fault),
        }
    }
    Ok(Read {
        samples,
        report: recording.report(),
        error,
    })
}

fn read(table: impl Into<Vec<u8>>) -> Read {
    read_with(table, &[]).expect("a table")
}

/// The words of the error that leaves nothing to read.
fn refused(table: impl Into<Vec<u8>>) -> String {
    match read_with(table, &[]) {
        Ok(read) => panic!("{} samples", read.samples.len()),
        Err(error) => error.to_string(),
    }
}

#[test]
fn units_come_from_the_names() {
    for (name, value, expected_mps) in [
        ("speed_mps", "30", 30.0),
        ("speed_kmh", "108", 30.0),
        ("speed_mph", "60", 26.8224),
        ("speed_kn", "100", 51.444_443),
        ("Speed [km/h]", "108", 30.0),
    ] {
        let read = read(format!("time_s,{name}\n1,{value}\n"));
        let speed = read.samples[0].speed_mps.unwrap();
        assert!((speed - expected_mps).abs() < 1e-5, "{name}: {speed}");
    }
    for (name, value) in [
        ("time_s", "1.5"),
        ("time_ms", "1500"),
        ("time_us", "1500000"),
    ] {
        let read = read(format!("{name},speed_mps\n{value},1\n"));
        assert_eq!(read.samples[0].time_us, 1_500_000, "{name}");
    }
}

#[test]
fn millimetres_and_seventh_decimals_are_exact() {
    let local = read("time_s,x_m,y_m\n0,-1234.567,0.001\n");
    let at = Position::Local {
        east_mm: -1_234_567,
        north_mm: 1,
    };
    assert_eq!(local.samples[0].position, Some(at));
    let globe = read("time_s,lat_deg,lon_deg\n0,-45.5000281,190\n");
    let at = Position::Geodetic {
        lat_e7: -455_000_281,
        lon_e7: -1_700_000_000,
    };
    assert_eq!(globe.samples[0].position, Some(at));
}

#[test]
fn a_byte_order_mark_a_preamble_a_row_of_units_and_windows_lines() {
    let table = "\u{feff}Logger 3\r\nDriver;someone\r\n\r\nTime;Speed;Latitude;Longitude\r\n\
                 s;km/h;deg;deg\r\n0,00;36,0;45,5;9,5\r\n0,04;72,0;45,5;9,5\r\n";
    let read = read(table);
    assert!(read.error.is_none());
    let speeds: Vec<_> = read.samples.iter().map(|s| s.speed_mps).collect();
    assert_eq!(speeds, [Some(10.0), Some(20.0)]);
    assert_eq!(read.samples[1].time_us, 40_000);
    assert_eq!(
        read.report.notes[0],
        "names in line 4, units below them; values apart by semicolons, decimals with a comma"
    );
}

#[test]
fn tabs_quotes_and_an_empty_last_column() {
    let tabs = read("time_s\tspeed_mps\n0\t1.5\n");
    assert_eq!(tabs.samples[0].speed_mps, Some(1.5));
    let quotes = read("\"time_s\",\"note\",\"speed_mps\"\n\"0\",\"a, b\",\"1.5\"\n");
    assert_eq!(quotes.samples[0].speed_mps, Some(1.5));
    let trailing = read("time_s,speed_mps,\n0,1.5,\n1,2.5,,\n");
    assert_eq!(trailing.samples.len(), 2);
}

#[test]
fn columns_by_the_users_word() {
    let table = "Zeit;Tempo\n0,5;36,0\n";
    let read = read_with(table, &["time_s=Zeit", "speed_kmh=tempo"]).unwrap();
    assert_eq!(read.samples[0].speed_mps, Some(10.0));
    let unknown = read_with(table, &["time_s=Uhr", "speed_kmh=Tempo"]);
    let words = unknown.err().unwrap().to_string();
    assert_eq!(
        words,
        "line 1: no column `Uhr`; the columns are Zeit, Tempo"
    );
    let unknown = read_with("time_s,speed_mps\n0,1\n", &["gear=Gang"]);
    let words = unknown.err().unwrap().to_string();
    assert_eq!(
        words,
        "line 1: no column `Gang`; the columns are time_s, speed_mps"
    );
    let words = Options::with_columns(&["pace=Tempo"])
        .err()
        .unwrap()
        .to_string();
    assert!(
        words.contains("none of the names there are: time_s, time_ms"),
        "{words}"
    );
}

#[test]
fn what_lacks_a_unit_is_refused_with_a_hint() {
    assert_eq!(
        refused("time,speed,lat\n0,1,2\n"),
        "line 1: no column with a time; the columns are time, speed, lat. `time` lacks its unit: \
         --column time_s=time"
    );
    let words = refused("time_s,speed\n0,1\n");
    assert!(
        words.contains("`speed` lacks its unit: --column speed_kmh=speed"),
        "{words}"
    );
    let words = refused("a,b,c\n1,2,3\n");
    assert!(
        words.contains("no line names columns such as time_s"),
        "{words}"
    );
}

#[test]
fn what_is_ambiguous_ends_the_reading_with_its_line() {
    let twice = refused("time_s,speed_mps,speed_mps\n0,1,2\n");
    assert!(
        twice.starts_with("line 1: `speed_mps` and `speed_mps`"),
        "{twice}"
    );
    let mixed = read("time_s;speed_mps\n0,5;1\n1,0;1\n1.5;2\n");
    assert_eq!(mixed.samples.len(), 2);
    assert_eq!(mixed.error.unwrap().place.unwrap().line, Some(4));

    let thousands = read("time_s;speed_mps\n0,5;1,5\n1;2\n1.237;2\n9;9\n");
    let error = thousands.error.expect("an error");
    assert_eq!(thousands.samples.len(), 2);
    let words = "line 4: `1.237` in `time_s` may be two numbers";
    assert!(error.to_string().starts_with(words), "{error}");
}

#[test]
fn more_values_than_names_are_refused_where_they_come() {
    let read = read("time_s,speed_mps\n0,1\n1,2\n2,3,4\n3,4\n");
    assert_eq!(read.samples.len(), 2);
    let error = read.error.expect("an error");
    assert!(matches!(error.fault, Fault::Ambiguous(_)));
    assert_eq!(error.place.unwrap().line, Some(4));
}

#[test]
fn rows_with_too_little_or_nonsense_are_counted() {
    let table = "time_s,speed_mps,gear\n0,1,2\n# lap 2\n\n1\nx,1,2\n2,fast,2\n3,-4,300\n4,1,2\n";
    let read = read(table);
    assert!(read.error.is_none());
    assert_eq!(read.samples.len(), 4);
    let refused: Vec<_> = read
        .report
        .refused
        .iter()
        .map(|r| (r.reason.as_str(), r.count, r.first.line.unwrap()))
        .collect();
    assert_eq!(
        refused,
        [
            ("row with too few values", 1, 5),
            ("row without a time", 1, 6),
            ("`time_s` is no number", 1, 6),
            ("`speed_mps` is no number", 1, 7),
            ("`speed_mps` is beyond all bounds", 1, 8),
            ("`gear` is beyond all bounds", 1, 8),
        ]
    );
}

#[test]
fn repeated_and_late_rows() {
    let table = "time_s,speed_mps\n0,1\n1,1\n1,1\n1,2\n0.5,1\n2,1\n";
    let read = read(table);
    let times: Vec<_> = read.samples.iter().map(|s| s.time_us).collect();
    assert_eq!(times, [0, 1_000_000, 2_000_000]);
    let reasons: Vec<_> = read
        .report
        .refused
        .iter()
        .map(|r| r.reason.as_str())
        .collect();
    assert_eq!(
        reasons,
        [
            "the same time again",
            "the same time again with other values",
            "older than the row before"
        ]
    );
}

#[test]
fn pedals_to_1_or_to_100_are_told_from_the_whole_file() {
    let table = |last: &str| {
        let mut table = "time_s,speed_mps,brake,throttle\n".to_owned();
        for k in 0..5_000 {
            table.push_str(&format!("{k},30,0,1\n"));
        }
        table + &format!("5000,30,{last},1\n")
    };
    let percent = read(table("80"));
    assert_eq!(percent.samples[5000].brake, Some(0.8));
    assert_eq!(percent.samples[5000].throttle, Some(1.0));
    assert!(
        percent
            .report
            .notes
            .contains(&"`brake` goes from 0 to 100".to_owned())
    );
    assert!(
        percent
            .report
            .notes
            .contains(&"`throttle` goes from 0 to 1".to_owned())
    );
    let unit = read(table("0.8"));
    assert_eq!(unit.samples[5000].brake, Some(0.8));
    let neither = read(table("180"));
    assert_eq!(neither.samples[5000].brake, None);
    assert!(
        neither
            .report
            .notes
            .iter()
            .any(|note| note.contains("is not used"))
    );
    let named = read("time_s,speed_mps,brake_pct\n0,1,1\n1,1,0.5\n");
    assert_eq!(named.samples[0].brake, Some(0.01));
}

#[test]
fn a_course_that_counts_the_other_way_is_found_out() {
    let mut table = "t_s,x_m,y_m,speed_mps,course_rad\n".to_owned();
    for k in 0..200 {
        let angle = f64::from(k) * 0.02;
        let (x, y) = (100.0 * angle.sin(), -100.0 * angle.cos());
        table.push_str(&format!(
            "{},{x:.3},{y:.3},50,{angle:.5}\n",
            f64::from(k) * 0.04
        ));
    }
    let read = read(table);
    assert!((read.samples[199].direction_rad.unwrap() - 199.0 * 0.02).abs() < 1e-4);
    let note = "`course_rad` runs counter-clockwise from east, as the positions show";
    assert!(read.report.notes.contains(&note.to_owned()));
}

#[test]
fn a_cut_end_is_said_after_what_was_read() {
    let read = read("time_s,speed_mps\n0,1\n1,2\n2");
    assert_eq!(read.samples.len(), 2);
    let error = read.error.expect("an error");
    assert_eq!(
        error.to_string(),
        "line 4: cut off here; everything before was read"
    );
    let no_newline = self::read("time_s,speed_mps\n0,1\n1,2");
    assert_eq!(
        (no_newline.samples.len(), no_newline.error.is_none()),
        (2, true)
    );
}

#[test]
fn empty_huge_and_foreign_files_get_one_clear_line() {
    assert!(refused("").contains("is empty"));
    assert!(refused("\u{feff}").contains("is empty"));
    let nothing = read_with("time_s,speed_mps\n", &[]).unwrap();
    let words = nothing.error.unwrap().to_string();
    assert!(words.contains("no usable rows"), "{words}");
    let long = read_with(
        format!("time_s,speed_mps\n0,1\n1,{}", "1".repeat(200_000)),
        &[],
    )
    .unwrap();
    assert_eq!(long.samples.len(), 1);
    assert!(matches!(long.error.unwrap().fault, Fault::LongLine(_)));
    for (bytes, hint) in [
        (&b"PK\x03\x04rest"[..], "unpack"),
        (b"\x1f\x8brest", "unpack"),
        (b"\xff\xfet\0i\0", "UTF-8"),
        (b"<gpx version=\"1.1\">", "export"),
        (b"{\"a\":1}", "JSON"),
        (b"\x00\x01\x02\x03\x04\x05", "not a recording"),
    ] {
        let words = refused(bytes);
        assert!(words.contains(hint), "{words}");
    }
    let folder = source::open(&data("faults"), &Options::default());
    let words = folder.err().unwrap().to_string();
    assert!(words.contains("this is a folder"), "{words}");
    let missing = source::open(&data("no_such_file"), &Options::default());
    let words = missing.err().unwrap().to_string();
    assert!(words.contains("no_such_file: No such file"), "{words}");
}

#[test]
fn negative_times_are_shifted_by_whole_seconds() {
    let options = Options::default();
    let table = "t_s,speed_mps\n-0.980,0\n-0.960,0\n0.020,1\n";
    let mut recording = source::read(Cursor::new(table), &options).unwrap();
    let times: Vec<_> = recording.by_ref().map(|s| s.unwrap().time_us).collect();
    assert_eq!(times, [20_000, 40_000, 1_020_000]);
    assert_eq!(recording.zero_us(), -1_000_000);
}

#[test]
fn a_live_table_is_read_as_it_comes() {
    let mut stream = Stream::new(Options::default());
    let mut table = "time_s,speed_mps\n".to_owned();
    for k in 0..20 {
        table.push_str(&format!("{k},{k}\n"));
    }
    let mut count = 0;
    for piece in table.as_bytes().chunks(5) {
        stream.push(piece, |_| count += 1).unwrap();
    }
    assert_eq!(count, 20);
    assert_eq!(stream.report().unwrap().kind, Kind::Csv);
}

/// At standstill all is zero; the first decimal comes later, and it is a comma.
#[test]
fn a_live_table_that_begins_without_decimals() {
    let table = "time_ms;x_m;y_m;speed_kmh\n0;0;0;0\n40;0;0;0\n80;0,4;0;36,0\n";
    let mut stream = Stream::of_kind(Kind::Csv, Vec::new());
    let mut samples = Vec::new();
    for byte in table.bytes() {
        stream
            .push(&[byte], |s| samples.push(s))
            .expect("one good table");
    }
    assert_eq!(samples.len(), 3);
    assert_eq!(samples[2].speed_mps, Some(10.0));
}

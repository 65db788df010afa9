//! Landmarks from marks in a recording, into a reference, into words.

use crate::data;
use cuepost_host::landmarks::{file, put};
use cuepost_host::reference_file;
use cuepost_host::report::{Units, places};
use cuepost_tests::command::{Folder, cuepost};
use std::fmt::Write;

/// A drive of the simulator, two laps: its rows as they stand in the file.
fn rows() -> Vec<Vec<f64>> {
    let text = std::fs::read_to_string(data("learn/s5_touring.25hz.csv")).expect("readable");
    let row = |line: &str| {
        line.split(',')
            .map(|c| c.parse().expect("a number"))
            .collect()
    };
    text.lines().skip(1).map(row).collect()
}

fn learned(folder: &Folder, more: &[&str]) -> Result<String, String> {
    let (recording, out) = (data("learn/s5_touring.25hz.csv"), folder.file("club.ref"));
    let recording = recording.display().to_string();
    let mut args = vec!["learn", &recording, "-o", &out];
    args.extend(more);
    cuepost(&args).map(|()| out)
}

/// Rows in the middle of the recording, once in each of two laps at the same place.
fn marked(rows: &[Vec<f64>]) -> Vec<(usize, &'static str)> {
    let lap = rows[rows.len() / 3][6];
    let at = |lap: f64, metres: f64| {
        rows.iter()
            .position(|r| r[6] == lap && r[7] >= metres)
            .expect("driven")
    };
    vec![
        (at(lap, 500.0), "second board"),
        (at(lap, 1500.0), "bridge"),
        (at(lap + 1.0, 500.0), "second board"),
    ]
}

/// How far a landmark is from the car's place in a row, along the line.
fn apart_m(kept: &reference_file::HostReference, row: &[f64], name: &str) -> f32 {
    let view = kept.view();
    let position = cuepost_engine::Position::Local {
        east_mm: (row[1] * 1e3).round() as i64,
        north_mm: (row[2] * 1e3).round() as i64,
    };
    let (progress_m, _) = put::project(&view, position).expect("near");
    let landmark = view.landmarks.iter().find(|l| l.name == name);
    let landmark = landmark.unwrap_or_else(|| panic!("{name} is not there"));
    view.ahead_m(landmark.progress_m, progress_m as f32)
}

#[test]
fn a_list_of_times_becomes_landmarks_where_the_car_was() {
    let folder = Folder::new("landmarks-times");
    let rows = rows();
    let club = learned(&folder, &[]).expect("a reference");
    let mut times = String::from("# from the first sample\n");
    for (row, name) in marked(&rows) {
        let _ = writeln!(times, "{:.3} {name}", rows[row][0] - rows[0][0]);
    }
    let times = folder.put("times.txt", &times);
    let recording = data("learn/s5_touring.25hz.csv").display().to_string();
    let boards = folder.file("boards.toml");
    let args = [
        "landmarks",
        "from",
        &recording,
        "-r",
        &club,
        "--times",
        &times,
        "-o",
        &boards,
    ];
    cuepost(&args).expect("a file");
    assert!(cuepost(&args).unwrap_err().contains("is there already"));
    cuepost(&["landmarks", "put", &boards, "-r", &club, "-o", &club]).expect("put");
    let (kept, _) = reference_file::read(club.as_ref()).expect("readable");
    assert_eq!(kept.landmarks.len(), 2, "both laps' boards are one");
    for (row, name) in marked(&rows) {
        let apart = apart_m(&kept, &rows[row], name);
        // The two laps were at the board to a row's spacing, which is 1.5 m.
        assert!(apart.abs() < 1.5, "{name}: {apart} m");
    }
    let at = kept.landmarks[0].progress_m;
    let said = places::near(&kept.view(), at + 6.0, Units::Metric);
    assert_eq!(said.as_deref(), Some("6 m past the second board"));
    // The file holds positions, so that it also serves a reference that starts elsewhere.
    let start = &rows[rows.len() / 2];
    let start = format!("{},{},{}", start[1], start[2], {
        let next = &rows[rows.len() / 2 + 1];
        (next[1] - start[1]).atan2(next[2] - start[2]).to_degrees()
    });
    let other = learned(&folder, &["--landmarks", &boards, "--start", &start]).expect("learned");
    let (kept, _) = reference_file::read(other.as_ref()).expect("readable");
    for (row, name) in marked(&rows) {
        let apart = apart_m(&kept, &rows[row], name);
        assert!(apart.abs() < 1.5, "{name}, other start: {apart} m");
    }
}

#[test]
fn a_pressed_key_in_a_column_becomes_landmarks() {
    let folder = Folder::new("landmarks-press");
    let rows = rows();
    let club = learned(&folder, &[]).expect("a reference");
    let marks = marked(&rows);
    let mut table = String::from("t_s,x_m,y_m,speed_mps,key\n");
    for (i, r) in rows.iter().enumerate() {
        // The key is held for half a second, 0.2 s after the thing was passed.
        let held = |m: &(usize, &str)| (0.2..0.7).contains(&(r[0] - rows[m.0][0]));
        let key = u8::from(marks.iter().any(held));
        let _ = writeln!(table, "{},{},{},{},{key}", r[0], r[1], r[2], r[3]);
        assert!(i < 20_000);
    }
    let recording = folder.put("walk.csv", &table);
    let boards = folder.file("boards.toml");
    let args = [
        "landmarks",
        "from",
        &recording,
        "-r",
        &club,
        "--press",
        "key",
        "--late",
        "0.2",
        "-o",
        &boards,
    ];
    cuepost(&args).expect("a file");
    cuepost(&["landmarks", "put", &boards, "-r", &club, "-o", &club]).expect("put");
    let (kept, _) = reference_file::read(club.as_ref()).expect("readable");
    let names: Vec<&str> = kept.landmarks.iter().map(|l| l.name.as_str()).collect();
    assert_eq!(names.len(), 2, "{names:?}");
    for (row, _) in marks {
        let near = names
            .iter()
            .map(|name| apart_m(&kept, &rows[row], name).abs())
            .fold(f32::INFINITY, f32::min);
        // A key is seen at the row behind it, up to 0.04 s late.
        assert!(near < 3.0, "{near} m");
    }
}

#[test]
fn what_does_not_fit_the_circuit_is_named_and_changes_nothing() {
    let folder = Folder::new("landmarks-bad");
    let club = learned(&folder, &[]).expect("a reference");
    let before = std::fs::read(&club).expect("readable");
    for (text, wrong) in [
        (
            "[[landmark]]\nname = \"board\"\nprogress_m = 99999\n",
            "line 1: board: progress_m = 99999 is not on this line",
        ),
        (
            "[[landmark]]\nname = \"board\"\nx_m = 9000\ny_m = 0\n",
            "is it on this circuit?",
        ),
        (
            "[[landmark]]\nname = \"board\"\nlat_deg = 47\nlon_deg = 8\n",
            "not in the kind of coordinates",
        ),
        ("[[corner]]\nnumber = 99\n", "line 1: there is no corner 99"),
    ] {
        let bad = folder.put("bad.toml", text);
        let fault = cuepost(&["landmarks", "put", &bad, "-r", &club, "-o", &club]).unwrap_err();
        assert!(
            fault.contains(wrong) && fault.contains("bad.toml"),
            "{fault}"
        );
        let fault = learned(&folder, &["--landmarks", &bad]).unwrap_err();
        assert!(
            fault.contains(wrong) && fault.contains("bad.toml"),
            "{fault}"
        );
    }
    assert_eq!(std::fs::read(&club).expect("readable"), before);
}

#[test]
fn a_side_follows_from_the_position_and_notes_reach_their_corner() {
    let folder = Folder::new("landmarks-side");
    let club = learned(&folder, &[]).expect("a reference");
    let (mut kept, _) = reference_file::read(club.as_ref()).expect("readable");
    let view = kept.view();
    // A node's own place and 8 m to the left of it.
    let (a, b) = (view.nodes[100], view.nodes[101]);
    let (e, n) = (
        f64::from(b.east_mm - a.east_mm),
        f64::from(b.north_mm - a.north_mm),
    );
    let long = e.hypot(n);
    let text = format!(
        "[[landmark]]\nname = \"post\"\nx_m = {}\ny_m = {}\n\
         [[corner]]\nnumber = 2\nname = \"Long Left\"\nnote = \"late apex\"\ngear = 3\n",
        put_x(&kept, f64::from(a.east_mm) - 8000.0 * n / long, true),
        put_x(&kept, f64::from(a.north_mm) + 8000.0 * e / long, false),
    );
    let notes = file::parse(&text).expect("read");
    put::put(&mut kept, &notes).expect("put");
    let post = &kept.landmarks[0];
    assert_eq!(post.side, 1);
    assert!((post.progress_m - 100.0 * kept.spacing_m).abs() < 0.3);
    let corner = &kept.corners[1];
    assert_eq!((corner.name.as_str(), corner.gear), ("Long Left", Some(3)));
    assert_eq!(corner.note, "late apex");
}

/// A coordinate of the frame's plane in metres of the source's own.
fn put_x(kept: &reference_file::HostReference, mm: f64, east: bool) -> f64 {
    match kept.frame {
        cuepost_engine::Frame::Local { east_mm, north_mm } => {
            (mm + (if east { east_mm } else { north_mm }) as f64) * 1e-3
        }
        cuepost_engine::Frame::Geodetic { .. } => panic!("a plane"),
    }
}

#[test]
fn marks_of_a_recording_become_landmarks() {
    use cuepost_engine::wire::{Header, Mark};
    use cuepost_engine::{Position, Sample};
    use cuepost_host::record::{Pace, Writer};
    let folder = Folder::new("landmarks-marks");
    let rows = rows();
    let club = learned(&folder, &[]).expect("a reference");
    let mut writer = Writer::new(Vec::new(), Pace::Bulk, &Header::default()).expect("written");
    for (i, r) in rows.iter().enumerate() {
        let time_us = ((r[0] - rows[0][0]) * 1e6).round() as u64;
        let sample = Sample {
            time_us,
            position: Some(Position::Local {
                east_mm: (r[1] * 1e3).round() as i64,
                north_mm: (r[2] * 1e3).round() as i64,
            }),
            speed_mps: Some(r[3] as f32),
            ..Sample::default()
        };
        writer.sample(&sample).expect("written");
        if let Some((_, name)) = marked(&rows).iter().find(|m| m.0 == i) {
            let text = (*name).try_into().expect("short");
            let mark = Mark {
                time_us,
                text,
                ..Mark::default()
            };
            writer.mark(&mark).expect("written");
        }
    }
    let drive = folder.file("walk.rec");
    std::fs::write(&drive, writer.finish().expect("written")).expect("written");
    let boards = folder.file("boards.toml");
    let args = ["landmarks", "from", &drive, "-r", &club, "-o", &boards];
    cuepost(&args).expect("a file");
    cuepost(&["landmarks", "put", &boards, "-r", &club, "-o", &club]).expect("put");
    let (kept, _) = reference_file::read(club.as_ref()).expect("readable");
    assert_eq!(kept.landmarks.len(), 2);
    for (row, name) in marked(&rows) {
        let apart = apart_m(&kept, &rows[row], name);
        assert!(apart.abs() < 1.5, "{name}: {apart} m");
    }
}

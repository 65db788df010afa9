//! A receiver on a serial port: cues, unplugging, a line too slow.

use crate::line::Line;
use crate::running::Running;
use crate::scene::{program, replayed, scene};
use cuepost_host::record::Reader;
use std::io::Write;
use std::time::Duration;

/// Samples a recording holds so far.
fn samples_recorded(path: &std::path::Path) -> u64 {
    let file = std::fs::File::open(path).expect("recorded");
    Reader::new(file).filter(Result::is_ok).count() as u64
}

fn lines(text: &str) -> usize {
    text.lines().count()
}

#[test]
fn a_drive_through_a_port_gives_byte_for_byte_what_replay_gives() {
    let scene = scene();
    let want = replayed(&scene.nmea_file());
    assert!(want.matches("\"event\":\"cue\"").count() >= 3, "{want}");
    let line = Line::new("bytes");
    let record = scene.path("bytes.rec");
    let drive = Running::drive(&[
        "--from",
        &format!("serial:{}", line.name()),
        "--to",
        "jsonl",
        "--record",
        record.to_str().expect("plain path"),
    ]);
    drive.until("started", |d| d.err().contains("recording to"));
    let mut port = line.receiver();
    // In pieces that no sentence is a multiple of.
    for piece in scene.nmea.chunks(1009) {
        port.write_all(piece).expect("written");
    }
    // The end tells the last corner: all lines but that one come while driving.
    drive.until("told everything", |d| lines(&d.out()) + 1 >= lines(&want));
    let ended = drive.ctrl_c();
    assert!(ended.status.success(), "{}", ended.err);
    assert_eq!(ended.out, want);
    assert!(ended.err.contains("nothing lost"), "{}", ended.err);
    // And the recording gives it once more.
    assert_eq!(samples_recorded(&record), scene.samples.len() as u64);
    assert_eq!(replayed(&record), want);
}

#[test]
fn unplugged_in_a_sentence_and_plugged_in_again() {
    let scene = scene();
    let mut line = Line::new("unplug");
    let record = scene.path("unplug.rec");
    let drive = Running::drive(&[
        "--from",
        &format!("serial:{}", line.name()),
        "--to",
        "jsonl",
        "--record",
        record.to_str().expect("plain path"),
    ]);
    drive.until("started", |d| d.err().contains("recording to"));
    let sentences: Vec<&[u8]> = scene.nmea.split_inclusive(|b| *b == b'\n').collect();
    // In the middle of the second lap, in the middle of a sentence.
    let cut = sentences.len() / 2;
    let (half, rest) = sentences[cut].split_at(30);
    let mut port = line.receiver();
    for s in &sentences[..cut] {
        port.write_all(s).expect("written");
    }
    port.write_all(half).expect("written");
    let laps_before = 1;
    drive.until("closed a lap", |d| {
        d.out().matches("\"event\":\"lap\"").count() >= laps_before
    });
    std::thread::sleep(Duration::from_millis(200));
    drop(port);
    line.unplug();
    drive.until("noticed", |d| d.err().contains("unplugged"));
    line.plug();
    drive.until("came back", |d| d.err().contains(": back"));
    // Two seconds of driving are missing; the rest of the torn sentence comes first.
    let mut port = line.receiver();
    port.write_all(rest).expect("written");
    for s in &sentences[cut + 50..] {
        port.write_all(s).expect("written");
    }
    let want = sentences.len() - 50;
    drive.until("recorded the rest", |_| {
        samples_recorded(&record) >= want as u64
    });
    let ended = drive.ctrl_c();
    assert!(ended.status.success(), "{}", ended.err);
    assert!(ended.err.contains("unplugged: 1 times"), "{}", ended.err);
    // The half before and the tail after were not joined to a sentence.
    assert_eq!(samples_recorded(&record), want as u64);
    assert!(
        ended.err.contains("1 cut off before its end"),
        "{}",
        ended.err
    );
    // The lap with the gap is marked, the others are not.
    let valid: Vec<bool> = ended
        .out
        .lines()
        .filter_map(|l| serde_json::from_str::<serde_json::Value>(l).ok())
        .filter(|v| v["event"] == "lap")
        .filter_map(|v| v["valid"].as_bool())
        .collect();
    assert_eq!(valid, [true, false, true], "{}", ended.out);
    assert_eq!(replayed(&record), ended.out);
}

#[test]
fn a_line_too_slow_is_named() {
    let line = Line::new("slow");
    let drive = Running::drive(&[
        "--from",
        &format!("serial:{}@9600", line.name()),
        "--to",
        "lines",
        "--no-record",
    ]);
    drive.until("started", |d| d.out().contains("from"));
    let mut port = line.receiver();
    let sentences: Vec<&[u8]> = scene().nmea.split_inclusive(|b| *b == b'\n').collect();
    // 25 sentences of 80 bytes a second do not fit into the 960 bytes that 9600 baud carry: the
    // receiver's own buffer runs over and loses whatever comes then.
    let mut sent = 0;
    while !drive.out().contains("9600 baud carry 960 bytes a second") {
        for (i, sentence) in sentences.iter().skip(sent).take(5).enumerate() {
            let keep = if i % 2 == 0 { sentence.len() } else { 40 };
            port.write_all(&sentence[..keep]).expect("written");
        }
        sent = (sent + 5) % (sentences.len() - 5);
        std::thread::sleep(Duration::from_millis(200));
        drive.until("runs", |_| true);
    }
    assert!(
        drive.out().contains("set a higher baud rate"),
        "{}",
        drive.out()
    );
    assert!(drive.ctrl_c().status.success());
}

#[test]
fn what_cannot_be_opened_says_why_and_what_to_do() {
    let fails = |source: &str| {
        let output = program()
            .args(["drive", "--from", source, "--no-record", "--reference"])
            .arg(scene().reference())
            .output()
            .expect("runs");
        assert_eq!(output.status.code(), Some(2), "{output:?}");
        let text = String::from_utf8(output.stderr).expect("text");
        assert_eq!(text.lines().count(), 1, "{text}");
        text
    };
    assert!(fails("serial:/dev/no-such-port").contains("drive --list"));
    assert!(fails("serial:/dev/null").contains("cannot be opened as a serial port"));
    assert!(fails("no-such-file.nmea").contains("no-such-file.nmea"));
    let line = Line::new("busy");
    let drive = Running::drive(&["--from", &format!("serial:{}", line.name()), "--no-record"]);
    drive.until("started", |d| d.out().contains("from"));
    // root may open what is locked for others; the lock on the file is seen by everybody.
    assert!(fails(&format!("serial:{}", line.name())).contains("in use by another program"));
    assert!(drive.ctrl_c().status.success());
}

#[test]
fn a_display_gets_its_lines_and_a_stalled_one_holds_nothing_up() {
    let scene = scene();
    let (display, stalled) = (Line::new("display"), Line::new("stalled"));
    let drive = Running::drive(&[
        "--from",
        scene.recording().to_str().expect("plain path"),
        "--speed",
        "0",
        "--to",
        &format!("serial:{}", display.name()),
        "--to",
        &format!("serial:{}", stalled.name()),
        "--to",
        "jsonl",
    ]);
    // One display is read, the other never is.
    let mut port = display.receiver();
    port.set_timeout(Duration::from_millis(500)).expect("set");
    let reader = std::thread::spawn(move || {
        let mut text = Vec::new();
        let mut buffer = [0; 1024];
        let mut silent = 0;
        while silent < 6 {
            match std::io::Read::read(&mut port, &mut buffer) {
                Ok(n) => text.extend_from_slice(&buffer[..n]),
                Err(_) => silent += 1,
            }
        }
        String::from_utf8(text).expect("text")
    });
    let ended = drive.ended();
    assert!(ended.status.success(), "{}", ended.err);
    assert_eq!(ended.out, replayed(&scene.recording()));
    let shown = reader.join().expect("reads");
    let cues = ended.out.matches("\"event\":\"cue\"").count();
    let laps = ended.out.matches("\"event\":\"lap\"").count();
    assert_eq!(shown.matches("LAP ").count(), laps, "{shown}");
    let cue_lines = shown
        .lines()
        .filter(|l| l.starts_with(|c: char| c.is_ascii_digit()));
    assert_eq!(cue_lines.count(), cues, "{shown}");
}

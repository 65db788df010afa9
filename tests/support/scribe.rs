//! Writes for ever, to be killed: `scribe recording FILE` or `scribe reference FILE A B`.
//!
//! What has been handed to the writer is said on standard output, one line each, so that whoever
//! kills this program knows what must be found in the file.

use cuepost_engine::Sample;
use cuepost_engine::wire::Header;
use cuepost_host::record::{Pace, Writer};
use std::io::Write;
use std::path::Path;

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let words: Vec<&str> = args.iter().skip(1).map(String::as_str).collect();
    match words[..] {
        ["recording", file] => recording(Path::new(file)),
        ["reference", file, a, b] => reference(Path::new(file), a, b),
        _ => panic!("scribe recording FILE | scribe reference FILE A B"),
    }
}

/// Samples of a source of 100 Hz, faster than they would come.
fn recording(file: &Path) {
    let mut writer = Writer::create(file, Pace::Live, &Header::default()).unwrap();
    let mut out = std::io::stdout().lock();
    for i in 0.. {
        let sample = Sample {
            time_us: i * 10_000,
            speed_mps: Some(i as f32 % 100.0),
            ..Sample::default()
        };
        writer.sample(&sample).unwrap();
        writeln!(out, "{i}").unwrap();
        std::thread::sleep(std::time::Duration::from_micros(200));
    }
}

/// One file's bytes and the other's in turn.
fn reference(file: &Path, a: &str, b: &str) {
    let mut out = std::io::stdout().lock();
    for from in [a, b].iter().cycle() {
        let bytes = std::fs::read(from).unwrap();
        cuepost_host::durable::write(file, &bytes).unwrap();
        writeln!(out, "{from}").unwrap();
    }
}

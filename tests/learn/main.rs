//! References made from recordings: laps, lines and corners against what is known of them.

mod circuits;
mod command;
mod invented;
mod receivers;
mod simulator;

use cuepost_engine::Sample;
use cuepost_host::learn::{Learned, Options, Take, learn};
use cuepost_host::source;
use std::path::PathBuf;

/// A file of this test's data.
fn data(name: &str) -> PathBuf {
    cuepost_tests::csv::data("learn").join(name)
}

/// All samples of a recording.
fn read(name: &str) -> Vec<Sample> {
    let recording = source::open(&data(name), &source::Options::default()).expect(name);
    recording.map(|s| s.expect(name)).collect()
}

fn learned(samples: &[Sample], options: &Options) -> Learned {
    let take = Take {
        name: "test",
        samples,
    };
    learn(&[take], options, &mut |_, _| {}).expect("laps")
}

/// Samples without their pedals.
fn without_pedals(samples: &[Sample]) -> Vec<Sample> {
    let hide = |s: &Sample| Sample {
        brake: None,
        throttle: None,
        ..*s
    };
    samples.iter().map(hide).collect()
}

fn near(a: f64, b: f64, within: f64, what: &str) {
    assert!(
        (a - b).abs() <= within,
        "{what}: {a} is not within {within} of {b}"
    );
}

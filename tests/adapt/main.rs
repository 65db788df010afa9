//! What a coach carries to another day: landmarks, the brief, a reference for another car.

mod brief;
mod cars;
mod closed_forms;
mod computed;
mod driven;
mod invented;
mod landmarks;
mod laws;
mod oracle;
mod point;
mod stint;
mod unproven;

use cuepost_engine::ReferenceView;
use std::path::PathBuf;

/// A file of `tests/data`.
fn data(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("data")
        .join(name)
}

/// The points of a published line, metres.
fn published(name: &str) -> Vec<[f64; 2]> {
    let text = std::fs::read_to_string(data(name)).expect("there");
    text.lines()
        .filter(|l| !l.starts_with('#'))
        .map(|l| {
            let (x, y) = l.split_once(',').expect("two columns");
            [x.parse().expect("x"), y.parse().expect("y")]
        })
        .collect()
}

/// No corner is braked for later, or taken faster by more than rounding, than it was.
fn asks_for_no_more(was: &ReferenceView<'_>, is: &ReferenceView<'_>, what: &str) {
    for (a, b) in was.corners.iter().zip(is.corners) {
        let number = a.facts.corner;
        if let (Some(x), Some(y)) = (a.facts.brake_m, b.facts.brake_m) {
            let later = was.ahead_m(x.value, y.value);
            assert!(later <= 0.0, "{what}: corner {number} {later} m later");
        }
        if let (Some(x), Some(y)) = (a.facts.slowest_mps, b.facts.slowest_mps) {
            assert!(y.value < x.value + 0.05, "{what}: corner {number} faster");
        }
    }
}

//! What the program tells of a drive, from files to cues.

use cuepost_engine::{Config, Cue, Event, Sample, Size};
use cuepost_host::learn::{Learned, Options, Take, learn};
use cuepost_host::{replay, source};
use std::path::Path;

/// A file as the program reads it.
pub fn read(path: &str) -> Vec<Sample> {
    source::open(Path::new(path), &source::Options::default())
        .unwrap_or_else(|e| panic!("{path}: {e}"))
        .map(|s| s.expect("a sample"))
        .collect()
}

/// Learned from a recording, without being told anything of it.
pub fn taught(samples: &[Sample]) -> Learned {
    let take = [Take {
        name: "coach",
        samples,
    }];
    learn(&take, &Options::default(), &mut |_, _| {}).expect("a reference")
}

/// The cues of a drive, and when, in milliseconds from its first sample.
pub fn cues(learned: &Learned, samples: &[Sample], config: &Config) -> Vec<(Cue, f64)> {
    let mut told = Vec::new();
    let driven = samples
        .iter()
        .map(|s| Ok::<_, std::convert::Infallible>(*s));
    let reference = learned.reference.view();
    replay::replay(driven, &reference, config.clone(), |event, start_us| {
        if let Event::Cue(cue) = event {
            told.push((*cue, (cue.time_us - start_us) as f64 * 1e-3));
        }
    });
    told
}

/// How near two tellings of one drive have to be.
#[derive(Clone, Copy, Debug)]
pub struct Near {
    /// Milliseconds.
    pub ms: f64,
    /// Share of a size.
    pub share: f64,
}

/// Which cues of one telling the other has not, as lines.
pub fn differences(one: &[(Cue, f64)], other: &[(Cue, f64)], near: Near) -> Vec<String> {
    let has = |all: &[(Cue, f64)], (c, ms): &(Cue, f64)| {
        all.iter().any(|(d, other_ms)| {
            let what = |c: &Cue| (c.lap, c.corner, c.phase, c.advice, c.told);
            what(c) == what(d)
                && (ms - other_ms).abs() <= near.ms
                && (size(c) - size(d)).abs() <= near.share * size(c).max(0.5)
        })
    };
    let line = |which: &str, (c, ms): &(Cue, f64)| {
        format!(
            "{which} only: lap {} corner {} {:?} {:?} {:?} {:.3} at {ms} ms",
            c.lap,
            c.corner,
            c.told,
            c.phase,
            c.advice,
            size(c)
        )
    };
    let first = one.iter().filter(|c| !has(other, c));
    let second = other.iter().filter(|c| !has(one, c));
    first
        .map(|c| line("one", c))
        .chain(second.map(|c| line("other", c)))
        .collect()
}

/// A size in its own unit.
pub fn size(cue: &Cue) -> f64 {
    f64::from(match cue.size {
        Size::Metres(x) | Size::Seconds(x) | Size::Speed(x) | Size::Deceleration(x) => x,
    })
}

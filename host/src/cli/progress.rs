//! Progress that stays away from short work, from pipes, and where it is not wanted.

use super::manners;
use crate::source::{Recording, SourceError};
use cuepost_engine::Sample;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::path::Path;
use std::time::{Duration, Instant};

/// Work that takes longer than this shows how far it is.
const SILENT: Duration = Duration::from_secs(1);
/// Samples between two looks at the clock: a few milliseconds of work.
const SAMPLES: u32 = 4096;
/// Steps of a bar that is told a share.
const SHARES: u64 = 1000;

/// The bar; several threads may tell it. It is drawn on standard error, and only on a terminal.
pub struct Bar {
    wanted: bool,
    since: Instant,
    bar: ProgressBar,
}

impl Bar {
    /// A bar of so many steps, not shown yet.
    pub fn new(steps: u64, word: &str) -> Self {
        Self::with("{bar:20} {pos}/{len} {msg}", steps, word)
    }

    /// A bar of something whose steps are not counted.
    pub fn of_share(word: &str) -> Self {
        Self::with("{bar:20} {msg}", SHARES, word)
    }

    /// A bar of so many bytes.
    pub fn of_bytes(bytes: u64, word: &str) -> Self {
        Self::with("{bar:20} {bytes}/{total_bytes} {msg}", bytes, word)
    }

    fn with(style: &str, length: u64, word: &str) -> Self {
        let bar = ProgressBar::hidden();
        if let Ok(style) = ProgressStyle::with_template(style) {
            bar.set_style(style);
        }
        bar.set_length(length);
        bar.set_message(word.to_owned());
        Self {
            wanted: !manners::quiet(),
            since: Instant::now(),
            bar,
        }
    }

    fn show(&self) {
        if self.wanted && self.bar.is_hidden() && self.since.elapsed() > SILENT {
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
        }
    }

    /// One step is done.
    pub fn step(&self) {
        self.show();
        self.bar.inc(1);
    }

    /// So many steps are done.
    pub fn at(&self, steps: u64) {
        self.show();
        self.bar.set_position(steps);
    }

    /// This share of it is done, and what is done now.
    pub fn share(&self, share: f32, word: &str) {
        self.bar.set_message(word.to_owned());
        self.at((share.clamp(0.0, 1.0) * SHARES as f32) as u64);
    }

    /// Prints a line above it.
    pub fn beside(&self, line: &str) {
        self.bar.suspend(|| eprintln!("{line}"));
    }

    /// The work is over.
    pub fn done(&self) {
        self.bar.finish_and_clear();
    }
}

/// A recording that shows how much of it has been read.
pub struct Reading<'a> {
    recording: &'a mut Recording,
    bar: Bar,
    samples: u32,
}

/// Reads a recording with a bar of its bytes.
pub fn reading<'a>(recording: &'a mut Recording, path: &Path) -> Reading<'a> {
    let bytes = std::fs::metadata(path).map_or(0, |m| m.len());
    Reading {
        recording,
        bar: Bar::of_bytes(bytes, &path.display().to_string()),
        samples: 0,
    }
}

impl Reading<'_> {
    /// Without the bar, where the terminal is written on meanwhile.
    pub fn unless(mut self, written_on: bool) -> Self {
        self.bar.wanted &= !written_on;
        self
    }
}

impl Iterator for Reading<'_> {
    type Item = Result<Sample, SourceError>;

    fn next(&mut self) -> Option<Self::Item> {
        let item = self.recording.next();
        self.samples += 1;
        if self.samples == SAMPLES {
            self.samples = 0;
            self.bar.at(self.recording.bytes());
        }
        if item.is_none() {
            self.bar.done();
        }
        item
    }
}

impl Drop for Reading<'_> {
    fn drop(&mut self) {
        self.bar.done();
    }
}

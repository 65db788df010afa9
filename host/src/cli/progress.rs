//! A progress bar that stays away from short work.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::time::{Duration, Instant};

/// Work that takes longer than this shows how far it is.
const SILENT: Duration = Duration::from_secs(1);

/// The bar; several threads may tell it.
pub struct Bar {
    since: Instant,
    bar: ProgressBar,
}

impl Bar {
    /// A bar of so many steps, not shown yet.
    pub fn new(steps: u64, word: &str) -> Self {
        let bar = ProgressBar::hidden();
        if let Ok(style) = ProgressStyle::with_template("{bar:30} {pos}/{len} {msg}") {
            bar.set_style(style);
        }
        bar.set_length(steps);
        bar.set_message(word.to_owned());
        Self {
            since: Instant::now(),
            bar,
        }
    }

    /// One step is done.
    pub fn step(&self) {
        if self.bar.is_hidden() && self.since.elapsed() > SILENT {
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
        }
        self.bar.inc(1);
    }

    /// The work is over.
    pub fn done(&self) {
        self.bar.finish_and_clear();
    }
}

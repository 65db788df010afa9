//! Plays a recording at the pace it was made, or faster.

use super::outlet::Outlet;
use crate::live::message::{Note, NoteKind, SourceState};
use crate::source::{self, Options};
use cuepost_engine::Sample;
use cuepost_engine::reference::SourceKind;
use std::path::Path;
use std::time::{Duration, Instant};

/// Samples of a file, and what was wrong with it.
pub type Samples = Box<dyn Iterator<Item = Result<Sample, String>> + Send>;

/// A pause longer than this is a stop of the recording, not of the car: it is not waited for.
const PAUSE_MAX: Duration = Duration::from_secs(10);

/// Opens a file of any kind that is known; also says what kind of source made it.
pub fn open(path: &Path, options: &Options) -> Result<(Samples, SourceKind), String> {
    let recording = source::open(path, options).map_err(|e| e.to_string())?;
    let kind = recording.source_kind();
    let samples = recording.map(|r| r.map_err(|e| e.to_string()));
    Ok((Box::new(samples), kind))
}

/// Plays samples; `speed` times faster than they were made, 0 without waiting.
pub fn play(samples: Samples, speed: f64, out: &Outlet) {
    let mut pace = Pace::new(speed);
    for sample in samples {
        match sample {
            Ok(sample) => {
                let wait = pace.wait(sample.time_us, Instant::now());
                if !wait.is_zero() && !out.wait(wait) || out.stopped() {
                    return;
                }
                out.sample(sample, Instant::now());
            }
            Err(why) => out.note(Note::new(NoteKind::Source, why)),
        }
    }
    out.source(SourceState::Ended);
}

/// When each sample is due.
#[derive(Debug)]
pub struct Pace {
    speed: f64,
    /// A source time and when it was played.
    anchor: Option<(u64, Instant)>,
    last_us: u64,
}

impl Pace {
    /// So many times faster than it was made; 0 without waiting.
    pub fn new(speed: f64) -> Self {
        Self {
            speed,
            anchor: None,
            last_us: 0,
        }
    }

    /// How long to wait for a sample of this source time.
    pub fn wait(&mut self, time_us: u64, now: Instant) -> Duration {
        if self.speed <= 0.0 {
            return Duration::ZERO;
        }
        let step = time_us.checked_sub(self.last_us).map(Duration::from_micros);
        self.last_us = time_us;
        let (from_us, began) = match (self.anchor, step) {
            (Some(anchor), Some(step)) if step <= PAUSE_MAX => anchor,
            _ => *self.anchor.insert((time_us, now)),
        };
        let source_s = time_us.saturating_sub(from_us) as f64 * 1e-6;
        let due = began + Duration::from_secs_f64(source_s / self.speed);
        due.saturating_duration_since(now)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn samples_are_due_when_they_were_made() {
        let mut pace = Pace::new(2.0);
        let now = Instant::now();
        assert_eq!(pace.wait(5_000_000, now), Duration::ZERO);
        assert_eq!(pace.wait(5_100_000, now), Duration::from_millis(50));
        assert_eq!(pace.wait(7_000_000, now), Duration::from_secs(1));
        assert_eq!(
            pace.wait(7_100_000, now + Duration::from_secs(5)),
            Duration::ZERO
        );
    }

    #[test]
    fn long_pauses_and_restarts_are_not_waited_for() {
        let mut pace = Pace::new(1.0);
        let now = Instant::now();
        pace.wait(5_000_000, now);
        assert_eq!(pace.wait(900_000_000, now), Duration::ZERO);
        assert_eq!(pace.wait(900_020_000, now), Duration::from_millis(20));
        assert_eq!(
            pace.wait(0, now),
            Duration::ZERO,
            "the source started again"
        );
        assert_eq!(pace.wait(20_000, now), Duration::from_millis(20));
    }

    #[test]
    fn speed_zero_never_waits() {
        let mut pace = Pace::new(0.0);
        let now = Instant::now();
        pace.wait(0, now);
        assert_eq!(pace.wait(5_000_000, now), Duration::ZERO);
    }
}

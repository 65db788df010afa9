//! What a tape is made of: facts once, and moments that point to them.

use cuepost_engine::judge::{Allowance, Differences, Losses, Verdict, weigh};
use cuepost_engine::voice::{Coming, Overdue};
use cuepost_engine::{Corner, Facts, Measured, ReferenceView, Thresholds};

/// Facts of a passage at some moment without the loss at the exit, which changes all the time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Known {
    /// Without the loss at the exit.
    pub facts: Facts,
    /// How they differ from the reference's.
    pub differences: Differences,
    /// What the day's pace explained.
    pub allowance: Allowance,
}

impl Known {
    /// With what follows from them.
    pub fn new(reference: &ReferenceView<'_>, facts: Facts, allowance: Allowance) -> Self {
        let index = usize::from(facts.corner).checked_sub(1);
        let corner = index.and_then(|i| reference.corners.get(i));
        Self {
            facts,
            differences: corner.map_or_else(Differences::default, |corner| {
                Differences::of(reference, corner, &facts)
            }),
            allowance,
        }
    }

    /// What the judge says.
    pub fn verdict(&self, corner: &Corner, losses: &Losses, limit: &Thresholds) -> Option<Verdict> {
        let Self {
            facts,
            differences,
            allowance,
        } = self;
        weigh(differences, losses, corner, facts, limit, *allowance)
    }
}

/// A passage that is over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Finished {
    /// All that was measured, the loss at the exit included.
    pub known: Known,
    /// What was lost.
    pub losses: Losses,
    /// When the engine knew it.
    pub time_us: u64,
}

/// One moment at which something could be said.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beat {
    /// Source time.
    pub time_us: u64,
    /// Metres from the start line.
    pub progress_m: f32,
    /// Speed, m/s.
    pub speed_mps: f32,
    /// The missing throttle, where it is.
    pub overdue: Option<Overdue>,
    /// The facts so far.
    pub known: u32,
    /// What was lost.
    pub losses: Losses,
    /// Of it at the exit.
    pub exit_s: Option<Measured>,
}

/// Moments one after the other that are open to the same, of one passage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Lap of the passage.
    pub lap: u16,
    /// Corner of the passage.
    pub corner: u8,
    /// The throttle is missing.
    pub overdue: bool,
    /// On the way out.
    pub way_out: bool,
    /// Time to speak of the corner before.
    pub opening: bool,
    /// Time to remind of the next one.
    pub coming: Option<Coming>,
    /// The first of its moments.
    pub first: usize,
    /// Behind its last moment.
    pub end: usize,
    /// Source time of its first moment.
    pub first_us: u64,
    /// Source time of its last moment.
    pub last_us: u64,
}

impl Part {
    /// Whether the moment after these belongs to them.
    pub fn opens_as(&self, next: &Self) -> bool {
        *self
            == Self {
                first: self.first,
                end: self.end,
                first_us: self.first_us,
                last_us: self.last_us,
                ..*next
            }
            && self.end == next.first
    }

    /// The first of its moments behind `after` that is not before a time, among all moments;
    /// nearly evenly spaced, so that it is found at once.
    pub fn seek(&self, beats: &[Beat], after: usize, time_us: u64) -> usize {
        if time_us > self.last_us {
            return self.end;
        }
        let before = |i: usize| beats.get(i).is_some_and(|b| b.time_us < time_us);
        let span_us = self.last_us.saturating_sub(self.first_us).max(1) as f32;
        let share = time_us.saturating_sub(self.first_us) as f32 / span_us;
        let last = self.end.saturating_sub(1);
        let guess = self.first + (share * (last - self.first) as f32) as usize;
        let mut at = guess.clamp(after + 1, last.max(after + 1));
        while at > after + 1 && !before(at - 1) {
            at -= 1;
        }
        while at < self.end && before(at) {
            at += 1;
        }
        at
    }
}

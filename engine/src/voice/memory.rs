//! What was wrong where: the last passages of each corner.

use crate::cue::{Advice, Phase};
use crate::facts::Facts;
use crate::judge::Verdict;
use crate::thresholds::{Config, Focus};
use heapless::Vec;

/// Corners remembered; a reference with more is driven without reminders beyond it.
pub const CORNERS_MAX: usize = 96;

/// The last three passages of one corner.
#[derive(Clone, Copy, Debug, Default)]
struct Kept {
    /// It was driven.
    seen: bool,
    /// Newest first.
    verdicts: [Option<(Phase, Advice)>; 3],
    /// The newest verdict whole.
    last: Option<Verdict>,
    /// Running mean of the loss, seconds.
    loss_s: f32,
}

/// What was wrong where.
#[derive(Clone, Debug, Default)]
pub struct Memory {
    corners: Vec<Kept, CORNERS_MAX>,
    /// The corner worked on, while only one is.
    focus: Option<u8>,
    /// Every corner has been seen: only then is it known which costs most.
    round: bool,
}

impl Memory {
    /// Keeps the verdict of a finished corner.
    pub fn keep(&mut self, index: usize, facts: &Facts, verdict: Option<Verdict>) {
        if !facts.usable || index >= CORNERS_MAX {
            return;
        }
        while self.corners.len() <= index {
            if self.corners.push(Kept::default()).is_err() {
                return;
            }
        }
        let Some(kept) = self.corners.get_mut(index) else {
            return;
        };
        let [first, second, _] = kept.verdicts;
        self.round |= kept.seen;
        kept.seen = true;
        kept.verdicts = [verdict.map(|v| (v.phase, v.advice)), first, second];
        kept.last = verdict;
        let lost_s = facts.loss_s().unwrap_or(0.0);
        kept.loss_s = if kept.loss_s == 0.0 {
            lost_s
        } else {
            0.5 * (kept.loss_s + lost_s)
        };
        let mended = verdict.is_none_or(|v| v.advice == Advice::Better);
        if self.focus == Some(index as u8) && mended {
            self.focus = None;
        }
        if self.focus.is_none() && self.round {
            self.focus = self.costliest();
        }
    }

    fn costliest(&self) -> Option<u8> {
        let mut best: Option<(u8, f32)> = None;
        for (index, kept) in self.corners.iter().enumerate() {
            let asked = kept.last.is_some_and(|v| v.advice != Advice::Better);
            if asked && best.is_none_or(|(_, most)| kept.loss_s > most) {
                best = Some((index as u8, kept.loss_s));
            }
        }
        best.map(|(index, _)| index)
    }

    /// Whether a corner may be spoken of.
    pub fn in_focus(&self, index: usize, config: &Config) -> bool {
        match config.focus {
            Focus::Every => true,
            Focus::One => self.round && self.focus.is_none_or(|f| usize::from(f) == index),
        }
    }

    /// The advice that two of the last three passages of a corner share, the newest among them.
    pub fn repeated(&self, index: usize) -> Option<Verdict> {
        let kept = self.corners.get(index)?;
        let [newest, second, third] = kept.verdicts;
        let newest = newest?;
        (second == Some(newest) || third == Some(newest))
            .then_some(kept.last)
            .flatten()
    }
}

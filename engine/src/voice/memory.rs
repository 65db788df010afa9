//! What was wrong where: the last passages of each corner.

use crate::cue::{Advice, Phase, Size};
use crate::facts::Facts;
use crate::judge::Verdict;
use crate::thresholds::{Config, Focus};
use heapless::Vec;

/// Corners remembered; a reference with more is driven without reminders beyond it.
pub const CORNERS_MAX: usize = 96;

/// The last three passages of one corner. There are many: nothing is kept twice.
#[derive(Clone, Copy, Debug)]
struct Kept {
    /// Newest first.
    verdicts: [Option<(Phase, Advice)>; 3],
    /// It was driven.
    seen: bool,
    /// The rest of the newest verdict; the size in seconds is no number where it has none.
    size: Size,
    size_s: f32,
    verdict_loss_s: f32,
    /// Running mean of the loss, seconds.
    loss_s: f32,
}

impl Default for Kept {
    fn default() -> Self {
        Self {
            verdicts: [None; 3],
            seen: false,
            size: Size::Metres(0.0),
            size_s: f32::NAN,
            verdict_loss_s: 0.0,
            loss_s: 0.0,
        }
    }
}

impl Kept {
    fn take(&mut self, verdict: Option<Verdict>) {
        let [first, second, _] = self.verdicts;
        self.verdicts = [verdict.map(|v| (v.phase, v.advice)), first, second];
        if let Some(verdict) = verdict {
            self.size = verdict.size;
            self.size_s = verdict.size_s.unwrap_or(f32::NAN);
            self.verdict_loss_s = verdict.loss_s;
        }
    }

    /// The newest verdict.
    fn last(&self) -> Option<Verdict> {
        let [newest, ..] = self.verdicts;
        newest.map(|(phase, advice)| Verdict {
            phase,
            advice,
            size: self.size,
            size_s: Some(self.size_s).filter(|s| !s.is_nan()),
            loss_s: self.verdict_loss_s,
        })
    }
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
        self.round |= kept.seen;
        kept.seen = true;
        kept.take(verdict);
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
            let asked =
                matches!(kept.verdicts, [Some((_, advice)), ..] if advice != Advice::Better);
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
            .then(|| kept.last())
            .flatten()
    }
}

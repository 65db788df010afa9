//! Slower everywhere in the same proportion: grip, tyres, fuel or traffic, not the driver.

use super::shown::Shown;
use crate::facts::Facts;
use crate::judge::Allowance;
use crate::reference::ReferenceView;
use heapless::Vec;

/// Corners looked at together.
const LOOK: usize = 8;
/// Fewer than this many say nothing.
const LEAST: usize = 5;
/// The newest so many are enough to hold back, when they agree closely.
const NEWEST: usize = 3;
const AGREE_CLOSELY: f32 = 0.5;
/// Slower by less than this is nobody's concern.
const SLOWER: f32 = 0.008;
/// The corners agree when their spread is less than this share of the slowness.
const AGREE: f32 = 0.8;
/// A ratio that moved by this much is told again.
const TELL_AGAIN: f32 = 0.012;

/// The last corners' times over the reference's.
#[derive(Clone, Debug, Default)]
pub struct Pace {
    ratios: Vec<f32, LOOK>,
    /// The common ratio, while there is one.
    common: Option<f32>,
    told: Option<f32>,
    /// Computed corners that a passage has shown to be possible.
    shown: Shown,
}

impl Pace {
    /// The common ratio of times, 1.02 for two percent slower everywhere; none while corners
    /// differ.
    pub fn common(&self) -> Option<f32> {
        self.common
    }

    /// Takes the facts of a finished corner; returns the ratio when it is to be told.
    pub fn take(
        &mut self,
        reference: &ReferenceView<'_>,
        index: usize,
        facts: &Facts,
    ) -> Option<f32> {
        self.shown.take(reference, index, facts);
        let lost_s = facts.loss_s()?;
        let took_s = corner_s(reference, index)?;
        let mut newer = 1.0 + lost_s / took_s.max(1.0);
        if self.ratios.push(newer).is_err() {
            // By hand: to rotate them brings 1.7 KB that move any bytes onto a board.
            for ratio in self.ratios.iter_mut().rev() {
                newer = core::mem::replace(ratio, newer);
            }
        }
        self.common = self.agreement();
        match (self.common, self.told) {
            (Some(ratio), told) if told.is_none_or(|t| (ratio - t).abs() > TELL_AGAIN) => {
                self.told = Some(ratio);
                Some(ratio)
            }
            (None, _) => {
                self.told = None;
                None
            }
            _ => None,
        }
    }

    fn agreement(&self) -> Option<f32> {
        if self.ratios.len() < LEAST {
            return None;
        }
        alike(&self.ratios, AGREE)
    }

    /// What the newest corners share, before it is enough to be told.
    fn beginning(&self) -> Option<f32> {
        let newest = self.ratios.len().checked_sub(NEWEST)?;
        alike(self.ratios.get(newest..)?, AGREE_CLOSELY)
    }

    /// True while a corner was only computed and no passage has shown it to be possible.
    pub fn unproven(&self, reference: &ReferenceView<'_>, index: usize) -> bool {
        let computed = reference.corners.get(index).is_some_and(|c| c.unproven);
        computed && !self.shown.has(index)
    }

    /// What of a corner's loss the common pace explains, and whether more may be asked of it.
    pub fn allowance(&self, reference: &ReferenceView<'_>, index: usize) -> Allowance {
        let common = self.common.or_else(|| self.beginning());
        let loss_s = match (common, corner_s(reference, index)) {
            (Some(ratio), Some(took_s)) => (ratio - 1.0) * took_s,
            _ => 0.0,
        };
        Allowance {
            loss_s,
            unproven: self.unproven(reference, index),
        }
    }
}

/// The common ratio of these, when they are slower and alike.
fn alike(ratios: &[f32], agree: f32) -> Option<f32> {
    let mut sorted: Vec<f32, LOOK> = Vec::new();
    sorted.extend_from_slice(ratios).ok()?;
    crate::math::sort_few(&mut sorted);
    let count = sorted.len();
    let (low, middle, high) = (
        sorted.get(count / 5)?,
        sorted.get(count / 2)?,
        sorted.get(count - 1 - count / 5)?,
    );
    let slower = middle - 1.0;
    (slower > SLOWER && high - low < agree * slower).then_some(*middle)
}

/// Seconds the reference took from a corner's begin to the next one's.
fn corner_s(reference: &ReferenceView<'_>, index: usize) -> Option<f32> {
    let corner = reference.corners.get(index)?;
    let next = reference
        .corners
        .get(index + 1)
        .or(reference.corners.first())?;
    let seconds = reference.time_s(next.begin_m) - reference.time_s(corner.begin_m);
    let lap_s = reference.session.lap_time_us as f32 * 1e-6;
    Some(if seconds <= 0.0 {
        seconds + lap_s
    } else {
        seconds
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn held_back(ratios: &[f32]) -> (Option<f32>, Option<f32>) {
        let mut pace = Pace::default();
        pace.ratios.extend_from_slice(ratios).expect("room");
        (pace.agreement(), pace.beginning())
    }

    /// Three corners alike hold back and are not told; one that is slower by itself does neither.
    #[test]
    fn the_newest_three_alike_hold_back_before_it_is_told() {
        let (told, held) = held_back(&[1.0, 1.001, 0.999, 1.0, 1.042, 1.04, 1.038]);
        assert_eq!((told, held), (None, Some(1.04)));
        assert_eq!(held_back(&[1.0, 1.0, 1.0, 1.042, 1.04]), (None, None));
        assert_eq!(held_back(&[1.042, 1.0, 1.038]), (None, None));
        assert_eq!(held_back(&[1.05, 1.04]), (None, None));
        let (told, held) = held_back(&[1.04, 1.041, 1.039, 1.042, 1.04]);
        assert!(told.is_some() && held.is_some());
    }
}

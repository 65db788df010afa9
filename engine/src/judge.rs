//! Holds the facts of a passage against the reference's and says the one thing to change, if any.
//!
//! A pure function: it remembers nothing, and thresholds never change facts. The first mistake of
//! a corner causes the later ones, so the chain of causes is walked from the entry to the exit;
//! where it names none, the phase in which most was lost is looked into.

mod cause;
mod deviation;
#[cfg(test)]
mod tests;

pub use deviation::{Deviation, Deviations, Difference, Differences, Losses, MISSING_SHARE};

use crate::cue::{Advice, Phase, Size};
use crate::facts::Facts;
use crate::reference::{Corner, CornerKind, ReferenceView};
use crate::thresholds::Thresholds;
use serde::{Deserialize, Serialize};

/// The one thing to change in a corner.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Verdict {
    /// The phase it is about.
    pub phase: Phase,
    /// What to change.
    pub advice: Advice,
    /// How much.
    pub size: Size,
    /// The size as seconds of driving, where it can be stated so.
    pub size_s: Option<f32>,
    /// What the corner and the straight after it lost, seconds; negative when faster.
    pub loss_s: f32,
}

/// What the day so far explains and allows: see [`crate::voice::Pace`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Allowance {
    /// Seconds of this corner's loss that the whole lap shares and nobody is to blame for.
    pub loss_s: f32,
    /// True while the corner was only computed and no passage has shown it to be possible: then
    /// nothing is told that asks for more than was driven.
    pub unproven: bool,
}

/// The one thing to tell about a passage, or nothing.
///
/// `reference` is asked for distances around the closed lap only; the facts compared with are
/// those of `corner`.
pub fn judge(
    reference: &ReferenceView<'_>,
    corner: &Corner,
    facts: &Facts,
    thresholds: &Thresholds,
    allowance: Allowance,
) -> Option<Verdict> {
    if !facts.usable {
        return None;
    }
    let found = Differences::of(reference, corner, facts);
    let losses = Losses::of(facts);
    weigh(&found, &losses, corner, facts, thresholds, allowance)
}

/// As [`judge`], for whoever has kept the differences of the passage. Of `facts` neither the
/// losses nor what the differences are made of are looked at.
pub fn weigh(
    differences: &Differences,
    losses: &Losses,
    corner: &Corner,
    facts: &Facts,
    thresholds: &Thresholds,
    allowance: Allowance,
) -> Option<Verdict> {
    if !facts.usable {
        return None;
    }
    let whole_s = losses.whole_s?;
    // What the whole lap shares is nobody's fault, and not making up for it is no gain.
    let loss_s = whole_s - allowance.loss_s.max(0.0);
    let loss_sd_s = losses.sd_s;
    let verdict = |(phase, advice, size): (Phase, Advice, Size)| Verdict {
        phase,
        advice,
        size,
        size_s: seconds(size, phase, facts),
        loss_s,
    };
    if whole_s <= -thresholds.better_s && whole_s <= -2.0 * loss_sd_s {
        return Some(verdict((
            Phase::Straight,
            Advice::Better,
            Size::Seconds(-whole_s),
        )));
    }
    if loss_s < thresholds.loss_s || loss_s < 2.0 * loss_sd_s {
        return None;
    }
    let found = differences.against(losses, thresholds);
    let told = match corner.kind {
        CornerKind::Braked => cause::braked(&found, thresholds),
        CornerKind::Lifted | CornerKind::Flat => cause::lifted(&found),
    };
    told.filter(|(phase, advice, _)| !allowance.unproven || !advice.asks_for_more(*phase))
        .map(verdict)
}

/// Metres as seconds at the speed they were driven at.
fn seconds(size: Size, phase: Phase, facts: &Facts) -> Option<f32> {
    match size {
        Size::Seconds(s) => Some(s),
        Size::Metres(m) => {
            let speed_mps = match phase {
                Phase::Brake | Phase::Straight => facts.brake_mps?.value,
                Phase::Trail | Phase::Rotation => facts.slowest_mps?.value,
                Phase::Throttle => facts.slowest_mps.or(facts.exit_mps)?.value,
            };
            (speed_mps > 1.0).then(|| m / speed_mps)
        }
        Size::Speed(_) | Size::Deceleration(_) => None,
    }
}

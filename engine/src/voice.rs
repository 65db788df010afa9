//! Says the right thing at the right moment, or nothing.
//!
//! `now`: throttle overdue. `after`: once throttle is settled. `ahead`: before the same corner,
//! when it was the same thing in two of the last three passages. Quiet from 2 s before the brake
//! onset to settled throttle, except `now`. One cue a corner; what comes too late is dropped.

mod memory;
mod pace;

pub use memory::CORNERS_MAX;
pub use pace::Pace;

use crate::cue::{Advice, Cue, Phase, Size, Told};
use crate::facts::{Facts, Passage};
use crate::judge::{self, Verdict};
use crate::motion::Moment;
use crate::phase::Doing;
use crate::reference::{Corner, CornerKind, ReferenceView};
use crate::thresholds::Config;
use memory::Memory;

/// A cue stands for at least this long, seconds.
pub const ON_S: f32 = 1.5;
/// Quiet begins this long before the brake onset, seconds.
pub const QUIET_S: f32 = 2.0;
/// `ahead` is told this long before the brake onset at the earliest, seconds.
const AHEAD_EARLIEST_S: f32 = 6.0;
/// And so long before, so that it has stood when quiet begins, seconds.
const AHEAD_LATEST_S: f32 = QUIET_S + ON_S;
/// Throttle must have been held this long before `after`, seconds.
const AFTER_HELD_S: f32 = 0.35;
/// Full throttle is waited for this long after its first touch, seconds.
const FULL_WAIT_S: f32 = 3.0;
/// An advice without a moment to be told is stale this long after its corner, seconds.
const LATE_S: f32 = 6.0;
/// A corner with nothing to tell is looked at again after this long, seconds.
const LOOK_AGAIN_S: f32 = 1.0;
/// Above the reference by this much, throttle is not overdue, m/s.
const FASTER_MPS: f32 = 0.3;

/// The memory of the voice stage.
#[derive(Clone, Debug, Default)]
pub struct Voice {
    memory: Memory,
    pace: Pace,
    /// Until when the last cue stands.
    busy_until_us: u64,
    /// What was told in the passage before.
    told_before: Option<(u16, u8)>,
    /// An advice that had no moment yet.
    late: Option<Late>,
    /// When a corner without anything to tell is looked at again.
    look_again_us: u64,
    /// What was told in the passage under way.
    told: Option<(u16, u8)>,
    /// What was told ahead of a corner, for its next passage.
    reminded: Option<(u8, Phase, Advice)>,
}

/// An advice for a corner left behind, while it is not stale.
#[derive(Clone, Copy, Debug)]
struct Late {
    verdict: Verdict,
    lap: u16,
    corner: u8,
    until_us: u64,
}

/// Everything the voice looks at in one moment.
pub struct View<'a> {
    /// The reference.
    pub reference: &'a ReferenceView<'a>,
    /// The moment.
    pub now: &'a Moment,
    /// The passage under way.
    pub passage: &'a Passage,
    /// What the driver does.
    pub doing: Doing,
}

impl Voice {
    /// The pace stage, for its event.
    pub fn pace(&self) -> &Pace {
        &self.pace
    }

    /// Forgets what stands and what was told; keeps what is to be reminded of.
    pub fn hush(&mut self) {
        self.told = None;
        self.told_before = None;
        self.late = None;
        self.reminded = None;
    }

    /// Takes the final facts of a corner into the memory; returns a change of pace to tell.
    pub fn remember(
        &mut self,
        reference: &ReferenceView<'_>,
        config: &Config,
        facts: &Facts,
        time_us: u64,
    ) -> Option<f32> {
        let index = usize::from(facts.corner).checked_sub(1)?;
        let corner = reference.corners.get(index)?;
        let paced = if facts.usable {
            self.pace.take(reference, index, facts)
        } else {
            None
        };
        let allowance = self.pace.allowance(reference, index);
        let verdict = judge::judge(reference, corner, facts, config.at(facts.corner), allowance);
        self.memory.keep(index, facts, verdict);
        let told = self.told == Some((facts.lap, facts.corner))
            || self.told_before == Some((facts.lap, facts.corner));
        if let (false, Some(verdict)) = (told, verdict) {
            let until_us = time_us.saturating_add((LATE_S * 1e6) as u64);
            self.late = Some(Late {
                verdict,
                lap: facts.lap,
                corner: facts.corner,
                until_us,
            });
        }
        paced
    }

    /// The cue due at this moment, if any.
    pub fn speak(&mut self, view: &View<'_>, config: &Config) -> Option<Cue> {
        let corner = view.reference.corners.get(view.passage.index())?;
        let free = view.now.time_us >= self.busy_until_us;
        let cue = if free {
            self.overdue(view, corner, config)
        } else {
            None
        };
        let cue = cue.or_else(|| {
            if free {
                self.after(view, corner, config)
            } else {
                None
            }
        });
        let cue = cue.or_else(|| if free { self.late(view, config) } else { None });
        let cue = cue.or_else(|| if free { self.ahead(view, config) } else { None })?;
        self.busy_until_us = view.now.time_us.saturating_add((ON_S * 1e6) as u64);
        Some(cue)
    }

    fn note_told(&mut self, passage: &Passage) {
        self.told_before = self.told;
        self.told = Some((passage.lap(), passage.corner()));
    }

    fn told_here(&self, passage: &Passage) -> bool {
        self.told
            .is_some_and(|told| told == (passage.lap(), passage.corner()))
    }

    /// Throttle overdue: the reference was back on it a threshold ago, and nothing earlier in the
    /// corner explains why this driver is not.
    fn overdue(&mut self, view: &View<'_>, corner: &Corner, config: &Config) -> Option<Cue> {
        if corner.kind != CornerKind::Braked
            || self.told_here(view.passage)
            || !view.passage.usable()
        {
            return None;
        }
        let limit = config.at(view.passage.corner());
        let due = corner.facts.throttle_m?;
        let late_m = view.reference.ahead_m(due.value, view.now.progress_m);
        let on = view.doing.driving || view.passage.throttle().is_some() || view.now.drive > 0.25;
        let past = late_m > limit.throttle_m + 2.0 * due.sd && late_m < 10.0 * limit.throttle_m;
        if on || !past || view.passage.brake().is_none() {
            return None;
        }
        if !self.memory.in_focus(view.passage.index(), config) {
            return None;
        }
        // Faster than the reference here, or slow for another reason: not the throttle.
        let ahead_mps = view.now.speed_mps - view.reference.speed_mps(view.now.progress_m);
        let found = judge::Deviations::of(
            view.reference,
            corner,
            &view.passage.so_far(view.reference, view.now),
            limit,
        );
        // Tighter than the reference: the road left over is why the throttle waits.
        let inside_m = f32::from(corner.turn) * view.now.offset_m;
        let elsewhere = found.brake_m.counts
            || found.slowed_mps.counts
            || found.apex_out_m.more()
            || inside_m > limit.offset_m
            || found.loss_entry_s + found.loss_middle_s < 0.0;
        if ahead_mps > -FASTER_MPS || elsewhere {
            return None;
        }
        self.note_told(view.passage);
        Some(cue(
            view,
            Verdict {
                phase: Phase::Throttle,
                advice: Advice::Sooner,
                size: Size::Metres(late_m),
                size_s: Some(late_m / view.now.speed_mps.max(1.0)),
                loss_s: found.loss_entry_s + found.loss_middle_s,
            },
            Told::Now,
            view.passage.corner(),
            view.passage.lap(),
        ))
    }

    /// The corner's advice, once throttle is settled and while there is time before the next.
    fn after(&mut self, view: &View<'_>, corner: &Corner, config: &Config) -> Option<Cue> {
        if self.told_here(view.passage) || !view.passage.usable() {
            return None;
        }
        let passage = view.passage;
        let settled = match passage.throttle() {
            Some(at) => {
                let held_s = view.now.time_us.saturating_sub(at.time_us) as f32 * 1e-6;
                view.doing.settled && held_s > AFTER_HELD_S
            }
            // A corner taken without slowing has nothing to settle.
            None => passage.brake().is_none() && view.now.drive > 0.5,
        };
        let out = passage.into_m() >= passage.spans().exit_m
            || (passage.full() && passage.into_m() >= passage.spans().middle_end_m);
        let left_s = self.next_brake_s(view)?;
        if !settled || !out || left_s < QUIET_S {
            return None;
        }
        // How soon full throttle comes belongs to the picture, while there is time to wait for it.
        let since_s = passage.throttle().map_or(f32::MAX, |at| {
            view.now.time_us.saturating_sub(at.time_us) as f32 * 1e-6
        });
        if !passage.full() && since_s < FULL_WAIT_S && left_s > QUIET_S + 1.0 {
            return None;
        }
        let allowance = self.pace.allowance(view.reference, passage.index());
        let limit = config.at(passage.corner());
        // Nothing to tell yet may become something: a lift on the straight, a loss that grows.
        if view.now.time_us < self.look_again_us {
            return None;
        }
        self.look_again_us = view.now.time_us.saturating_add((LOOK_AGAIN_S * 1e6) as u64);
        let facts = passage.so_far(view.reference, view.now);
        let verdict = judge::judge(view.reference, corner, &facts, limit, allowance)?;
        self.note_told(passage);
        let reminded = self.reminded == Some((passage.corner(), verdict.phase, verdict.advice));
        if reminded || !self.memory.in_focus(passage.index(), config) {
            return None;
        }
        Some(cue(
            view,
            verdict,
            Told::After,
            passage.corner(),
            passage.lap(),
        ))
    }

    /// The advice for a corner that ran into the next one without a moment to speak: a chicane's
    /// first half, told on the way out of the second.
    fn late(&mut self, view: &View<'_>, config: &Config) -> Option<Cue> {
        let late = self.late?;
        if view.now.time_us > late.until_us || late.verdict.advice == Advice::Better {
            self.late = None;
            return None;
        }
        let passage = view.passage;
        let settled = view.doing.settled || (passage.brake().is_none() && view.now.drive > 0.5);
        let out = passage.into_m() >= passage.spans().middle_end_m
            || passage.into_m() < passage.spans().turn_m;
        if !settled || !out || self.told_here(passage) || self.next_brake_s(view)? < QUIET_S {
            return None;
        }
        let index = usize::from(late.corner).checked_sub(1)?;
        let reminded =
            self.reminded == Some((late.corner, late.verdict.phase, late.verdict.advice));
        self.late = None;
        if reminded || !self.memory.in_focus(index, config) {
            return None;
        }
        self.note_told(passage);
        Some(cue(view, late.verdict, Told::After, late.corner, late.lap))
    }

    /// A reminder before a corner in which it was the same thing in two of the last three laps.
    fn ahead(&mut self, view: &View<'_>, config: &Config) -> Option<Cue> {
        let passage = view.passage;
        let settled = view.doing.settled || (passage.brake().is_none() && view.now.drive > 0.5);
        if !settled || view.doing.braking {
            return None;
        }
        let count = view.reference.corners.len();
        let next = if passage.index() + 1 < count {
            passage.index() + 1
        } else {
            0
        };
        let number = (next as u8).saturating_add(1);
        let time_s = self.next_brake_s(view)?;
        if !(AHEAD_LATEST_S..AHEAD_EARLIEST_S).contains(&time_s)
            || self.reminded.is_some_and(|r| r.0 == number)
        {
            return None;
        }
        let verdict = self.memory.repeated(next)?;
        if verdict.advice == Advice::Better || !self.memory.in_focus(next, config) {
            return None;
        }
        self.reminded = Some((number, verdict.phase, verdict.advice));
        let corner = view.reference.corners.get(next)?;
        let over_the_line = corner.apex_m < view.now.progress_m;
        let lap = view.now.lap.saturating_add(u16::from(over_the_line));
        Some(cue(view, verdict, Told::Ahead, number, lap))
    }

    /// Seconds until the next corner's reference brake onset at the present speed.
    fn next_brake_s(&self, view: &View<'_>) -> Option<f32> {
        let count = view.reference.corners.len();
        let mut index = view.passage.index();
        for _ in 0..count.min(CORNERS_MAX) {
            index = if index + 1 < count { index + 1 } else { 0 };
            let corner = view.reference.corners.get(index)?;
            // Flat corners need no quiet.
            if corner.kind == CornerKind::Flat {
                continue;
            }
            let at_m = corner.facts.brake_m.map_or(corner.turn_m, |b| b.value);
            let ahead_m = view.reference.wrap_m(at_m - view.now.progress_m);
            let mean_mps = 0.5 * (view.now.speed_mps + view.reference.speed_mps(at_m));
            return Some(ahead_m / mean_mps.max(3.0));
        }
        Some(f32::MAX)
    }
}

fn cue(view: &View<'_>, verdict: Verdict, told: Told, corner: u8, lap: u16) -> Cue {
    Cue {
        lap,
        corner,
        phase: verdict.phase,
        advice: verdict.advice,
        told,
        size: verdict.size,
        size_s: verdict.size_s,
        loss_s: Some(verdict.loss_s),
        time_us: view.now.time_us,
        progress_m: view.now.progress_m,
    }
}

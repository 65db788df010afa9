//! Says the right thing at the right moment, or nothing.
//!
//! `now`: throttle overdue. `after`: once throttle is settled. `ahead`: before the same corner,
//! when it was the same thing in two of the last three passages. Quiet from 2 s before the brake
//! onset to settled throttle, except `now`. One cue of a passage; what comes too late is dropped.

mod memory;
#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod pace;
#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod scene;
mod shown;
#[cfg(test)]
mod tests;

pub use memory::CORNERS_MAX;
pub use pace::Pace;
pub use scene::{Coming, ON_S, Overdue, QUIET_S, Scene, View, Watch};

use crate::cue::{Advice, Cue, Phase, Size, Told};
use crate::facts::Facts;
use crate::judge::{self, Verdict};
use crate::reference::ReferenceView;
use crate::thresholds::Config;
use memory::Memory;

/// An advice without a moment to be told is stale this long after its corner, seconds.
const LATE_S: f32 = 12.0;
/// A corner with nothing to tell is looked at again after this long, seconds.
const LOOK_AGAIN_S: f32 = 0.4;

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
    /// What was told ahead of the last two corners reminded of, the newest first: the next one may
    /// come up before there was a moment to speak of the one under way.
    reminded: [Option<Reminded>; 2],
}

/// What was told ahead of a passage.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Reminded {
    lap: u16,
    corner: u8,
    said: (Phase, Advice),
}

/// An advice for a corner left behind, while it is not stale.
#[derive(Clone, Copy, Debug)]
struct Late {
    verdict: Verdict,
    lap: u16,
    corner: u8,
    until_us: u64,
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
        self.reminded = [None; 2];
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
        self.keep(facts, verdict, time_us);
        paced
    }

    /// Takes the verdict of a finished corner into the memory.
    pub fn keep(&mut self, facts: &Facts, verdict: Option<Verdict>, time_us: u64) {
        let Some(index) = usize::from(facts.corner).checked_sub(1) else {
            return;
        };
        self.memory.keep(index, facts, verdict);
        let told = self.told == Some((facts.lap, facts.corner))
            || self.told_before == Some((facts.lap, facts.corner));
        // Of two that wait, the costlier one.
        let costlier = |v: &Verdict| {
            self.late
                .is_none_or(|late| late.until_us < time_us || late.verdict.loss_s < v.loss_s)
        };
        if let (false, Some(verdict)) = (told, verdict.filter(costlier)) {
            let until_us = time_us.saturating_add((LATE_S * 1e6) as u64);
            self.late = Some(Late {
                verdict,
                lap: facts.lap,
                corner: facts.corner,
                until_us,
            });
        }
    }

    /// The cue due at this moment, if any.
    #[inline(never)]
    pub fn speak(&mut self, scene: &impl Scene, config: &Config) -> Option<Cue> {
        if scene.time_us() < self.busy_until_us {
            return None;
        }
        let cue = self.overdue(scene, config);
        let cue = cue.or_else(|| self.late(scene, config));
        let cue = cue.or_else(|| self.after(scene, config));
        let cue = cue.or_else(|| self.ahead(scene, config))?;
        self.busy_until_us = scene.time_us().saturating_add((ON_S * 1e6) as u64);
        Some(cue)
    }

    /// Whether there could be anything to say while the scene opens to no more than now and no
    /// corner is finished: without it, [`Voice::speak`] need not be asked.
    pub fn awaits(&self, scene: &impl Scene) -> bool {
        let here = !self.told_here(scene) && (scene.way_out() || scene.overdue().is_some());
        here || (self.late.is_some() && scene.opening())
            || scene.coming().is_some_and(|next| {
                let index = usize::from(next.corner).saturating_sub(1);
                !self.reminded_of(next) && self.memory.repeated(index).is_some()
            })
    }

    /// Until when [`Voice::speak`] would stay silent if the scene opened to nothing else than now
    /// and no corner were finished; to be asked after it was.
    pub fn rests_until_us(&self, scene: &impl Scene) -> u64 {
        let now_us = scene.time_us();
        if now_us < self.busy_until_us {
            return self.busy_until_us;
        }
        if self.told_here(scene) {
            return u64::MAX;
        }
        if scene.overdue().is_some() {
            return now_us;
        }
        if scene.way_out() {
            return self.look_again_us.max(now_us);
        }
        u64::MAX
    }

    /// Whether a reminder for a passage was given.
    fn reminded_of(&self, next: Coming) -> bool {
        let own = |r: &Reminded| (r.lap, r.corner) == (next.lap, next.corner);
        self.reminded.iter().flatten().any(own)
    }

    /// Whether the reminder for a passage said the same.
    fn has_reminded(&self, lap: u16, corner: u8, verdict: Verdict) -> bool {
        let said = Reminded {
            lap,
            corner,
            said: (verdict.phase, verdict.advice),
        };
        self.reminded.contains(&Some(said))
    }

    fn note_told(&mut self, scene: &impl Scene) {
        self.told_before = self.told;
        self.told = Some((scene.lap(), scene.corner()));
    }

    fn told_here(&self, scene: &impl Scene) -> bool {
        self.told == Some((scene.lap(), scene.corner()))
    }

    /// Throttle overdue: the reference was back on it a threshold ago, and nothing earlier in the
    /// corner explains why this driver is not.
    fn overdue(&mut self, scene: &impl Scene, config: &Config) -> Option<Cue> {
        if self.told_here(scene) {
            return None;
        }
        let due = scene.overdue()?;
        let limit = config.at(scene.corner());
        let late_m = due.late_m;
        let past = late_m > limit.throttle_m + due.spread_m && late_m < 4.0 * limit.throttle_m;
        if !past || !self.memory.in_focus(index(scene), config) {
            return None;
        }
        let found = scene.deviations(limit)?;
        // Slow for another reason, or tighter than the reference: the road left over is why the
        // throttle waits.
        let elsewhere = found.brake_m.counts
            || found.slowed_mps.counts
            || found.apex_out_m.more()
            || due.inside_m > limit.offset_m
            || due.tighter
            || found.loss_entry_s + found.loss_middle_s < 0.0;
        if elsewhere {
            return None;
        }
        self.note_told(scene);
        Some(cue(
            scene,
            Verdict {
                phase: Phase::Throttle,
                advice: Advice::Sooner,
                size: Size::Metres(late_m),
                size_s: Some(late_m / scene.speed_mps().max(1.0)),
                loss_s: found.loss_entry_s + found.loss_middle_s,
            },
            Told::Now,
            scene.corner(),
            scene.lap(),
        ))
    }

    /// The corner's advice, once throttle is settled and while there is time before the next.
    fn after(&mut self, scene: &impl Scene, config: &Config) -> Option<Cue> {
        // Nothing to tell yet may become something: a lift on the straight, a loss that grows.
        if self.told_here(scene) || scene.time_us() < self.look_again_us || !scene.way_out() {
            return None;
        }
        self.look_again_us = scene.time_us().saturating_add((LOOK_AGAIN_S * 1e6) as u64);
        let verdict = scene.verdict(config.at(scene.corner()), &self.pace)?;
        self.note_told(scene);
        let reminded = self.has_reminded(scene.lap(), scene.corner(), verdict);
        if reminded || !self.memory.in_focus(index(scene), config) {
            return None;
        }
        Some(cue(
            scene,
            verdict,
            Told::After,
            scene.corner(),
            scene.lap(),
        ))
    }

    /// The advice for a corner that ran into the next one without a moment to speak: a chicane's
    /// first half, told on the way out of the second.
    fn late(&mut self, scene: &impl Scene, config: &Config) -> Option<Cue> {
        let late = self.late?;
        if scene.time_us() > late.until_us || late.verdict.advice == Advice::Better {
            self.late = None;
            return None;
        }
        if !scene.opening() {
            return None;
        }
        let index = usize::from(late.corner).checked_sub(1)?;
        let reminded = self.has_reminded(late.lap, late.corner, late.verdict);
        self.late = None;
        if reminded || !self.memory.in_focus(index, config) {
            return None;
        }
        // The corner under way keeps its own.
        Some(cue(scene, late.verdict, Told::After, late.corner, late.lap))
    }

    /// A reminder before a corner in which it was the same thing in two of the last three laps.
    fn ahead(&mut self, scene: &impl Scene, config: &Config) -> Option<Cue> {
        let next = scene.coming()?;
        if self.reminded_of(next) {
            return None;
        }
        let index = usize::from(next.corner).checked_sub(1)?;
        let verdict = self.memory.repeated(index)?;
        if verdict.advice == Advice::Better || !self.memory.in_focus(index, config) {
            return None;
        }
        let reminded = Reminded {
            lap: next.lap,
            corner: next.corner,
            said: (verdict.phase, verdict.advice),
        };
        let [last, _] = self.reminded;
        self.reminded = [Some(reminded), last];
        Some(cue(scene, verdict, Told::Ahead, next.corner, next.lap))
    }
}

fn index(scene: &impl Scene) -> usize {
    usize::from(scene.corner()).saturating_sub(1)
}

fn cue(scene: &impl Scene, verdict: Verdict, told: Told, corner: u8, lap: u16) -> Cue {
    Cue {
        lap,
        corner,
        phase: verdict.phase,
        advice: verdict.advice,
        told,
        size: verdict.size,
        size_s: verdict.size_s,
        loss_s: Some(verdict.loss_s),
        time_us: scene.time_us(),
        progress_m: scene.progress_m(),
    }
}

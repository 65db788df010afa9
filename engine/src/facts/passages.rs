//! Follows the car from corner to corner: one passage under way, the one before being finished.

#[cfg(test)]
mod tests;

use super::{Facts, Passage};
use crate::cue::Phase;
use crate::event::PhaseEvent;
use crate::math::since_s;
use crate::motion::Moment;
use crate::onset::Instant;
use crate::phase::Change;
use crate::progress::Vague;
use crate::reference::{CornerKind, ReferenceView};
use crate::trace::Trace;

/// Changes may be dated back by up to this much, so long a passage left behind waits for them.
const WAIT_S: f32 = 0.9;
/// A passage left behind before any throttle waits this long for it: where corners follow at
/// once, the next one begins before a late driver is back on it.
const OWED_S: f32 = 4.0;
/// A braking that began this little before a corner is the corner's, metres.
const EARLY_M: f32 = 40.0;
/// Farther than this behind the corner's begin is another corner, not noise, metres.
const NEAR_M: f32 = 20.0;

/// The passage under way and the one just left.
#[derive(Clone, Debug, Default)]
pub struct Passages {
    current: Option<Passage>,
    left: Option<Passage>,
    /// When it was left.
    left_us: u64,
    /// Off the throttle since, while it lasts.
    lifted: Option<Instant>,
    /// Off the brake and not yet on the throttle.
    coasting: bool,
    /// Braked for the corner that begins just ahead.
    braked: Option<Instant>,
}

impl Passages {
    /// The passage under way.
    pub fn current(&self) -> Option<&Passage> {
        self.current.as_ref()
    }

    /// Marks what is under way as not to be judged.
    pub fn spoil(&mut self) {
        // Nor does a braking ahead of a corner outlive a leap or a turn round.
        self.braked = None;
        if let Some(passage) = &mut self.current {
            passage.spoil();
        }
        if let Some(passage) = &mut self.left {
            passage.spoil();
        }
    }

    /// Drops what is under way: the place is not known any more.
    pub fn drop_all(&mut self) {
        *self = Self::default();
    }

    /// Takes the next moment and returns the facts of a passage that is finished by it.
    #[inline(never)]
    pub fn advance(
        &mut self,
        reference: &ReferenceView<'_>,
        trace: &Trace,
        now: &Moment,
        vague: &Vague,
    ) -> Option<Facts> {
        let mut finished = None;
        if self.left.is_some() {
            let wait_s = if self.throttle_owed() || self.lifting_on() {
                OWED_S
            } else {
                WAIT_S
            };
            if since_s(self.left_us, now.time_us) > wait_s {
                finished = self.finish(reference);
            }
        }
        let mut inside = false;
        if let Some(passage) = &mut self.current {
            let into_m = passage.ahead_of_begin_m(reference, now.progress_m);
            inside =
                into_m < passage.spans().end_m || near_begin(passage, reference, now.progress_m);
            passage.advance(reference, trace, now, into_m, vague);
        }
        if !inside && let Some(index) = corner_at(reference, now.progress_m) {
            if self.current.is_some() {
                finished = finished.or_else(|| self.finish(reference));
                core::mem::swap(&mut self.current, &mut self.left);
                self.left_us = now.time_us;
            }
            self.enter(reference, index, now);
        }
        self.follow_on(reference, now);
        finished
    }

    /// The road to a corner's braking is the one's before: a lift on it is followed there until the
    /// corner is braked for.
    #[inline(never)]
    fn follow_on(&mut self, reference: &ReferenceView<'_>, now: &Moment) {
        let (Some(left), Some(passage)) = (&mut self.left, &mut self.current) else {
            return;
        };
        if passage.brake().is_none() && left.follow_on(reference, passage, now) {
            passage.come_on(reference, now);
            left.hand_over(passage);
        }
    }

    /// A lift of the passage left behind is not over, and nothing is braked for yet.
    fn lifting_on(&self) -> bool {
        self.left.as_ref().is_some_and(Passage::lifting)
            && self.current.as_ref().is_some_and(|p| p.brake().is_none())
    }

    /// A corner begins. A call of its own, so that no more than one passage is ever on the stack.
    #[inline(never)]
    fn enter(&mut self, reference: &ReferenceView<'_>, index: usize, now: &Moment) {
        self.current = Passage::begin(reference, index, now);
        let (Some(passage), Some(corner)) = (&mut self.current, reference.corners.get(index))
        else {
            return;
        };
        passage.come_to(reference, now.progress_m, now.speed_mps);
        // A lift for this corner that began on the road before it.
        if let Some(at) = self.lifted {
            passage.lift_before(reference, corner, at);
        }
        if self.coasting {
            passage.coast_into();
        }
        if let Some(at) = self.braked.take() {
            passage.brake_before(reference, at);
        }
        if let Some(before) = &mut self.left {
            passage.take_lift_of(reference, before);
            before.hand_over(passage);
        }
    }

    /// The facts of the passage left behind, without waiting any longer.
    #[inline(never)]
    pub fn finish(&mut self, reference: &ReferenceView<'_>) -> Option<Facts> {
        let facts = self.left.as_ref()?.complete(reference);
        self.left = None;
        Some(facts)
    }

    /// Gives a change to the passage it lies in and returns it as an event when it is news.
    pub fn take(&mut self, reference: &ReferenceView<'_>, change: &Change) -> Option<PhaseEvent> {
        let at = instant(change);
        self.lifted = match change {
            Change::LiftOff(at) => Some(*at),
            Change::TurnIn(_) | Change::Full(_) | Change::Release(_) | Change::Touch(_) => {
                self.lifted
            }
            Change::Brake(_) | Change::Throttle(_) | Change::DriveAgain(..) => None,
        };
        self.coasting = match change {
            Change::Release(_) => true,
            Change::Brake(_) | Change::Throttle(_) | Change::DriveAgain(..) => false,
            _ => self.coasting,
        };
        if let (Change::Brake(at), Some(event)) = (change, self.braked_ahead(reference, change)) {
            self.braked = Some(*at);
            return Some(event);
        }
        if let (Change::Brake(at), Some(event)) = (change, self.braked_behind(reference, change)) {
            if let Some(passage) = &mut self.current {
                passage.brake_before(reference, *at);
                if let Some(before) = &mut self.left {
                    before.hand_over(passage);
                }
            }
            return Some(event);
        }
        let (passage, into_m) = self.owner(reference, change)?;
        let corner = reference.corners.get(passage.index())?;
        let braking = passage.brake().is_some() && passage.throttle().is_none();
        let news = passage.take(reference, corner, into_m, change);
        let phase = phase_of(change, braking)?;
        news.then_some(PhaseEvent {
            lap: passage.lap(),
            corner: passage.corner(),
            phase,
            time_us: at.time_us,
            progress_m: at.progress_m,
        })
    }

    /// A braking just before the next corner, once on the throttle out of this one, is the next
    /// one's: a driver too soon on the brake in the second half of a chicane.
    #[inline(never)]
    fn braked_ahead(&self, reference: &ReferenceView<'_>, change: &Change) -> Option<PhaseEvent> {
        let (at, passage) = (instant(change), self.current.as_ref()?);
        let into_m = passage.within(reference, at.progress_m)?;
        let out = passage.is_out(into_m);
        if !out || passage.spans().end_m - into_m > EARLY_M {
            return None;
        }
        let index = passage.index().saturating_add(1);
        let over = index >= reference.corners.len();
        let corner = reference.corners.get(if over { 0 } else { index })?;
        (corner.kind == CornerKind::Braked).then_some(PhaseEvent {
            lap: passage.lap().saturating_add(u16::from(over)),
            corner: if over {
                1
            } else {
                (index as u8).saturating_add(1)
            },
            phase: Phase::Brake,
            time_us: at.time_us,
            progress_m: at.progress_m,
        })
    }

    /// The same when the next corner has begun meanwhile.
    #[inline(never)]
    fn braked_behind(&self, reference: &ReferenceView<'_>, change: &Change) -> Option<PhaseEvent> {
        let (at, before, passage) = (instant(change), self.left.as_ref()?, self.current.as_ref()?);
        let into_m = before.within(reference, at.progress_m)?;
        let out = before.is_out(into_m);
        let own = passage.brake().is_none()
            && passage.ahead_m(reference, at.progress_m) < EARLY_M
            && reference.corners.get(passage.index())?.kind == CornerKind::Braked;
        (out && own).then_some(PhaseEvent {
            lap: passage.lap(),
            corner: passage.corner(),
            phase: Phase::Brake,
            time_us: at.time_us,
            progress_m: at.progress_m,
        })
    }

    /// The passage left behind has been braked and waits for its throttle, and nothing has
    /// happened in the one under way.
    fn throttle_owed(&self) -> bool {
        let owed = |p: &Passage| p.brake().is_some() && p.throttle().is_none();
        self.left.as_ref().is_some_and(owed)
            && self.current.as_ref().is_some_and(Passage::untouched)
    }

    /// The passage a change belongs to, and metres from its begin.
    fn owner(
        &mut self,
        reference: &ReferenceView<'_>,
        change: &Change,
    ) -> Option<(&mut Passage, f32)> {
        let at_m = instant(change).progress_m;
        let owed = matches!(change, Change::Throttle(_) | Change::Touch(_)) && self.throttle_owed();
        let left = self.left.as_mut();
        let left_m = left.as_ref().and_then(|p| p.within(reference, at_m));
        let current_m = self
            .current
            .as_ref()
            .and_then(|p| p.within(reference, at_m));
        if let Some(passage) = left
            && (owed || left_m.is_some())
        {
            return Some((passage, left_m.unwrap_or(f32::MAX)));
        }
        let passage = self.current.as_mut()?;
        let early = matches!(change, Change::Brake(_))
            && passage.brake().is_none()
            && passage.ahead_m(reference, at_m) < EARLY_M;
        let into_m = current_m.or(early.then_some(0.0))?;
        Some((passage, into_m))
    }
}

/// Just behind the begin again, by the noise of the position.
fn near_begin(passage: &Passage, reference: &ReferenceView<'_>, progress_m: f32) -> bool {
    let Some(corner) = reference.corners.get(passage.index()) else {
        return false;
    };
    let ahead_m = reference.ahead_m(progress_m, corner.begin_m);
    (0.0..NEAR_M).contains(&ahead_m)
}

/// The corner that owns a progress: the one whose begin was met last.
pub fn corner_at(reference: &ReferenceView<'_>, progress_m: f32) -> Option<usize> {
    let mut best: Option<(usize, f32)> = None;
    for (index, corner) in reference.corners.iter().enumerate() {
        let since_m = reference.wrap_m(progress_m - corner.begin_m);
        if best.is_none_or(|(_, least)| since_m < least) {
            best = Some((index, since_m));
        }
    }
    best.map(|(index, _)| index)
}

/// Where and when a change was.
fn instant(change: &Change) -> &Instant {
    match change {
        Change::Brake(at)
        | Change::Release(at)
        | Change::TurnIn(at)
        | Change::Throttle(at)
        | Change::Full(at)
        | Change::Touch(at)
        | Change::LiftOff(at)
        | Change::DriveAgain(at, _) => at,
    }
}

fn phase_of(change: &Change, braking: bool) -> Option<Phase> {
    match change {
        Change::Brake(_) | Change::LiftOff(_) => Some(Phase::Brake),
        Change::Release(_) => Some(Phase::Rotation),
        Change::TurnIn(_) if braking => Some(Phase::Trail),
        Change::TurnIn(_) | Change::Touch(_) => None,
        Change::Throttle(_) | Change::DriveAgain(..) => Some(Phase::Throttle),
        Change::Full(_) => Some(Phase::Straight),
    }
}

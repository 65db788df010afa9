//! What a change of phase means for the passage it lies in.

use super::{HELD_UP, Passage, measured};
use crate::facts::Measured;
use crate::facts::behind::lacking;
use crate::facts::spans::{RunIn, reference_s};
use crate::motion::Moment;
use crate::onset::Instant;
use crate::phase::Change;
use crate::reference::{Corner, CornerKind, ReferenceView};

/// A turn-in earlier than this before the bend is not its own, metres.
const TURN_IN_EARLY_M: f32 = 120.0;
/// Who brakes nearer to the next corner's begin than this brakes for it, metres.
const NEXT_M: f32 = 40.0;

impl Passage {
    /// Takes a change of phase that lies in this corner; true when it is news for this passage.
    pub fn take(
        &mut self,
        reference: &ReferenceView<'_>,
        corner: &Corner,
        into_m: f32,
        change: &Change,
    ) -> bool {
        match *change {
            // Braked where there is nothing to brake for: a flag, traffic, the pits.
            Change::Brake(_) if self.for_nothing(into_m) => {
                self.spoil();
                false
            }
            Change::Brake(at) if into_m <= self.spans.exit_m => {
                self.throttle = None;
                self.touch = None;
                self.touches.first_m = None;
                self.facts.throttle_m = None;
                self.facts.full_m = None;
                self.behind.braked();
                self.facts.kind = CornerKind::Braked;
                if self.brake.is_none() {
                    self.brake = Some(at);
                    self.slows_from(&at);
                }
                true
            }
            Change::Release(at) if self.brake.is_some() => {
                self.release = Some(at);
                self.facts.release_m = Some(measured(&at));
                true
            }
            Change::TurnIn(at) => {
                let own = self.facts.turn_in_m.is_none()
                    && into_m < self.spans.apex_m + 20.0
                    && into_m > self.spans.turn_m - TURN_IN_EARLY_M;
                if own {
                    self.facts.turn_in_m = Some(measured(&at));
                }
                own
            }
            Change::Throttle(at) => self.take_throttle(reference, corner, at),
            Change::Full(at) if self.throttle.is_some() && self.facts.full_m.is_none() => {
                self.facts.full_m = Some(measured(&at));
                true
            }
            Change::LiftOff(at) => self.take_lift_off(corner, into_m, at),
            Change::DriveAgain(at, _) if self.throttle.is_none() && self.lift_off.is_some() => {
                self.take_throttle(reference, corner, at)
            }
            Change::DriveAgain(..) => {
                // Left before it was ever full: on the throttle for good only now.
                self.throttle.is_some() && self.facts.full_m.is_none()
            }
            Change::Touch(at) => {
                // The last one before the next braking, should none be held.
                if self.brake.is_some() {
                    self.touch = Some(at);
                }
                false
            }
            Change::Release(_) | Change::Brake(_) | Change::Full(_) => false,
        }
    }

    /// Whether who brakes here does so neither for this bend nor for the next one.
    fn for_nothing(&self, into_m: f32) -> bool {
        into_m > self.spans.exit_m && into_m < self.spans.end_m - NEXT_M
    }

    /// Takes a lift that began before the corner did, where the corner needs no braking.
    pub fn lift_before(&mut self, reference: &ReferenceView<'_>, corner: &Corner, at: Instant) {
        if corner.kind != CornerKind::Braked {
            self.come_to(reference, at.progress_m, at.speed_mps);
            self.take_lift_off(corner, 0.0, at);
        }
    }

    /// Takes a braking for it that began on the road before. Who came to it as fast as the
    /// reference was not held up.
    pub fn brake_before(&mut self, reference: &ReferenceView<'_>, at: Instant) {
        self.come_to(reference, at.progress_m, at.speed_mps);
        self.held_up &= at.speed_mps < HELD_UP * reference.speed_mps(at.progress_m);
        self.facts.kind = CornerKind::Braked;
        self.brake = Some(at);
        self.slows_from(&at);
    }

    /// Takes the speed it is come to with, at its begin or where it was slowed for before that:
    /// what the car lacks there it brought along from the corner before.
    #[inline(never)]
    pub fn come_to(&mut self, reference: &ReferenceView<'_>, progress_m: f32, speed_mps: f32) {
        let way = reference
            .corners
            .get(self.index())
            .and_then(|corner| RunIn::of(reference, corner, corner.begin_m));
        let lacks = lacking(reference, progress_m, speed_mps);
        self.brought_s = way.map_or(0.0, |way| way.cost_s(lacks));
    }

    /// Follows a lift on the road to the next corner's braking, which has begun; true when the car
    /// is on the throttle again behind one.
    pub fn follow_on(&mut self, reference: &ReferenceView<'_>, next: &Self, now: &Moment) -> bool {
        let Some(corner) = reference.corners.get(next.index()) else {
            return false;
        };
        if corner.kind != CornerKind::Braked {
            return false;
        }
        let driven = self.throttle.is_some() || self.facts.kind == CornerKind::Flat;
        let reference_mps = reference.speed_mps(now.progress_m);
        self.behind
            .advance(reference, now, reference_mps, false, driven);
        if !self.behind.lifting() {
            return false;
        }
        let Some(way) = RunIn::of(reference, corner, now.progress_m) else {
            return false;
        };
        let left_s = way.length_m() / now.speed_mps.max(3.0);
        self.road_us = now.time_us.checked_add((left_s * 1e6) as u64);
        self.behind.on_again()
    }

    /// On the throttle again on the way to its braking: all that was lost since its begin is the
    /// corner's before, and what the car lacks now will cost to the braking.
    pub fn come_on(&mut self, reference: &ReferenceView<'_>, now: &Moment) {
        let Some(begin_us) = self.passed.begin_us else {
            return;
        };
        let way = reference
            .corners
            .get(self.index())
            .and_then(|corner| RunIn::of(reference, corner, now.progress_m));
        let gone_s = now.time_us.saturating_sub(begin_us) as f32 * 1e-6;
        let lost_s = gone_s - reference_s(reference, self.begin_m, now.progress_m);
        let lacks = lacking(reference, now.progress_m, now.speed_mps);
        self.brought_s = lost_s + way.map_or(0.0, |way| way.cost_s(lacks));
    }

    /// Off the throttle where the reference drives, or only just on it again.
    pub fn lifting(&self) -> bool {
        self.behind.lifting()
    }

    /// On the throttle again behind a lift, and not known yet what it took in all.
    pub fn on_again(&self) -> bool {
        self.behind.on_again()
    }

    fn slows_from(&mut self, at: &Instant) {
        self.facts.brake_m = Some(measured(at));
        self.facts.brake_mps = Some(Measured::new(at.speed_mps, 0.1));
    }

    /// Takes a lift that is not over when this corner, which needs no braking, begins: it is this
    /// one's and not the road's before.
    pub fn take_lift_of(&mut self, reference: &ReferenceView<'_>, before: &mut Self) {
        let braked = reference
            .corners
            .get(self.index())
            .is_some_and(|c| c.kind == CornerKind::Braked);
        if braked {
            return;
        }
        if let Some(lacked) = before.behind.give_lift() {
            self.behind.take_lift(lacked);
        }
    }

    /// Notes that the car rolls into it off both pedals.
    pub fn coast_into(&mut self) {
        self.coasted = true;
    }

    fn take_lift_off(&mut self, corner: &Corner, into_m: f32, at: Instant) -> bool {
        if self.throttle.is_some() || self.brake.is_some() || into_m >= self.spans.exit_m {
            return false;
        }
        self.lift_off = Some(at);
        if corner.kind == CornerKind::Braked {
            return false;
        }
        self.facts.kind = CornerKind::Lifted;
        self.slows_from(&at);
        true
    }

    fn take_throttle(
        &mut self,
        reference: &ReferenceView<'_>,
        corner: &Corner,
        at: Instant,
    ) -> bool {
        // Throttle before any slowing is the straight's, not the corner's.
        if self.brake.is_none() && self.lift_off.is_none() && !self.coasted {
            return false;
        }
        // A second one is told when the first was too brief, or a dab of the brake ended it.
        self.throttle = Some(at);
        self.facts.full_m = None;
        self.facts.throttle_m = Some(measured(&at));
        if let Some(on) = corner.facts.throttle_m {
            let late = reference.ahead_m(on.value, at.progress_m) >= 0.0;
            self.behind.throttle_on(reference, &at, late);
        }
        if let Some(release) = self.release {
            let coast_s = at.time_us.saturating_sub(release.time_us) as f32 * 1e-6;
            self.facts.coast_s = Some(Measured::new(coast_s, 0.05));
        }
        true
    }
}

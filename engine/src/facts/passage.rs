//! One passage of one corner, while it is driven and until its facts are finished.

mod changes;
mod told;
mod touches;

use super::behind::Behind;
use super::deceleration::Braking;
use super::spans::{Before, NextBrake, Spans, Step, turn_mps2};
use super::sure::Sure;
use super::{Facts, Measured, slowest};
use crate::math::since_s;
use crate::motion::Moment;
use crate::onset::Instant;
use crate::progress::Vague;
use crate::reference::{CornerKind, ReferenceView};
use crate::trace::Trace;
use touches::Touches;

/// Rise above the slowest speed that makes it surely past, m/s.
const RISEN_MPS: f32 = 0.3;
/// Slower than this share of the reference where a corner begins, its approach was spoilt before.
const HELD_UP: f32 = 0.9;
/// The way over which the drift across the line is taken, metres.
const DRIFT_M: f32 = 12.0;
/// The line before a bend is taken so far ahead of it, metres.
const BEFORE_BEND_M: f32 = 30.0;

/// When the car passed the places of the corner, source time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Passed {
    begin_us: Option<u64>,
    middle_begin_us: Option<u64>,
    middle_end_us: Option<u64>,
    end_us: Option<u64>,
}

/// The slowest moment so far.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Slowest {
    number: u32,
    speed_mps: f32,
    time_us: u64,
    fitted: bool,
}

/// One passage of one corner under way.
#[derive(Clone, Debug)]
pub struct Passage {
    facts: Facts,
    spans: Spans,
    turn_mps2: f32,
    next_brake: Option<NextBrake>,
    /// Slowed down by what was before.
    held_up: bool,
    /// Seconds that being slower at its begin costs to where it is braked for: of the corner before.
    brought_s: f32,
    /// The same of the next corner, once that has begun.
    handed_s: f32,
    /// When the road to the next corner's braking will be over, once that corner has begun.
    road_us: Option<u64>,
    into_m: f32,
    /// The reference's speed at the last moment, m/s.
    reference_mps: f32,
    begin_m: f32,
    sure: Sure,
    passed: Passed,
    brake: Option<Instant>,
    release: Option<Instant>,
    throttle: Option<Instant>,
    touch: Option<Instant>,
    lift_off: Option<Instant>,
    /// Rolled into it off both pedals, after the braking for the corner before.
    coasted: bool,
    behind: Behind,
    /// Where the car was last slowed down by more than coasting, metres into the corner.
    slowing_m: Option<f32>,
    touches: Touches,
    slowest: Option<Slowest>,
    braking: Braking,
    last: Option<Before>,
    /// Metres to the left a metre of road, over the last [`DRIFT_M`].
    drift: f32,
}

impl Passage {
    /// The passage of a corner that begins, or is joined half way, at a moment.
    pub fn begin(reference: &ReferenceView<'_>, index: usize, now: &Moment) -> Option<Self> {
        let corner = reference.corners.get(index)?;
        let next = reference
            .corners
            .get(index + 1)
            .or(reference.corners.first())?;
        let into_m = reference.wrap_m(now.progress_m - corner.begin_m);
        let over_the_line = corner.apex_m < corner.begin_m && now.progress_m >= corner.begin_m;
        let early_us = (into_m / now.speed_mps.max(1.0) * 1e6) as u64;
        let joined_late = into_m > (now.speed_mps * 0.3).max(3.0);
        // Slowed down by what was before: nothing in this corner can be held against the reference.
        let reference_mps = reference.speed_mps(now.progress_m);
        let held_up = now.speed_mps < HELD_UP * reference_mps;
        Some(Self {
            facts: Facts {
                lap: now.lap.saturating_add(u16::from(over_the_line)),
                corner: (index as u8).saturating_add(1),
                kind: CornerKind::Flat,
                usable: !joined_late,
                ..Facts::default()
            },
            spans: Spans::of(reference, corner, next),
            turn_mps2: turn_mps2(reference, corner),
            next_brake: NextBrake::after(reference, index),
            held_up,
            brought_s: 0.0,
            handed_s: 0.0,
            road_us: None,
            into_m,
            reference_mps,
            begin_m: corner.begin_m,
            sure: Sure::default(),
            passed: Passed {
                begin_us: now.time_us.checked_sub(early_us),
                ..Passed::default()
            },
            brake: None,
            release: None,
            throttle: None,
            touch: None,
            lift_off: None,
            coasted: false,
            behind: Behind::default(),
            slowing_m: None,
            touches: Touches::default(),
            slowest: None,
            braking: Braking::default(),
            last: None,
            drift: 0.0,
        })
    }

    /// The corner's index in the reference.
    pub fn index(&self) -> usize {
        usize::from(self.facts.corner).saturating_sub(1)
    }

    /// The corner's places.
    pub fn spans(&self) -> &Spans {
        &self.spans
    }

    /// The lateral acceleration that counts as turning into it, m/s².
    pub fn turn_mps2(&self) -> f32 {
        self.turn_mps2
    }

    /// Where the reference brakes for a corner behind it; none on a circuit without braking.
    pub fn next_brake(&self) -> Option<NextBrake> {
        self.next_brake
    }

    /// Metres driven since the corner's begin, along the line.
    pub fn into_m(&self) -> f32 {
        self.into_m
    }

    /// The reference's speed where the car is, m/s.
    pub fn reference_mps(&self) -> f32 {
        self.reference_mps
    }

    /// Lap of the passage.
    pub fn lap(&self) -> u16 {
        self.facts.lap
    }

    /// Corner number, from 1.
    pub fn corner(&self) -> u8 {
        self.facts.corner
    }

    /// Whether nothing spoilt it so far.
    pub fn usable(&self) -> bool {
        self.facts.usable && !self.held_up
    }

    /// The next corner begins: what being slower there costs on the way to its braking is this
    /// one's.
    pub fn hand_over(&mut self, next: &Self) {
        self.handed_s = next.brought_s;
    }

    /// Marks the passage as not to be judged.
    pub fn spoil(&mut self) {
        self.facts.usable = false;
    }

    /// Whether throttle was taken up after the slowing, and when.
    pub fn throttle(&self) -> Option<Instant> {
        self.throttle
    }

    /// Whether a braking so far into it can be the next corner's: on the throttle behind the
    /// slowest point, or the middle over and the brake let go.
    pub fn is_out(&self, into_m: f32) -> bool {
        (self.throttle.is_some() && into_m > self.spans.apex_m)
            || (self.release.is_some() && into_m > self.spans.middle_end_m)
    }

    /// Whether full throttle was reached.
    pub fn full(&self) -> bool {
        self.facts.full_m.is_some()
    }

    /// Whether the corner's brake was used, and when.
    pub fn brake(&self) -> Option<Instant> {
        self.brake
    }

    /// Metres from the corner's begin to a progress, if it lies in the corner.
    pub fn within(&self, reference: &ReferenceView<'_>, progress_m: f32) -> Option<f32> {
        let into_m = reference.wrap_m(progress_m - self.begin_m);
        (into_m < self.spans.end_m).then_some(into_m)
    }

    /// Metres from the corner's begin to a progress, wherever it lies.
    pub fn ahead_of_begin_m(&self, reference: &ReferenceView<'_>, progress_m: f32) -> f32 {
        reference.wrap_m(progress_m - self.begin_m)
    }

    /// Where the car was last slowed down by more than coasting, metres into the corner.
    pub fn slowing_m(&self) -> Option<f32> {
        self.slowing_m
    }

    /// Whether the throttle was surely touched just now.
    pub fn touched(&self, now: &Moment) -> bool {
        self.touches.just(now)
    }

    /// Metres from a progress on to the corner's begin.
    pub fn ahead_m(&self, reference: &ReferenceView<'_>, progress_m: f32) -> f32 {
        reference.wrap_m(self.begin_m - progress_m)
    }

    /// Whether nothing has been done in it yet, neither slowed nor driven.
    pub fn untouched(&self) -> bool {
        self.brake.is_none() && self.lift_off.is_none() && self.throttle.is_none()
    }

    /// Takes the next moment of this corner, so far from its begin.
    pub fn advance(
        &mut self,
        reference: &ReferenceView<'_>,
        trace: &Trace,
        now: &Moment,
        mut into_m: f32,
        vague: &Vague,
    ) {
        self.sure.take(vague, now);
        // A little behind the begin again, by noise: still at the begin.
        if into_m > 0.5 * (self.spans.end_m + reference.length_m()) {
            into_m = 0.0;
        }
        let before_m = core::mem::replace(&mut self.into_m, into_m);
        if let Some(last) = self.last {
            let step = Step {
                last,
                now,
                before_m,
                into_m,
            };
            self.follow_drift(&step);
            step.mark(self.spans.middle_begin_m, &mut self.passed.middle_begin_us);
            step.mark(self.spans.middle_end_m, &mut self.passed.middle_end_us);
            step.mark(self.spans.end_m, &mut self.passed.end_us);
            if step.crosses(self.spans.throttle_m) {
                self.behind.reference_on(reference, now);
            }
            if step.crosses(self.spans.slowed_m) {
                self.facts.slowed_mps = Some(step.speed_at(self.spans.slowed_m));
            }
            if step.crosses(self.spans.exit_m) {
                self.facts.exit_mps = Some(step.speed_at(self.spans.exit_m));
                self.facts.offset_exit_m = self.sure.offset(now.offset_m, 0.0);
            }
        }
        let in_bend = into_m < self.spans.exit_m;
        let driven = match self.facts.kind {
            CornerKind::Flat => !in_bend,
            CornerKind::Braked | CornerKind::Lifted => self.throttle.is_some(),
        };
        if self.facts.offset_begin_m.is_none() && into_m >= self.spans.turn_m - BEFORE_BEND_M {
            self.facts.offset_begin_m = self.sure.offset(now.offset_m, 0.0);
        }
        self.reference_mps = reference.speed_mps(now.progress_m);
        let reference_mps = self.reference_mps;
        self.behind
            .advance(reference, now, reference_mps, in_bend, driven);
        if now.slows() {
            self.slowing_m = Some(into_m);
        } else {
            self.touches.take(now, into_m);
        }
        self.follow_braking(now);
        self.follow_slowest(trace, now);
        self.last = Some(now.into());
    }

    fn follow_drift(&mut self, step: &Step<'_>) {
        let gone_m = step.into_m - step.before_m;
        if gone_m > 0.1 {
            let slope = (step.now.offset_m - step.last.offset_m) / gone_m;
            self.drift += (slope - self.drift) * (gone_m / DRIFT_M).min(1.0);
        }
    }

    /// Where the car will be beside the line at the corner's exit, when it goes on as it does now,
    /// metres left.
    pub fn exit_offset_ahead(&self, now: &Moment) -> f32 {
        now.offset_m + self.drift * (self.spans.exit_m - self.into_m).max(0.0)
    }

    fn follow_braking(&mut self, now: &Moment) {
        if self.throttle.is_some() {
            return;
        }
        let drawn = now.braking >= 1.0;
        let decel = -now.acc_mps2;
        if drawn && self.facts.peak_decel_mps2.is_none_or(|p| decel > p.value) {
            self.facts.peak_decel_mps2 = Some(Measured::new(decel, now.acc_sd_mps2()));
        }
        if drawn || self.brake.is_some() {
            self.braking
                .push(now.time_us, now.dt_s, self.into_m, now.speed_mps);
        }
    }

    fn follow_slowest(&mut self, trace: &Trace, now: &Moment) {
        let reach_m = (self.spans.middle_end_m - self.spans.middle_begin_m).max(20.0);
        let near = self.into_m >= self.spans.middle_begin_m - reach_m
            && self.into_m <= self.spans.exit_m + reach_m;
        // Still slowing when the bend is over: the slowest point is where that ends.
        let slowing = self.slowest.is_some_and(|s| !s.fitted);
        let lower = self.slowest.is_none_or(|s| now.speed_mps < s.speed_mps);
        if lower && (near || slowing) {
            self.slowest = Some(Slowest {
                number: now.number,
                speed_mps: now.speed_mps,
                time_us: now.time_us,
                fitted: false,
            });
            return;
        }
        let Some(slowest) = &mut self.slowest else {
            return;
        };
        let since_s = since_s(slowest.time_us, now.time_us);
        if slowest.fitted
            || since_s < slowest::HALF_S
            || now.speed_mps < slowest.speed_mps + RISEN_MPS
        {
            return;
        }
        slowest.fitted = true;
        let offset_m = trace
            .get(slowest.number)
            .map_or(now.offset_m, |p| p.offset_m);
        self.facts.offset_slowest_m = self.sure.offset(offset_m, 0.0);
        let (place, speed) = match slowest::fit(trace, slowest.number) {
            Some((place, speed)) => (
                Some(Measured::new(place.progress_m, place.sd_m().max(0.1))),
                Measured::new(speed.value, speed.sd.max(now.noise_mps * 0.2)),
            ),
            None => (None, Measured::new(slowest.speed_mps, now.noise_mps)),
        };
        self.facts.slowest_m = place;
        self.facts.slowest_mps = Some(speed);
    }
}

fn measured(at: &Instant) -> Measured {
    Measured::new(at.progress_m, at.sd_m())
}

//! The places of a corner as distances from its begin, and when the car passed them.

use super::Measured;
use crate::motion::Moment;
use crate::reference::{Corner, ReferenceView};

/// Distances from the corner's begin to its places, metres, in driving order.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Spans {
    /// The bend begins.
    pub turn_m: f32,
    /// The middle begins.
    pub middle_begin_m: f32,
    /// The reference is slowest.
    pub apex_m: f32,
    /// The reference is slowest or takes up throttle, whichever comes first: until here speed is
    /// the brake's doing.
    pub slowed_m: f32,
    /// The reference takes up throttle; where it is slowest when that is not known.
    pub throttle_m: f32,
    /// The middle ends.
    pub middle_end_m: f32,
    /// The bend ends.
    pub exit_m: f32,
    /// The next corner begins.
    pub end_m: f32,
}

impl Spans {
    /// The places of a corner that ends where the next one begins.
    pub fn of(reference: &ReferenceView<'_>, corner: &Corner, next: &Corner) -> Self {
        let from = |to_m: f32| reference.wrap_m(to_m - corner.begin_m);
        let end_m = from(next.begin_m);
        let apex_m = from(corner.apex_m);
        let throttle_m = corner.facts.throttle_m.map_or(apex_m, |m| from(m.value));
        Self {
            slowed_m: throttle_m.min(apex_m),
            throttle_m,
            turn_m: from(corner.turn_m),
            middle_begin_m: from(corner.middle_begin_m),
            apex_m,
            middle_end_m: from(corner.middle_end_m),
            exit_m: from(corner.exit_m),
            end_m: if end_m > 0.0 {
                end_m
            } else {
                reference.length_m()
            },
        }
    }
}

/// The way from one moment to the next, past places of the corner.
pub struct Step {
    /// The moment before.
    pub last: Moment,
    /// This moment.
    pub now: Moment,
    /// Metres into the corner before.
    pub before_m: f32,
    /// Metres into the corner now.
    pub into_m: f32,
}

impl Step {
    /// Whether a place lies on the way.
    pub fn crosses(&self, place_m: f32) -> bool {
        self.before_m < place_m && self.into_m >= place_m
    }

    fn share(&self, place_m: f32) -> f32 {
        ((place_m - self.before_m) / (self.into_m - self.before_m).max(1e-3)).clamp(0.0, 1.0)
    }

    /// Notes when the place was passed, if it was.
    pub fn mark(&self, place_m: f32, passed: &mut Option<u64>) {
        if self.crosses(place_m) {
            let span_us = self.now.time_us.saturating_sub(self.last.time_us);
            let part_us = (span_us as f32 * self.share(place_m)) as u64;
            *passed = Some(self.last.time_us.saturating_add(part_us));
        }
    }

    /// The speed at a place on the way.
    pub fn speed_at(&self, place_m: f32) -> Measured {
        let value =
            self.last.speed_mps + (self.now.speed_mps - self.last.speed_mps) * self.share(place_m);
        Measured::new(value, self.now.noise_mps * 0.5)
    }
}

/// Seconds the reference lap took from one place to another, over the start line or not.
pub fn reference_s(reference: &ReferenceView<'_>, from_m: f32, to_m: f32) -> f32 {
    let seconds = reference.time_s(to_m) - reference.time_s(from_m);
    let lap_s = reference.session.lap_time_us as f32 * 1e-6;
    if seconds < 0.0 {
        seconds + lap_s
    } else {
        seconds
    }
}

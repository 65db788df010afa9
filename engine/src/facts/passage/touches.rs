//! Touches of the throttle: just now, and the first one of the corner.

use crate::motion::Moment;

/// From this share of the drive on the throttle is surely touched.
const TOUCHED: f32 = 0.3;
/// For so long it was just now, µs.
const JUST_US: u64 = 400_000;

/// Touches of the throttle.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Touches {
    until_us: u64,
    /// Where it was touched first since the braking, metres into the corner.
    pub(super) first_m: Option<f32>,
}

impl Touches {
    /// Takes a moment in which the car is not slowed down by more than coasting.
    pub(super) fn take(&mut self, now: &Moment, into_m: f32) {
        if now.drive > TOUCHED {
            self.until_us = now.time_us.saturating_add(JUST_US);
            self.first_m = self.first_m.or(Some(into_m));
        }
    }

    /// Whether the throttle was surely touched just now.
    pub(super) fn just(&self, now: &Moment) -> bool {
        now.time_us < self.until_us
    }
}

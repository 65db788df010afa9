//! What the driver did just now: a touch of throttle, a tighter line.

use crate::motion::Moment;
use crate::reference::ReferenceView;

/// From this share of the drive on the throttle is surely touched.
const TOUCHED: f32 = 0.3;
/// Turning tighter than the reference by this share of its lateral acceleration, and this much
/// more, m/s², is a tighter line.
const TIGHTER_SHARE: f32 = 0.12;
const TIGHTER_MPS2: f32 = 1.0;
/// For so long it was just now, µs.
const JUST_US: u64 = 400_000;

/// What the driver did just now.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Just {
    touched_until_us: u64,
    tighter_until_us: u64,
    /// Where the throttle was touched first since the braking, metres into the corner.
    pub(super) touched_m: Option<f32>,
}

impl Just {
    /// Takes a moment in which the car is not slowed down by more than coasting.
    pub(super) fn roll(&mut self, now: &Moment, into_m: f32) {
        if now.drive > TOUCHED {
            self.touched_until_us = now.time_us.saturating_add(JUST_US);
            self.touched_m = self.touched_m.or(Some(into_m));
        }
    }

    /// Takes a moment of a bend to one side, left positive.
    pub(super) fn turn(&mut self, reference: &ReferenceView<'_>, now: &Moment, side: f32) {
        let Some(lateral_mps2) = now.lat_mps2 else {
            return;
        };
        let curvature_pm = reference.curvature_pm(now.progress_m);
        let usual_mps2 = side * curvature_pm * now.speed_mps * now.speed_mps;
        let limit_mps2 = TIGHTER_MPS2 + TIGHTER_SHARE * usual_mps2.max(0.0);
        if side * lateral_mps2 - usual_mps2 > limit_mps2 {
            self.tighter_until_us = now.time_us.saturating_add(JUST_US);
        }
    }

    /// Whether the throttle was surely touched.
    pub(super) fn touched(&self, now: &Moment) -> bool {
        now.time_us < self.touched_until_us
    }

    /// Whether the car turned tighter than the reference.
    pub(super) fn tighter(&self, now: &Moment) -> bool {
        now.time_us < self.tighter_until_us
    }
}

//! Following the car along the line: integrated speed with a slow pull to the projection.

use super::line::{Mark, Sight};
use super::search::BESIDE_MOST_M;
use crate::gate::Admitted;
use crate::math::{atan2, wrap_angle};
use crate::reference::ReferenceView;

/// Variance that the integrated speed gains a second on the line, m²/s. With [`WANDER_M2S`] the
/// pull to the projection settles at a time constant of 3 s.
const DRIFT_M2PS: f32 = 0.003;
/// The same away from the line or without a course, where speed along it is known worse.
const DRIFT_ASIDE_M2PS: f32 = 0.1;
/// Noise of the projection along the line, variance times seconds, m² s.
const WANDER_M2S: f32 = 0.027;
/// Share of a change of speed times its duration by which the driven distance may be off.
const COARSE: f32 = 0.1;
/// Variance of a place that was just found, m².
const FOUND_M2: f32 = 9.0;
/// This far beside the line it is away from it, metres.
const ASIDE_M: f32 = 10.0;
/// A projection farther off pulls no harder than this, metres.
const PULL_MOST_M: f32 = 3.0;
/// The projection is off its track when farther ahead or behind, metres,
const ASTRAY_M: f32 = 12.0;
/// for this long, seconds.
const ASTRAY_S: f32 = 0.4;
/// Gaps up to this are bridged if the car comes out where speed says, seconds.
const BRIDGED_MOST_S: f32 = 3.0;
/// How far the car may come out elsewhere, metres and as a share of the way.
const BRIDGED_OFF: (f32, f32) = (10.0, 0.3);

/// The place that is followed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Track {
    pub(super) mark: Mark,
    pub(super) left_m: f32,
    pub(super) slip_rad: Option<f32>,
    speed_mps: f32,
    /// Metres of progress for each metre driven; negative against the line.
    ratio: f32,
    astray_s: f32,
    /// Variance of the place along the line, m².
    variance_m2: f32,
}

impl Track {
    /// Begins at a place that was searched and believed.
    pub(super) fn begin(mark: Mark, at: &Admitted) -> Self {
        Self {
            mark,
            left_m: 0.0,
            slip_rad: None,
            speed_mps: at.speed_mps,
            ratio: 1.0,
            astray_s: 0.0,
            variance_m2: FOUND_M2,
        }
    }

    /// Metres of progress a second.
    pub(super) fn rate_mps(&self) -> f32 {
        self.speed_mps * self.ratio
    }

    /// Follows the car by one sample and gives the progress gained; none when it is lost.
    pub(super) fn follow(&mut self, line: &ReferenceView<'_>, at: &Admitted) -> Option<f32> {
        if at.broken && at.dt_s > BRIDGED_MOST_S {
            return None;
        }
        let driven_m = 0.5 * (self.speed_mps + at.speed_mps) * at.dt_s;
        let mut step_m = driven_m * self.ratio;
        self.mark = self.mark.moved(line, step_m);
        let sight = self.mark.sight(line, at.east_m, at.north_m)?;
        let ratio = self.turn(&sight, at);
        // The step was taken with the old ratio; half of it belongs to the new one.
        let late_m = 0.5 * at.speed_mps * at.dt_s * (ratio - self.ratio);
        self.ratio = ratio;
        self.grow(at);
        self.speed_mps = at.speed_mps;
        let off_m = sight.ahead_m - late_m;
        let pull_m = if at.broken {
            if off_m.abs() > BRIDGED_OFF.0 + BRIDGED_OFF.1 * driven_m {
                return None;
            }
            self.mark = self.mark.moved(line, off_m);
            let nearer = self.mark.sight(line, at.east_m, at.north_m)?;
            self.left_m = nearer.left_m;
            step_m += off_m;
            self.variance_m2 = FOUND_M2;
            nearer.ahead_m
        } else if at.located {
            self.pull(off_m, at.dt_s)?
        } else {
            0.0
        };
        self.mark = self.mark.moved(line, late_m + pull_m);
        step_m += late_m + pull_m;
        if at.located && !at.broken {
            self.left_m = sight.left_m;
        }
        (self.left_m.abs() <= BESIDE_MOST_M).then_some(step_m)
    }

    /// How much of the distance to the projection is taken; none when it is astray for too long.
    fn pull(&mut self, off_m: f32, dt_s: f32) -> Option<f32> {
        if off_m.abs() > ASTRAY_M {
            self.astray_s += dt_s;
            if self.astray_s > ASTRAY_S {
                return None;
            }
        } else {
            self.astray_s = 0.0;
        }
        // What the car may be off by is not cut away as an outlier.
        let most_m = PULL_MOST_M.max(2.0 * crate::math::sqrt(self.variance_m2));
        let gain = self.variance_m2 / (self.variance_m2 + WANDER_M2S / dt_s.max(1e-3));
        self.variance_m2 -= gain * self.variance_m2;
        Some(gain * crate::math::clamp(off_m, -most_m, most_m))
    }

    /// How much less is known of the place after a step on speed alone.
    fn grow(&mut self, at: &Admitted) {
        let away = self.left_m.abs() > ASIDE_M || self.slip_rad.is_none();
        let drift = if away { DRIFT_ASIDE_M2PS } else { DRIFT_M2PS };
        let coarse_m = COARSE * (at.speed_mps - self.speed_mps) * at.dt_s;
        self.variance_m2 += drift * at.dt_s + coarse_m * coarse_m;
        self.variance_m2 = self.variance_m2.min(4.0 * FOUND_M2);
    }

    /// The angle to the line and metres of progress for each metre driven.
    fn turn(&mut self, sight: &Sight, at: &Admitted) -> f32 {
        let slip_rad = at
            .direction_rad
            .map(|d| wrap_angle(d - atan2(sight.along.1, sight.along.0)));
        self.slip_rad = slip_rad;
        let along = match slip_rad {
            Some(s) => cosine(s),
            None => self.ratio.signum(),
        };
        along / sight.shrink
    }
}

/// Cosine of an angle in [-π, π], within 3e-5 up to a right angle.
fn cosine(a: f32) -> f32 {
    // cos a = 1 - 2 sin²(a/2), the sine by its series.
    let h = 0.5 * a;
    let h2 = h * h;
    let s = h * (1.0 - h2 * (1.0 / 6.0 - h2 * (1.0 / 120.0 - h2 / 5040.0)));
    1.0 - 2.0 * s * s
}

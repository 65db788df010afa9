//! How sure the places of one passage are: what a position that moves on its own leaves of them.

use super::{Facts, Measured};
use crate::math::larger;
use crate::motion::Moment;
use crate::progress::{SURGE_FREE_M, Vague};

/// Standard deviation of the way between two places of one corner, metres: receiver noise that
/// the slow pull of the progress stage lets through.
pub(super) const PLACE_SD_M: f32 = 0.12;
/// A position that moves on its own by more than this, sideways or along the line, says nothing of
/// an offset, metres.
const SWAY_MOST_M: f32 = 1.5;
/// Samples farther apart than this leave a place open by half of the road between them that is
/// beyond it, seconds.
const SPACING_S: f32 = 0.1;
/// Samples farther apart than this do not show every touch of the throttle, seconds (8 Hz),
const SELDOM_S: f32 = 0.125;
/// when they are so for more than one of them: what the mean takes of each spacing.
const SELDOM_SHARE: f32 = 0.2;

/// How sure the places of one passage are.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sure {
    offset_sd_m: f32,
    /// Metres by which the place may have moved along the line on its own, at most so far.
    surge_m: f32,
    /// The position moves on its own by more than an offset is worth.
    sways: bool,
    /// What samples far apart leave of a place along the line, metres, at most so far.
    coarse_m: f32,
    /// The mean spacing of the last samples, seconds.
    spacing_s: f32,
    /// Samples came too seldom to show every touch of the throttle.
    seldom: bool,
}

impl Default for Sure {
    fn default() -> Self {
        Self {
            offset_sd_m: PLACE_SD_M * 2.0,
            surge_m: 0.0,
            sways: false,
            coarse_m: 0.0,
            spacing_s: 0.0,
            seldom: false,
        }
    }
}

impl Sure {
    /// Takes how vague the place is now.
    pub(super) fn take(&mut self, vague: &Vague, now: &Moment) {
        self.offset_sd_m = PLACE_SD_M * 2.0 + 1.5 * (vague.offset_sd_m + vague.sway_m);
        let surge_m = vague.surge_m - SURGE_FREE_M;
        self.surge_m = larger(self.surge_m, surge_m);
        self.sways = larger(vague.sway_m, self.surge_m) > SWAY_MOST_M;
        self.coarse_m = larger(self.coarse_m, 0.5 * now.speed_mps * (now.dt_s - SPACING_S));
        self.spacing_s += SELDOM_SHARE * (now.dt_s - self.spacing_s);
        self.seldom |= self.spacing_s > SELDOM_S;
    }

    /// A distance beside the line, when it is known at all.
    pub(super) fn offset(&self, offset_m: f32, more_sd_m: f32) -> Option<Measured> {
        (!self.sways).then(|| Measured::new(offset_m, self.offset_sd_m + more_sd_m))
    }

    /// How far the way between two places of the corner may be off, metres.
    pub(super) fn way_sd_m(&self) -> f32 {
        PLACE_SD_M * core::f32::consts::SQRT_2 + self.surge_m
    }

    /// Widens the places along the line by what they moved on their own, and by what lies between
    /// samples far apart.
    pub(super) fn widen(&self, facts: &mut Facts) {
        let more_m = self.surge_m + self.coarse_m;
        if more_m <= 0.0 {
            return;
        }
        let places = [
            &mut facts.brake_m,
            &mut facts.release_m,
            &mut facts.throttle_m,
            &mut facts.full_m,
        ];
        for place in places.into_iter().flatten() {
            place.sd += more_m;
        }
    }

    /// Whether samples came too seldom to show every touch of the throttle.
    pub(super) fn seldom(&self) -> bool {
        self.seldom
    }

    /// Widens the drive that lacks by what lies between samples far apart on the way out. What is
    /// not surely lacking then is not known: a change of gear between two samples looks like a foot
    /// that comes down slowly.
    pub(super) fn widen_missing(&self, facts: &mut Facts) {
        if let (true, Some(missing), Some(exit)) = (self.seldom, facts.missing_m, facts.exit_mps) {
            let coarse_m = 0.5 * exit.value * larger(self.spacing_s - SPACING_S, 0.0);
            let sd = missing.sd + coarse_m;
            facts.missing_m =
                (missing.value > 2.0 * sd).then_some(Measured::new(missing.value, sd));
        }
    }
}

//! How sure the places of one passage are: what a position that moves on its own leaves of them.

use super::{Facts, Measured};
use crate::math::larger;
use crate::progress::{SURGE_FREE_M, Vague};

/// Standard deviation of the way between two places of one corner, metres: receiver noise that
/// the slow pull of the progress stage lets through.
pub(super) const PLACE_SD_M: f32 = 0.12;
/// A position that moves sideways on its own by more than this says nothing of an offset, metres.
const SWAY_MOST_M: f32 = 1.5;

/// How sure the places of one passage are.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sure {
    offset_sd_m: f32,
    /// Metres by which the place may have moved along the line on its own, at most so far.
    surge_m: f32,
    /// The position moves sideways on its own by more than an offset is worth.
    sways: bool,
}

impl Default for Sure {
    fn default() -> Self {
        Self {
            offset_sd_m: PLACE_SD_M * 2.0,
            surge_m: 0.0,
            sways: false,
        }
    }
}

impl Sure {
    /// Takes how vague the place is now.
    pub(super) fn take(&mut self, vague: &Vague) {
        self.offset_sd_m = PLACE_SD_M * 2.0 + 1.5 * (vague.offset_sd_m + vague.sway_m);
        self.sways = vague.sway_m > SWAY_MOST_M;
        self.surge_m = larger(self.surge_m, vague.surge_m - SURGE_FREE_M);
    }

    /// A distance beside the line, when it is known at all.
    pub(super) fn offset(&self, offset_m: f32, more_sd_m: f32) -> Option<Measured> {
        (!self.sways).then(|| Measured::new(offset_m, self.offset_sd_m + more_sd_m))
    }

    /// How far the way between two places of the corner may be off, metres.
    pub(super) fn way_sd_m(&self) -> f32 {
        PLACE_SD_M * core::f32::consts::SQRT_2 + self.surge_m
    }

    /// Widens the places along the line by what they moved on their own.
    pub(super) fn widen(&self, facts: &mut Facts) {
        if self.surge_m <= 0.0 {
            return;
        }
        self.widen_one(&mut facts.brake_m);
        self.widen_one(&mut facts.release_m);
        self.widen_one(&mut facts.throttle_m);
        self.widen_one(&mut facts.full_m);
    }

    fn widen_one(&self, place: &mut Option<Measured>) {
        if let Some(place) = place {
            place.sd += self.surge_m;
        }
    }
}

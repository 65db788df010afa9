//! Doubt after a leap: was the place before wrong, or is the one behind it?
//!
//! The place before is carried on by speed alone. As long as the place that the positions give
//! does not agree with it, cues would speak of the wrong spot; when it agrees again, or after
//! [`DOUBT_S`], the doubt is over.

use super::line::Mark;
use crate::reference::ReferenceView;

/// For how long a leap is doubted, seconds.
const DOUBT_S: f32 = 10.0;
/// A doubt that lasted longer than this is about more than a leap, seconds.
const OLD_S: f32 = 3.0;
/// Places agree within this, metres and as a share of what was driven since.
const AGREE: (f32, f32) = (4.0, 0.01);

/// The place before a leap, carried on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Doubt {
    mark: Mark,
    driven_m: f32,
    elapsed_s: f32,
    /// Since the first leap.
    lasted_s: f32,
}

impl Doubt {
    /// Begins with the last place before the leap.
    pub(super) fn begin(mark: Mark) -> Self {
        Self {
            mark,
            driven_m: 0.0,
            elapsed_s: 0.0,
            lasted_s: 0.0,
        }
    }

    /// Carries the place on by `driven_m`; false when it has been doubted for long enough.
    pub(super) fn carry(&mut self, line: &ReferenceView<'_>, driven_m: f32, dt_s: f32) -> bool {
        self.mark = self.mark.moved(line, driven_m);
        self.driven_m += driven_m.abs();
        self.elapsed_s += dt_s;
        self.lasted_s += dt_s;
        self.elapsed_s < DOUBT_S
    }

    /// Whether it has lasted longer than leaps that come back do.
    pub(super) fn is_old(&self) -> bool {
        self.lasted_s > OLD_S
    }

    /// Positions leapt again: the doubt begins anew, on the same place.
    pub(super) fn renew(&mut self) {
        self.elapsed_s = 0.0;
    }

    /// How far a place is from the one carried on, metres, when the two agree.
    pub(super) fn agrees(&self, line: &ReferenceView<'_>, mark: Mark) -> Option<f32> {
        let apart_m = mark.ahead_of_m(line, self.mark).abs();
        (apart_m <= AGREE.0 + AGREE.1 * self.driven_m).then_some(apart_m)
    }
}

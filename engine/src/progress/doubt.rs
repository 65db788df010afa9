//! Doubt after a leap: was the place before wrong, or is the one behind it?
//!
//! The place before is carried on by speed alone. As long as the place that the positions give
//! does not agree with it, cues would speak of the wrong spot; when it agrees again, or after
//! [`DOUBT_S`], the doubt is over.

use super::line::Mark;
use crate::reference::ReferenceView;

/// For how long a leap is doubted, seconds.
const DOUBT_S: f32 = 10.0;
/// Places agree within this, metres and as a share of what was driven since.
const AGREE: (f32, f32) = (4.0, 0.01);

/// The place before a leap, carried on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Doubt {
    mark: Mark,
    driven_m: f32,
    elapsed_s: f32,
}

impl Doubt {
    /// Begins with the last place before the leap.
    pub(super) fn begin(mark: Mark) -> Self {
        Self {
            mark,
            driven_m: 0.0,
            elapsed_s: 0.0,
        }
    }

    /// Carries the place on by `driven_m`; false when it has been doubted for long enough.
    pub(super) fn carry(&mut self, line: &ReferenceView<'_>, driven_m: f32, dt_s: f32) -> bool {
        self.mark = self.mark.moved(line, driven_m);
        self.driven_m += driven_m.abs();
        self.elapsed_s += dt_s;
        self.elapsed_s < DOUBT_S
    }

    /// Positions leapt again: the doubt begins anew, on the same place.
    pub(super) fn renew(&mut self) {
        self.elapsed_s = 0.0;
    }

    /// Whether a place agrees with the one carried on.
    pub(super) fn agrees(&self, line: &ReferenceView<'_>, mark: Mark) -> bool {
        let ahead_m = mark.ahead_of_m(line, self.mark);
        ahead_m.abs() <= AGREE.0 + AGREE.1 * self.driven_m
    }
}

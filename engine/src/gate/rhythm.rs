//! Does the source keep its own rhythm, or are samples missing?
//!
//! What a source gives is dated no better than its samples lie apart. A source that has always
//! given five samples a second says so by itself; one that gave twenty-five until just now and
//! loses most of them does not, and what is found across the holes is worth less than it seems.
//! So time without samples is added up against the source's own spacing, and forgotten within
//! [`FORGET_S`]. A source that stays slower is believed after a while: the spacing is followed.

use crate::math::{larger, smaller};

/// The shortest spacing that is expected of a source, seconds: what is faster is thinned.
const SPACING_LEAST_S: f32 = 0.008;
/// A sample is late beyond this many spacings.
const LATE: f32 = 1.25;
/// Time missing of the last second that is too much, seconds.
const SPARSE_S: f32 = 0.14;
/// And little enough again.
const WHOLE_S: f32 = 0.07;
/// It is never remembered to be more, so that it is soon forgotten, seconds.
const MISSING_MOST_S: f32 = 0.3;
/// Time in which missing time is forgotten, seconds.
const FORGET_S: f32 = 1.0;
/// The usual spacing grows at most by this share a second (five times as long in 20 s),
const GROW_PS: f32 = 0.08;
/// and shrinks by this one: in balance a third of the spacings is shorter.
const SHRINK_PS: f32 = 2.0 * GROW_PS;

/// The usual spacing of the source and the time that is missing.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Rhythm {
    usual_s: f32,
    missing_s: f32,
    sparse: bool,
}

impl Rhythm {
    /// Takes the time from one admitted sample to the next.
    pub(super) fn take(&mut self, dt_s: f32) {
        if dt_s <= 0.0 {
            return;
        }
        if self.usual_s <= 0.0 {
            self.usual_s = larger(dt_s, SPACING_LEAST_S);
            return;
        }
        let late_s = larger(dt_s - LATE * self.usual_s, 0.0);
        let kept_s = self.missing_s * FORGET_S / (FORGET_S + dt_s);
        self.missing_s = smaller(kept_s + late_s, MISSING_MOST_S);
        let limit_s = if self.sparse { WHOLE_S } else { SPARSE_S };
        self.sparse = self.missing_s > limit_s;
        // A pause is no spacing.
        let step_s = smaller(dt_s, 1.0);
        let change = if dt_s < self.usual_s {
            -SHRINK_PS
        } else {
            GROW_PS
        };
        self.usual_s = larger(self.usual_s * (1.0 + change * step_s), SPACING_LEAST_S);
    }

    /// The usual time from one sample to the next, seconds.
    pub(super) fn usual_s(&self) -> f32 {
        self.usual_s
    }

    /// Too much is missing of the last second.
    pub(super) fn sparse(&self) -> bool {
        self.sparse
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Feeds spacings until the verdict is `sparse`; seconds until then, none within `most_s`.
    fn until(
        rhythm: &mut Rhythm,
        sparse: bool,
        most_s: f32,
        spacing: impl Fn(u32) -> f32,
    ) -> Option<f32> {
        let (mut k, mut t) = (0, 0.0);
        while t < most_s {
            let dt_s = spacing(k);
            rhythm.take(dt_s);
            (k, t) = (k + 1, t + dt_s);
            if rhythm.sparse() == sparse {
                return Some(t);
            }
        }
        None
    }

    #[test]
    fn a_steady_source_of_any_rate_is_whole() {
        for hz in [1.0f32, 5.0, 10.0, 18.0, 25.0, 50.0, 100.0] {
            let mut rhythm = Rhythm::default();
            // A tenth of jitter either way.
            let jitter = |k: u32| (1.0 + 0.1 * [0.0, 1.0, -1.0, 0.5, -0.5][k as usize % 5]) / hz;
            assert_eq!(until(&mut rhythm, true, 120.0, jitter), None, "{hz} Hz");
        }
        // What a gate leaves of 200 samples a second.
        let thinned = |k: u32| [0.010, 0.005, 0.010, 0.005, 0.010][k as usize % 5];
        assert_eq!(until(&mut Rhythm::default(), true, 60.0, thinned), None);
    }

    #[test]
    fn one_sample_in_five_is_said_within_half_a_second_and_forgotten_within_two() {
        for hz in [10.0f32, 25.0, 50.0] {
            let mut rhythm = Rhythm::default();
            assert_eq!(until(&mut rhythm, true, 30.0, |_| 1.0 / hz), None);
            let named_s = until(&mut rhythm, true, 5.0, |_| 5.0 / hz).expect("named");
            assert!(named_s <= 0.5, "{hz} Hz: {named_s}");
            until(&mut rhythm, false, 4.0, |_| 5.0 / hz);
            let over_s = until(&mut rhythm, false, 5.0, |_| 1.0 / hz).expect("over");
            assert!(over_s <= 2.0, "{hz} Hz: {over_s}");
        }
    }

    #[test]
    fn half_of_the_samples_lost_at_random_is_said_and_stays_so() {
        let mut rhythm = Rhythm::default();
        until(&mut rhythm, true, 30.0, |_| 0.04);
        // Runs of lost samples as coins give them.
        let lost = |k: u32| 0.04 * [1.0, 2.0, 1.0, 4.0, 1.0, 1.0, 3.0, 2.0][k as usize % 8];
        assert!(until(&mut rhythm, true, 2.0, lost).is_some());
        assert_eq!(until(&mut rhythm, false, 60.0, lost), None);
    }

    #[test]
    fn a_source_that_stays_slower_is_believed_after_a_while() {
        let mut rhythm = Rhythm::default();
        until(&mut rhythm, true, 30.0, |_| 0.04);
        until(&mut rhythm, true, 2.0, |_| 0.2);
        let over_s = until(&mut rhythm, false, 60.0, |_| 0.2).expect("believed");
        assert!((5.0..30.0).contains(&over_s), "{over_s}");
    }
}

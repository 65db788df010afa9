//! What lies between two passages that no single fact says.

use super::Difference;
use crate::facts::{Facts, Measured};
use crate::math::{larger, sqrt};
use crate::reference::ReferenceView;

/// Standard deviation of how much the offset changed within one corner, metres: the day's common
/// offset is in both of its ends.
const DRIFT_SD_M: f32 = 0.4;
/// What a brake that still comes in decelerates, of the mean.
const COMING_IN: f32 = 0.6;

/// How much later the brake may be taken by who comes slower, metres; 0 for who comes faster. It
/// is the first of the braking that is spared, while the brake still comes in.
pub fn slower_m(facts: &Facts, want: &Facts) -> f32 {
    let (Some(live), Some(wanted), Some(decel)) =
        (facts.brake_mps, want.brake_mps, want.mean_decel_mps2)
    else {
        return 0.0;
    };
    let spared = wanted.value * wanted.value - live.value * live.value;
    larger(spared, 0.0) / (2.0 * larger(COMING_IN * decel.value, 1.0))
}

/// What a throttle later than the reference's costs a car that until then goes no faster than where
/// the reference took it up, seconds; 0 for one that is not late.
pub fn waited_s(reference: &ReferenceView<'_>, facts: &Facts, want: &Facts) -> f32 {
    let (Some(live), Some(wanted), Some(slowed)) =
        (facts.throttle_m, want.throttle_m, facts.slowed_mps)
    else {
        return 0.0;
    };
    let late_m = reference.ahead_m(wanted.value, live.value);
    if late_m <= 0.0 || slowed.value <= 1.0 {
        return 0.0;
    }
    let lap_s = reference.session.lap_time_us as f32 * 1e-6;
    let took_s = reference.time_s(live.value) - reference.time_s(wanted.value);
    let took_s = if took_s < 0.0 { took_s + lap_s } else { took_s };
    if took_s <= 0.0 {
        return 0.0;
    }
    larger(late_m / slowed.value - took_s, 0.0)
}

/// What the car moved to the left between two places, beyond the reference.
pub fn moved(
    facts: &Facts,
    want: &Facts,
    between: impl Fn(&Facts) -> (Option<Measured>, Option<Measured>),
) -> Difference {
    let way = |f: &Facts| match between(f) {
        (Some(from), Some(to)) => Some(to.value - from.value),
        _ => None,
    };
    match (way(facts), way(want)) {
        (Some(a), Some(b)) => Difference {
            value: a - b,
            sd: DRIFT_SD_M,
        },
        _ => Difference::default(),
    }
}

pub fn both(a: Measured, b: Measured) -> f32 {
    sqrt(a.sd * a.sd + b.sd * b.sd)
}

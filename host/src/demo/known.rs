//! When a planted fault could first be known: not before it had happened.

use super::drive::Drive;
use super::fault::{Fault, FaultKind};
use super::truth::{Moment, Passage};
use cuepost_engine::thresholds::Thresholds;

/// The first moment at which a fault could be told from a good passage of the same corner, with
/// any receiver: when it was done, or, for what was left undone, when the good passage's place and
/// the threshold were passed. Seconds from the drive's beginning; `None` when it did not come out.
pub fn first_known_s(
    driven: &Drive,
    passage: &Passage,
    good: &Passage,
    fault: Fault,
    limit: &Thresholds,
) -> Option<f64> {
    let done = |m: Option<Moment>| m.map(|m| m.time_s);
    // The good passage's place in this lap, and so much behind it.
    let passed = |m: Option<Moment>, metres: f32| {
        let lap_m = (f64::from(passage.lap) - f64::from(good.lap)) * driven.length_m;
        let there = m?.along_m + lap_m + f64::from(metres);
        Some(driven.at_along(there)?.moment.time_s)
    };
    match fault.kind {
        FaultKind::BrakeEarly | FaultKind::BrakeSoft | FaultKind::BrakeHard => done(passage.brake),
        FaultKind::BrakeLate => passed(good.brake, limit.brake_m),
        FaultKind::TrailShort | FaultKind::Coast => done(passage.release),
        FaultKind::TrailLong => passed(good.release, limit.trail_m),
        FaultKind::OverSlow | FaultKind::TooFast | FaultKind::Wide | FaultKind::Tight => {
            Some(passage.slowest.time_s)
        }
        FaultKind::ThrottleLate => passed(good.throttle, limit.throttle_m),
        FaultKind::ThrottleEarly => done(passage.throttle),
        FaultKind::SlowToFull => passed(good.full, limit.full_m),
        FaultKind::LiftAfter => done(passage.lifted),
        FaultKind::Lift => done(passage.lifted.or(passage.lift)),
        FaultKind::ExitUnused | FaultKind::Faster => Some(passage.exit.time_s),
    }
}

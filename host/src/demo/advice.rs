//! What a coach would say of a planted fault.

use super::fault::FaultKind;
use cuepost_engine::reference::CornerKind;
use cuepost_engine::{Advice, Phase};

/// Phase and advice.
pub type Said = (Phase, Advice);

const BRAKE_LATER: Said = (Phase::Brake, Advice::Later);
const BRAKE_SOFTER: Said = (Phase::Brake, Advice::Softer);
const TRAIL_LONGER: Said = (Phase::Trail, Advice::Longer);
const FASTER: Said = (Phase::Rotation, Advice::Faster);
const SLOWER: Said = (Phase::Rotation, Advice::Slower);
const SOONER: Said = (Phase::Throttle, Advice::Sooner);
/// A lift once on the throttle.
pub const STEADY: Said = (Phase::Throttle, Advice::Steady);
const SMALLER_LIFT: Said = (Phase::Brake, Advice::SmallerLift);

/// What a coach would say of a fault, the best first. Some mistakes can be put in more than one
/// way: rolling for too long is braking too soon and being late on the throttle. Common practice,
/// no source.
pub fn right(kind: FaultKind) -> &'static [Said] {
    match kind {
        FaultKind::BrakeEarly => &[BRAKE_LATER],
        FaultKind::BrakeLate => &[(Phase::Brake, Advice::Sooner)],
        FaultKind::BrakeSoft => &[(Phase::Brake, Advice::Harder)],
        FaultKind::BrakeHard => &[BRAKE_SOFTER, FASTER, TRAIL_LONGER],
        FaultKind::TrailShort => &[TRAIL_LONGER, FASTER, BRAKE_SOFTER],
        FaultKind::TrailLong => &[(Phase::Trail, Advice::Shorter), FASTER, SOONER],
        FaultKind::OverSlow => &[FASTER],
        FaultKind::TooFast => &[SLOWER],
        FaultKind::Wide => &[(Phase::Rotation, Advice::Tighter), FASTER],
        FaultKind::Tight => &[(Phase::Rotation, Advice::Wider)],
        FaultKind::Coast => &[SOONER, BRAKE_LATER, TRAIL_LONGER, FASTER],
        FaultKind::ThrottleLate => &[SOONER],
        FaultKind::ThrottleEarly => &[(Phase::Throttle, Advice::Later), STEADY, SLOWER],
        FaultKind::LiftAfter => &[STEADY],
        FaultKind::SlowToFull => &[(Phase::Throttle, Advice::Fuller)],
        FaultKind::ExitUnused => &[(Phase::Throttle, Advice::MoreRoad)],
        FaultKind::Lift => &[SMALLER_LIFT],
        FaultKind::Faster => &[(Phase::Straight, Advice::Better)],
    }
}

/// Whether a saying is right for a fault in a corner of a kind. Of corners that are only lifted
/// for or flat nothing is told but the lift.
pub fn is_right(kind: FaultKind, corner: CornerKind, said: Said) -> bool {
    right(kind).iter().any(|&r| same(r, said))
        || (corner != CornerKind::Braked && said == SMALLER_LIFT)
}

/// Whether two sayings are the same; the whole corner's praise has no phase.
pub fn same(a: Said, b: Said) -> bool {
    a.1 == b.1 && (a.0 == b.0 || a.1 == Advice::Better)
}

//! Which advice is right for what.

use super::Deviation;
use cuepost_engine::thresholds::Thresholds;
use cuepost_engine::{Advice, Phase};
use cuepost_host::demo::fault::FaultKind;

/// Phase and advice.
pub type Said = (Phase, Advice);

const BETTER: Said = (Phase::Straight, Advice::Better);
const BRAKE_SOONER: Said = (Phase::Brake, Advice::Sooner);
const BRAKE_LATER: Said = (Phase::Brake, Advice::Later);
const BRAKE_HARDER: Said = (Phase::Brake, Advice::Harder);
const BRAKE_SOFTER: Said = (Phase::Brake, Advice::Softer);
const TRAIL_LONGER: Said = (Phase::Trail, Advice::Longer);
const TRAIL_SHORTER: Said = (Phase::Trail, Advice::Shorter);
const FASTER: Said = (Phase::Rotation, Advice::Faster);
const SLOWER: Said = (Phase::Rotation, Advice::Slower);
const WIDER: Said = (Phase::Rotation, Advice::Wider);
const TIGHTER: Said = (Phase::Rotation, Advice::Tighter);
const SOONER: Said = (Phase::Throttle, Advice::Sooner);
const LATER: Said = (Phase::Throttle, Advice::Later);
const FULLER: Said = (Phase::Throttle, Advice::Fuller);
const STEADY: Said = (Phase::Throttle, Advice::Steady);
const MORE_ROAD: Said = (Phase::Throttle, Advice::MoreRoad);
/// What is told of corners that are only lifted for or flat.
pub const SMALLER_LIFT: Said = (Phase::Brake, Advice::SmallerLift);

/// What a coach would say of a planted fault, the best first. Common practice, no source.
pub fn right(kind: FaultKind) -> &'static [Said] {
    match kind {
        FaultKind::BrakeEarly => &[BRAKE_LATER],
        FaultKind::BrakeLate => &[BRAKE_SOONER],
        FaultKind::BrakeSoft => &[BRAKE_HARDER],
        // Slow too soon from the right place: carry more speed, by braking less hard.
        FaultKind::BrakeHard => &[BRAKE_SOFTER, FASTER, TRAIL_LONGER],
        FaultKind::TrailShort => &[TRAIL_LONGER, FASTER, BRAKE_SOFTER],
        FaultKind::TrailLong => &[TRAIL_SHORTER, FASTER, SOONER],
        FaultKind::OverSlow => &[FASTER],
        FaultKind::TooFast => &[SLOWER],
        FaultKind::Wide => &[TIGHTER, FASTER],
        FaultKind::Tight => &[WIDER],
        FaultKind::Coast => &[SOONER, BRAKE_LATER, FASTER],
        FaultKind::ThrottleLate => &[SOONER],
        FaultKind::ThrottleEarly => &[LATER, STEADY, SLOWER],
        FaultKind::LiftAfter => &[STEADY],
        FaultKind::SlowToFull => &[FULLER],
        FaultKind::ExitUnused => &[MORE_ROAD],
        FaultKind::Lift => &[SMALLER_LIFT],
        FaultKind::Faster => &[BETTER],
    }
}

/// Whether two sayings are the same; the whole corner's praise has no phase.
pub fn same(a: Said, b: Said) -> bool {
    a.1 == b.1 && (a.0 == b.0 || a.1 == Advice::Better)
}

/// Whether what really happened supports an advice, at four fifths of its threshold: a cue in a
/// corner without a planted fault is false when it does not.
pub fn supported(said: Said, d: &Deviation, t: &Thresholds) -> bool {
    let beyond = |x: Option<f64>, limit: f32| x.is_some_and(|x| x > 0.8 * f64::from(limit));
    let less = |x: Option<f64>| x.map(|x| -x);
    let lost = d.loss_s > 0.8 * f64::from(t.loss_s);
    match said {
        (_, Advice::Better) => -d.loss_s > 0.8 * f64::from(t.better_s),
        (Phase::Brake, Advice::Sooner) => lost && beyond(d.brake_m, t.brake_m),
        (Phase::Brake, Advice::Later) => lost && beyond(less(d.brake_m), t.brake_m),
        (Phase::Rotation, Advice::Faster) => lost && beyond(less(d.slowest_mps), t.slowest_mps),
        (Phase::Rotation, Advice::Slower) => lost && beyond(d.slowest_mps, t.slowest_mps),
        (Phase::Throttle, Advice::Sooner) => lost && beyond(d.throttle_m, t.throttle_m),
        (Phase::Throttle, Advice::Later) => lost && beyond(less(d.throttle_m), t.throttle_m),
        (Phase::Throttle, Advice::Fuller) => lost && beyond(d.full_m, t.full_m),
        _ => false,
    }
}

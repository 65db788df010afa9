//! Which advice what really happened bears out.

use super::Deviation;
use cuepost_engine::thresholds::Thresholds;
use cuepost_engine::{Advice, Phase};
use cuepost_host::demo::advice::Said;

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
        (Phase::Brake, Advice::Harder) => lost && beyond(less(d.decel_ratio), t.decel_ratio),
        (Phase::Brake, Advice::Softer) => lost && beyond(d.decel_ratio, t.decel_ratio),
        (Phase::Trail, Advice::Longer) => lost && beyond(less(d.release_m), t.trail_m),
        (Phase::Trail, Advice::Shorter) => lost && beyond(d.release_m, t.trail_m),
        (Phase::Rotation, Advice::Tighter) => lost && beyond(Some(d.slowest_out_m), t.offset_m),
        (Phase::Rotation, Advice::Wider) => lost && beyond(Some(-d.slowest_out_m), t.offset_m),
        (Phase::Throttle, Advice::MoreRoad) => lost && beyond(Some(-d.exit_out_m), t.offset_m),
        _ => false,
    }
}

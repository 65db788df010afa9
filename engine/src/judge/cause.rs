//! The decision table: which difference is the cause.

use super::Deviations;
use super::deviation::MISSING_SHARE;
use crate::cue::{Advice, Phase, Size};
use crate::math::larger;
use crate::thresholds::Thresholds;

/// More full drive lacking than this much of the throttle's lateness is a slow foot.
const SLOW_FOOT: f32 = 0.6;

/// Speed missing before the throttle explains a late throttle from this share of its size on, both
/// in their thresholds.
const EARLIER_SHARE: f32 = 0.8;
/// Off the brake sooner by more than this much of it because it was taken sooner: all of it moved.
const MOVED: f32 = 0.4;
/// The same while the braking is not far too early by itself, in its thresholds.
const MOVED_A_LITTLE: f32 = 0.47;
const FAR: f32 = 2.0;
/// A part of the corner that lost less than this share of the whole explains nothing.
const PART_LEAST: f32 = 0.3;

/// A late release explains a late throttle from this share of its metres on.
const HELD_SHARE: f32 = 0.6;
/// Together with another sign of the same, this share of a threshold is enough.
const NEARLY: f32 = 0.5;

/// A brake, a trail or a throttle that was wrong shows in the speed, by this much of its threshold,
/// or in a loss of so many times what is worth telling.
const SPEED_SHARE: f32 = 0.7;
const MUCH: f32 = 4.0;
/// A loss this many times what is worth telling does not come of the noise.
const CERTAIN: f32 = 2.0;

type Told = (Phase, Advice, Size);

/// The cause of a loss in a corner that is braked for.
pub fn braked(d: &Deviations, limit: &Thresholds) -> Option<Told> {
    let told = chain(d, limit).or_else(|| {
        // No chain: the phases in the order of what they lost.
        let mut parts = [
            (d.loss_entry_s, 0u8),
            (d.loss_middle_s, 1),
            (d.loss_exit_s, 2),
        ];
        parts.sort_unstable_by(|a, b| b.0.total_cmp(&a.0));
        parts.iter().find_map(|(lost_s, part)| {
            let told = match part {
                0 => entry(d, limit),
                1 => middle(d),
                _ => exit(d, limit),
            };
            told.filter(|_| {
                *lost_s > PART_LEAST * (d.loss_entry_s + d.loss_middle_s + d.loss_exit_s)
            })
        })
    });
    told.filter(|told| shows(told, d, limit))
}

/// Whether the speed bears it out: who brakes or lets go too soon, or takes up the throttle late,
/// falls behind the reference's speed for it, or loses much. A place that was dated wrong leaves no
/// such trace.
fn shows((phase, advice, _): &Told, d: &Deviations, limit: &Thresholds) -> bool {
    let by_speed = matches!(
        (phase, advice),
        (Phase::Brake, Advice::Later)
            | (Phase::Trail, Advice::Longer | Advice::Shorter)
            | (Phase::Throttle, Advice::Sooner)
    );
    let least_mps = SPEED_SHARE * limit.slowest_mps;
    let slower_mps = larger(-d.slowest_mps.value, -d.exit_mps.value);
    !by_speed
        || larger(d.dip_mps.value, slower_mps) > least_mps
        || d.loss_entry_s + d.loss_middle_s + d.loss_exit_s > MUCH * limit.loss_s
}

/// The first mistake that explains the later ones.
fn chain(d: &Deviations, limit: &Thresholds) -> Option<Told> {
    let wide = d.apex_out_m.more() || d.exit_out_m.more();
    let late_throttle = d.throttle_m.more();
    let slow_middle = d.slowest_mps.less();
    // Slowed too much by the brake, and not just by being late back on the throttle.
    let slow_share = d.slowed_mps.size() / limit.slowest_mps;
    let late_share = d.throttle_m.size() / limit.throttle_m;
    let before_throttle = d.slowed_mps.less() && slow_share > EARLIER_SHARE * late_share;
    // On the brake for longer, and the throttle as much later: not just off both pedals.
    let held = d.release_m.more() && d.release_m.value > HELD_SHARE * d.throttle_m.value;
    let over_slowed =
        slow_middle && (before_throttle || held || !(late_throttle || waited(d, limit)));
    // Too deep: everything after it follows from there. Who came slower brakes later.
    let deep = d.brake_m.more() && d.brake_m.value - d.slower_m > limit.brake_m;
    if deep && (wide || late_throttle || slow_middle || d.loss_middle_s > limit.loss_s) {
        return Some((Phase::Brake, Advice::Sooner, Size::Metres(d.brake_m.size())));
    }
    // Too fast in the middle: wide or late on the throttle for it.
    if d.slowest_mps.more()
        && d.slowed_mps.value > 0.0
        && (wide || late_throttle || d.exit_mps.less())
    {
        return Some((
            Phase::Rotation,
            Advice::Slower,
            Size::Speed(d.slowest_mps.size()),
        ));
    }
    // Road left over at the exit: why the throttle waits, and the car is slowest late. Who lifts
    // there did not wait.
    let unused = d.exit_out_m.less() && d.exit_out_m.value < d.apex_out_m.value;
    if unused
        && !before_throttle
        && !d.lift_s.more()
        && d.loss_exit_s > limit.loss_s
        && d.loss_exit_s > d.loss_entry_s + d.loss_middle_s
    {
        return Some((
            Phase::Throttle,
            Advice::MoreRoad,
            Size::Metres(d.exit_out_m.size()),
        ));
    }
    // Off the line in the middle, and not because of the brakes or the speed.
    let tight = d.apex_out_m.less() && slow_middle;
    let lost_s = d.loss_entry_s + d.loss_middle_s + if tight { d.loss_exit_s } else { 0.0 };
    if (d.apex_out_m.more() || tight) && lost_s > limit.loss_s {
        let advice = if d.apex_out_m.more() {
            Advice::Tighter
        } else {
            Advice::Wider
        };
        return Some((Phase::Rotation, advice, Size::Metres(d.apex_out_m.size())));
    }
    if over_slowed {
        if d.brake_m.less() && d.loss_entry_s >= d.loss_middle_s.max(limit.loss_s) {
            return Some(early(d, limit));
        }
        return Some((
            Phase::Rotation,
            Advice::Faster,
            Size::Speed(d.slowest_mps.size()),
        ));
    }
    if d.brake_m.less() && d.loss_entry_s >= limit.loss_s.min(0.5 * limit.loss_s + 0.02) {
        return Some(early(d, limit));
    }
    None
}

/// Braked early: because the braking was soft, or for no reason.
fn early(d: &Deviations, limit: &Thresholds) -> Told {
    // Let go far sooner than taken sooner: the trail is what was cut short.
    if d.coast_s.more()
        && d.release_m.less()
        && d.brake_m.value > moved(d, limit) * d.release_m.value
    {
        return (
            Phase::Trail,
            Advice::Longer,
            Size::Metres(d.release_m.size()),
        );
    }
    let rolled = d.coast_s.more() && d.release_m.value < MOVED * d.brake_m.value;
    if d.decel_mps2.less() && d.peak_decel_mps2.less() && !rolled {
        (
            Phase::Brake,
            Advice::Harder,
            Size::Deceleration(d.decel_mps2.size()),
        )
    } else {
        (Phase::Brake, Advice::Later, Size::Metres(d.brake_m.size()))
    }
}

/// The share of an early release from which on an early braking explains it.
fn moved(d: &Deviations, limit: &Thresholds) -> f32 {
    if d.brake_m.size() < FAR * limit.brake_m {
        MOVED_A_LITTLE
    } else {
        MOVED
    }
}

/// Rolled for longer, and nearly late on the throttle and slow for it, with no speed missing before.
fn waited(d: &Deviations, limit: &Thresholds) -> bool {
    d.coast_s.more()
        && d.slowest_mps.less()
        && d.throttle_m.value > NEARLY * limit.throttle_m
        && d.slowed_mps.value > -NEARLY * limit.slowest_mps
}

fn entry(d: &Deviations, limit: &Thresholds) -> Option<Told> {
    // Time lost on the way in by who braked later was lost before the brake, by lifting.
    if d.brake_m.more() {
        return (d.loss_entry_s > limit.loss_s).then_some((
            Phase::Throttle,
            Advice::Steady,
            Size::Seconds(d.loss_entry_s),
        ));
    }
    // Softer throughout; a stab, and rolling behind it, is soft in the mean only. Who came slower to
    // the same place, by rolling there, has less to slow down for.
    let stabbed = !d.peak_decel_mps2.less() || d.coast_s.more();
    let nearly_early = d.brake_m.value < -NEARLY * limit.brake_m;
    let rolled = d.come_mps.less() && !nearly_early;
    if d.decel_mps2.less() && !stabbed && !rolled {
        return Some((
            Phase::Brake,
            Advice::Harder,
            Size::Deceleration(d.decel_mps2.size()),
        ));
    }
    // Rolling into the corner: braked too soon, or let go too soon.
    if d.coast_s.more() && d.release_m.less() {
        if d.brake_m.value < moved(d, limit) * d.release_m.value {
            return Some((Phase::Brake, Advice::Later, Size::Metres(d.brake_m.size())));
        }
        return Some((
            Phase::Trail,
            Advice::Longer,
            Size::Metres(d.release_m.size()),
        ));
    }
    if d.brake_m.less() {
        return Some((Phase::Brake, Advice::Later, Size::Metres(d.brake_m.size())));
    }
    // So much is lost on the way in only by a brake taken early, be its place known less well, by
    // who neither came slower nor braked softer, and did not lose on the way out for a throttle taken up at once.
    let certain = d.loss_entry_s > CERTAIN * limit.loss_s;
    let hurried = d.throttle_m.less() && d.release_m.less();
    let told_at_exit = hurried && d.loss_exit_s > limit.loss_s;
    if nearly_early && certain && !told_at_exit && !d.come_mps.less() && !d.decel_mps2.less() {
        return Some((Phase::Brake, Advice::Later, Size::Metres(d.brake_m.size())));
    }
    // From the brake to the throttle too soon, harder for it: told at the exit.
    if d.decel_mps2.more() && !hurried {
        return Some((
            Phase::Brake,
            Advice::Softer,
            Size::Deceleration(d.decel_mps2.size()),
        ));
    }
    None
}

fn middle(d: &Deviations) -> Option<Told> {
    if d.slowest_mps.less() && d.slowed_mps.less() {
        return Some((
            Phase::Rotation,
            Advice::Faster,
            Size::Speed(d.slowest_mps.size()),
        ));
    }
    // Shorter or longer by where the brake was let go, not by where the bend was begun.
    if d.trail_m.more() && d.release_m.value > 0.0 {
        return Some((
            Phase::Trail,
            Advice::Shorter,
            Size::Metres(d.trail_m.size()),
        ));
    }
    if d.trail_m.less() && d.release_m.value < 0.0 {
        return Some((Phase::Trail, Advice::Longer, Size::Metres(d.trail_m.size())));
    }
    if d.apex_out_m.more() {
        return Some((
            Phase::Rotation,
            Advice::Tighter,
            Size::Metres(d.apex_out_m.size()),
        ));
    }
    if d.apex_out_m.less() {
        return Some((
            Phase::Rotation,
            Advice::Wider,
            Size::Metres(d.apex_out_m.size()),
        ));
    }
    if d.throttle_m.more() {
        return Some((
            Phase::Throttle,
            Advice::Sooner,
            Size::Metres(d.throttle_m.size()),
        ));
    }
    None
}

fn exit(d: &Deviations, limit: &Thresholds) -> Option<Told> {
    if d.lift_s.more() {
        return Some((
            Phase::Throttle,
            Advice::Steady,
            Size::Seconds(d.lift_s.size()),
        ));
    }
    // The road left over is why the throttle had to wait.
    if d.exit_out_m.less() {
        return Some((
            Phase::Throttle,
            Advice::MoreRoad,
            Size::Metres(d.exit_out_m.size()),
        ));
    }
    // On the brake for longer than the reference, and so late on the throttle or not on it at all
    // before the next braking.
    if d.release_m.more() && d.trail_m.more() {
        return Some((
            Phase::Trail,
            Advice::Shorter,
            Size::Metres(d.trail_m.size()),
        ));
    }
    // On it so soon that it could not be held down.
    if d.throttle_m.less() && d.missing_m.more() {
        return Some((
            Phase::Throttle,
            Advice::Later,
            Size::Metres(d.throttle_m.size()),
        ));
    }
    // What is missing once on the throttle, and does not follow from taking it up late: a throttle
    // that comes late comes in as usual, so that the car lacks a part of the lateness behind it.
    let slow_foot = d.missing_m.more()
        || (d.exit_mps.less()
            && d.slowed_mps.value > -NEARLY * limit.slowest_mps
            && d.missing_m.value > NEARLY * MISSING_SHARE * limit.full_m);
    if slow_foot && d.missing_m.value > SLOW_FOOT * d.throttle_m.value {
        return Some((Phase::Throttle, Advice::Fuller, Size::Metres(foot_m(d))));
    }
    if d.throttle_m.more() || waited(d, limit) {
        return Some((
            Phase::Throttle,
            Advice::Sooner,
            Size::Metres(d.throttle_m.size()),
        ));
    }
    if d.throttle_m.less() && (d.exit_out_m.more() || d.exit_mps.less()) {
        return Some((
            Phase::Throttle,
            Advice::Later,
            Size::Metres(d.throttle_m.size()),
        ));
    }
    None
}

/// How much sooner the throttle can be full: where that was seen, else at least twice the drive
/// that lacks, as a ramp's area is half of its length.
fn foot_m(d: &Deviations) -> f32 {
    if d.full_m.more() {
        d.full_m.size()
    } else {
        2.0 * d.missing_m.size()
    }
}

/// The cause of a loss in a corner that is lifted for or flat: only a lift larger than the
/// reference's, in it or on the way out.
pub fn lifted(d: &Deviations) -> Option<Told> {
    if d.dip_mps.more() {
        return Some((
            Phase::Brake,
            Advice::SmallerLift,
            Size::Speed(d.dip_mps.size()),
        ));
    }
    (d.lift_s.more()).then_some((
        Phase::Throttle,
        Advice::Steady,
        Size::Seconds(d.lift_s.size()),
    ))
}

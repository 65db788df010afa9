//! What is right to say of a passage whose pedals are known: the decision table of
//! `docs/METHOD.md`, applied to what really happened.
//!
//! | measured on pedals and road, live minus reference | right |
//! |---|---|
//! | reached at less than 90 % of the reference's speed; lost less than the least loss | nothing |
//! | gained the least gain | better |
//! | foot off the throttle on the way to the brake | throttle steady; not braked later: brake later |
//! | braked later, then wide, slow in the middle, late on the throttle, or lost at the entry | brake sooner; reached slowly: the rows below too |
//! | faster in the middle, then wide, slow out or late on the throttle | rotation slower |
//! | outside at the slowest point | rotation tighter |
//! | braked sooner and lost at the entry | brake later; softer as well: brake harder; less than half lost there: the rows below too |
//! | slow in the middle, and not only for being late on the throttle | rotation faster; brake released late: trail shorter; not slow yet where the reference is: throttle sooner |
//! | softer, harder at the entry | brake harder, softer |
//! | off the brake sooner / later, and slower or later for it | trail longer / shorter |
//! | inside at the slowest point | rotation wider |
//! | a lift on the way out | throttle steady |
//! | road left at the exit | more road |
//! | a slow foot | throttle fuller |
//! | late on the throttle | throttle sooner; touched in time and left again: throttle steady too |
//! | early on the throttle, and slow out | throttle later |
//!
//! The first cause counts: later rows are looked at only where no earlier one holds. A threshold
//! is no wall: each row is asked at four fifths and at five fourths of it as well, and what any of
//! the three says is right.

use super::measured::Differs;
use cuepost_engine::thresholds::Thresholds;
use cuepost_engine::{Advice, Phase};

/// Phase and advice.
pub type Said = (Phase, Advice);

const BRAKE_SOONER: Said = (Phase::Brake, Advice::Sooner);
const BRAKE_LATER: Said = (Phase::Brake, Advice::Later);
const HARDER: Said = (Phase::Brake, Advice::Harder);
const SOFTER: Said = (Phase::Brake, Advice::Softer);
const LONGER: Said = (Phase::Trail, Advice::Longer);
const SHORTER: Said = (Phase::Trail, Advice::Shorter);
const FASTER: Said = (Phase::Rotation, Advice::Faster);
const SLOWER: Said = (Phase::Rotation, Advice::Slower);
const TIGHTER: Said = (Phase::Rotation, Advice::Tighter);
const WIDER: Said = (Phase::Rotation, Advice::Wider);
const SOONER: Said = (Phase::Throttle, Advice::Sooner);
const LATER: Said = (Phase::Throttle, Advice::Later);
const STEADY: Said = (Phase::Throttle, Advice::Steady);
const FULLER: Said = (Phase::Throttle, Advice::Fuller);
const MORE_ROAD: Said = (Phase::Throttle, Advice::MoreRoad);
const BETTER: Said = (Phase::Straight, Advice::Better);

/// A foot off the throttle for longer than this is a lift, seconds.
const LIFT_S: f64 = 0.3;
/// Reached slower than this, nothing is judged.
const ARRIVED: f64 = 0.9;

/// Reached slower than this, the same brake point is a later one for no fault.
const SLOWLY: f64 = 0.97;

/// What is right to say; empty where only silence is.
pub fn right(d: &Differs, t: &Thresholds) -> Vec<Said> {
    let mut all: Vec<Said> = [0.8, 1.0, 1.25]
        .iter()
        .flat_map(|&share| table(d, t, share))
        .collect();
    all.sort_unstable();
    all.dedup();
    all
}

/// Farther beside the reference's line than this a car has left the road, metres.
const OFF_ROAD_M: f64 = 6.0;
/// Who loses this much in one corner spun or stood, seconds.
const STOOD_S: f64 = 10.0;

/// Whether silence is right: with a margin for what a receiver's noise hides, for who came slowly,
/// and for who left the road or spun: he knows, and no advice of a corner is of any use to him.
pub fn silence_is_right(d: &Differs, t: &Thresholds) -> bool {
    let worth =
        d.whole_s() > 1.3 * f64::from(t.loss_s) || -d.whole_s() > 1.3 * f64::from(t.better_s);
    let off = d.slowest_out_m.abs().max(d.exit_out_m.abs()) > OFF_ROAD_M || d.whole_s() > STOOD_S;
    !worth || off || d.arrived_ratio < ARRIVED + 0.02
}

fn table(d: &Differs, t: &Thresholds, share: f64) -> Vec<Said> {
    let limit = |x: f32| share * f64::from(x);
    let whole_s = d.whole_s();
    if d.arrived_ratio < ARRIVED - 0.02 {
        return Vec::new();
    }
    if whole_s <= -limit(t.better_s) {
        return vec![BETTER];
    }
    if whole_s < limit(t.loss_s) {
        return Vec::new();
    }
    let mut said = entry(d, t, share);
    let slowly = said.contains(&BRAKE_SOONER) && d.arrived_ratio <= SLOWLY;
    if said.is_empty() || slowly {
        said.extend(exit(d, t, share));
    }
    said
}

/// The first mistake, up to the slowest point.
fn entry(d: &Differs, t: &Thresholds, share: f64) -> Vec<Said> {
    let limit = |x: f32| share * f64::from(x);
    let slow = d.slowest_mps < -limit(t.slowest_mps);
    let late = late(d, t, share);
    let wide = d.slowest_out_m.max(d.exit_out_m) > limit(t.offset_m);
    let at_entry = d.loss_s[0] > share * 0.3 * d.whole_s();
    let mut said = Vec::new();
    // The foot came off on the way: the road in between was rolled, and the brake follows from it.
    let rolled = d.rolled_s > share * LIFT_S && d.loss_s[0] > 0.0;
    if rolled {
        said.push(STEADY);
        if d.brake_m < limit(t.brake_m) {
            said.push(BRAKE_LATER);
        }
    }
    let spoilt = wide || slow || late || d.loss_s[1] > limit(t.loss_s) || at_entry;
    if d.brake_m > limit(t.brake_m) && !rolled && spoilt {
        said.push(BRAKE_SOONER);
        // Reached slowly, braking late is not braking deep.
        if d.arrived_ratio > SLOWLY {
            return said;
        }
    }
    if d.slowest_mps > limit(t.slowest_mps)
        && (wide || late || d.exit_mps < -0.7 * limit(t.slowest_mps))
    {
        said.push(SLOWER);
    }
    if d.slowest_out_m > limit(t.offset_m) {
        said.push(TIGHTER);
    }
    if d.brake_m < -limit(t.brake_m) && d.loss_s[0] > limit(t.loss_s) {
        said.push(BRAKE_LATER);
        if d.decel_ratio < -limit(t.decel_ratio) {
            said.push(HARDER);
        }
        // Most was lost later, for another reason.
        if d.loss_s[0] < 0.5 * d.whole_s() {
            said.extend(exit(d, t, share));
        }
    }
    // Slow before the throttle, by more than the lateness explains.
    let lateness = d.throttle_m.unwrap_or(0.0).max(0.0) / f64::from(t.throttle_m);
    let before = -d.slowed_mps / f64::from(t.slowest_mps);
    let long = d.release_m > 0.5 * limit(t.trail_m);
    if slow && (before > share.max(0.67 * share * lateness) || long || !late) {
        said.push(FASTER);
        if long {
            said.push(SHORTER);
        }
        // Not slow yet where the reference is: it came with the wait for the throttle.
        if late && before < share {
            said.push(SOONER);
        }
    }
    said
}

fn late(d: &Differs, t: &Thresholds, share: f64) -> bool {
    d.no_throttle
        || d.throttle_m
            .is_some_and(|m| m > share * f64::from(t.throttle_m))
}

/// Where no mistake at the entry explains it.
fn exit(d: &Differs, t: &Thresholds, share: f64) -> Vec<Said> {
    let limit = |x: f32| share * f64::from(x);
    let mut said = Vec::new();
    let mut add = |yes: bool, what: Said| {
        if yes {
            said.push(what);
        }
    };
    let at_entry = d.loss_s[0] > share * 0.3 * d.whole_s();
    add(at_entry && d.decel_ratio < -limit(t.decel_ratio), HARDER);
    add(at_entry && d.decel_ratio > limit(t.decel_ratio), SOFTER);
    add(d.release_m < -limit(t.trail_m), LONGER);
    add(d.release_m > 0.5 * limit(t.trail_m), SHORTER);
    add(d.slowest_out_m < -limit(t.offset_m), WIDER);
    add(d.lift_s > share * LIFT_S, STEADY);
    add(d.exit_out_m < -limit(t.offset_m), MORE_ROAD);
    add(d.to_full_m.is_some_and(|m| m > limit(t.full_m)), FULLER);
    let late = late(d, t, share);
    add(late, SOONER);
    // Touched in time and left again.
    let touched = d.touched_m.is_some_and(|m| m < limit(t.throttle_m));
    add(late && touched, STEADY);
    let early = d.throttle_m.is_some_and(|m| m < -limit(t.throttle_m));
    add(
        early && (d.exit_mps < 0.0 || d.exit_out_m > limit(t.offset_m)),
        LATER,
    );
    said
}

/// Whether a cue told as it happens is right: throttle overdue, whatever comes of it later.
pub fn right_now(d: &Differs, t: &Thresholds) -> bool {
    late(d, t, 0.8)
}

/// Whether an advice for a bend without a braking zone is borne out by what it lost and by the
/// pedals there; none where neither tells.
pub fn right_in_bend(said: Said, lost_s: f64, behind_s: f64, t: &Thresholds) -> Option<bool> {
    match said {
        (_, Advice::Better) => Some(-lost_s > 0.8 * f64::from(t.better_s)),
        (_, Advice::SmallerLift | Advice::Steady) | SOONER | FULLER => {
            Some(lost_s > 0.8 * f64::from(t.loss_s) && behind_s > 0.1)
        }
        _ => None,
    }
}

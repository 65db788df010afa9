//! What the faulted drive said against what the clean one did.

use super::inject::Injected;
use super::report::{NAMED_S, RECOVERED_S, Row};
use super::{Clean, Run, Stream};
use cuepost_engine::judge::{Deviation, Deviations, MISSING_SHARE};
use cuepost_engine::thresholds::Thresholds;
use cuepost_engine::{Advice, Cue, Facts, HealthState, Phase, Told};

/// Two cues this close are the same one, seconds.
const SAME_S: f64 = 8.0;
/// A passage's facts come within this of a cue about it, seconds.
const PASSAGE_S: f64 = 40.0;
/// A true deviation bears a cue out from this share of its threshold.
const SHARE: f32 = 0.6;
/// A place this far from the true one is wrong, metres.
const ASTRAY_M: f32 = 10.0;
/// Good health counts as recovered once it lasts, seconds.
const LASTS_S: f64 = 1.0;
/// A lap's end may be off by this, seconds,
const LAP_END_S: f64 = 3.0;
/// and its time by this.
const LAP_S: f64 = 0.06;

/// Everything about one faulted drive.
pub fn row(stream: &Stream, clean: &Clean, fed: &Injected, run: &Run) -> Row {
    let mut row = Row {
        episodes: fed.episodes.len(),
        ..Row::default()
    };
    cues(stream, clean, fed, run, &mut row);
    laps(stream, clean, fed, run, &mut row);
    health(stream, clean, fed, run, &mut row);
    row
}

fn seconds(us: u64) -> f64 {
    us as f64 * 1e-6
}

fn cues(stream: &Stream, clean: &Clean, fed: &Injected, run: &Run, row: &mut Row) {
    let clean_s = |at: usize| seconds(stream.samples[at].time_us);
    let limit = scaled(&Thresholds::DEFAULT);
    for cue in &run.cues {
        row.cues += 1;
        let at_s = seconds(fed.samples[cue.at].clean_us);
        let c = &cue.what;
        let is_same = |(then_s, o): &(f64, Cue)| {
            // A reminder and the advice on the way out are the same thing said.
            let apart = if c.told == o.told { SAME_S } else { PASSAGE_S };
            (o.corner, o.phase, o.advice) == (c.corner, c.phase, c.advice)
                && (then_s - at_s).abs() < apart
        };
        if clean.cues.iter().any(is_same) {
            row.same += 1;
            continue;
        }
        let of_corner = clean.run.facts.iter().filter(|f| f.what.corner == c.corner);
        let borne_out = if c.told == Told::Ahead {
            let before = of_corner.filter(|f| clean_s(f.at) <= at_s + 1.0);
            before
                .rev()
                .take(3)
                .any(|f| bears_out(stream, c, &f.what, &limit))
        } else {
            of_corner
                .filter(|f| (clean_s(f.at) - at_s).abs() < PASSAGE_S)
                .any(|f| bears_out(stream, c, &f.what, &limit))
        };
        if borne_out {
            row.borne_out += 1;
        } else {
            row.wrong.push(format!(
                "{} at {:.1} s (true time {:.1} s): corner {} {:?} {:?} {:?} {:?}, off by {:?} m",
                stream.name,
                at_s,
                seconds(fed.samples[cue.at].wall_us),
                c.corner,
                c.phase,
                c.advice,
                c.told,
                c.size,
                off_m(stream, clean, fed, run, cue.at),
            ));
        }
    }
}

fn scaled(t: &Thresholds) -> Thresholds {
    Thresholds {
        brake_m: SHARE * t.brake_m,
        decel_ratio: SHARE * t.decel_ratio,
        trail_m: SHARE * t.trail_m,
        slowest_mps: SHARE * t.slowest_mps,
        offset_m: SHARE * t.offset_m,
        throttle_m: SHARE * t.throttle_m,
        full_m: SHARE * t.full_m,
        lift_s: SHARE * t.lift_s,
        coast_s: SHARE * t.coast_s,
        loss_s: SHARE * t.loss_s,
        better_s: SHARE * t.better_s,
    }
}

/// Whether the clean drive deviated that way.
fn bears_out(stream: &Stream, cue: &Cue, facts: &Facts, limit: &Thresholds) -> bool {
    let reference = stream.reference.view();
    let Some(corner) = reference.corners.get(usize::from(cue.corner) - 1) else {
        return false;
    };
    let d = Deviations::of(&reference, corner, facts, limit);
    let loss_s = facts.loss_s().unwrap_or(0.0);
    // The doubt of an offset is that of the day's common one, which these streams have not: the
    // measured value itself is the truth of the clean drive.
    let out = |d: Deviation, way: f32| way * d.value > limit.offset_m;
    match (cue.phase, cue.advice) {
        (_, Advice::Better) => loss_s < -limit.better_s,
        (_, Advice::SmallerLift) => {
            d.dip_mps.more() || d.slowest_mps.less() || d.slowed_mps.less() || d.exit_mps.less()
        }
        (Phase::Brake, Advice::Sooner) => d.brake_m.more(),
        (Phase::Brake, Advice::Later) => {
            let nearly = d.brake_m.value < -0.5 * limit.brake_m;
            d.brake_m.less() || (nearly && (d.decel_mps2.less() || d.release_m.less()))
        }
        (Phase::Brake, Advice::Harder) => d.decel_mps2.less() || d.peak_decel_mps2.less(),
        (Phase::Brake, Advice::Softer) => d.decel_mps2.more() || d.peak_decel_mps2.more(),
        (Phase::Trail, Advice::Longer) => d.trail_m.less() || d.release_m.less(),
        (Phase::Trail, Advice::Shorter) => d.trail_m.more() || d.release_m.more(),
        (_, Advice::Faster) => d.slowest_mps.less() || d.slowed_mps.less() || d.exit_mps.less(),
        (_, Advice::Slower) => d.slowest_mps.more() || d.slowed_mps.more(),
        (_, Advice::Wider) => out(d.apex_out_m, -1.0) || out(d.exit_out_m, -1.0),
        (_, Advice::Tighter) => out(d.apex_out_m, 1.0) || out(d.exit_out_m, 1.0),
        (_, Advice::MoreRoad) => out(d.exit_out_m, -1.0),
        (_, Advice::Steady) => d.lift_s.more(),
        (_, Advice::Fuller) => {
            let lacks = d.missing_m.value > 0.5 * MISSING_SHARE * limit.full_m;
            let missing = d.missing_m.more() || (d.exit_mps.less() && lacks);
            d.full_m.more() || d.to_full_m.more() || missing
        }
        // Throttle that never came before the next corner is late as well.
        (_, Advice::Sooner) => {
            let never = facts.throttle_m.is_none() && corner.facts.throttle_m.is_some();
            never || d.throttle_m.more()
        }
        (_, Advice::Later) => d.throttle_m.less(),
        _ => false,
    }
}

/// How far the faulted drive's place is from the clean one's at the same spot.
fn off_m(stream: &Stream, clean: &Clean, fed: &Injected, run: &Run, at: usize) -> Option<f32> {
    let clean_us = fed.samples[at].clean_us;
    let there = stream.samples.partition_point(|s| s.time_us < clean_us);
    let known = clean.run.steps.get(there)?.progress_m?;
    let line = stream.reference.view();
    Some(line.ahead_m(known, run.steps[at].progress_m?))
}

fn laps(stream: &Stream, clean: &Clean, fed: &Injected, run: &Run, row: &mut Row) {
    // The last sample before another at which the car was not yet where the clean drive was at a
    // moment, and the true time at which it got there.
    let back = |from: usize, clean_s: f64| {
        let at = (0..from)
            .rev()
            .find(|&at| seconds(fed.samples[at].clean_us) <= clean_s)?;
        let (f, next) = (&fed.samples[at], fed.samples.get(at + 1));
        // As fast as the car went to the next sample, which may not be as fast as the clean one.
        let rate = next
            .filter(|n| n.clean_us > f.clean_us && n.wall_us > f.wall_us)
            .map_or(1.0, |n| {
                (n.wall_us - f.wall_us) as f64 / (n.clean_us - f.clean_us) as f64
            });
        let on_s = clean_s - seconds(f.clean_us);
        Some((at, seconds(f.wall_us) + rate * on_s))
    };
    row.laps_clean = clean.run.laps.len();
    let drive_end_s = stream.samples.last().map_or(0.0, |s| seconds(s.time_us));
    let mut found = 0;
    for lap in &run.laps {
        let end_s = seconds(fed.samples[lap.at].clean_us);
        let twin = clean
            .run
            .laps
            .iter()
            .find(|k| (seconds(stream.samples[k.at].time_us) - end_s).abs() < LAP_END_S);
        // The clean drive may end before it gets there.
        let behind_end = drive_end_s - end_s < LAP_END_S;
        if twin.is_none() && behind_end && !lap.what.valid {
            continue;
        }
        let Some(twin) = twin else {
            row.laps_false
                .push(format!("{} at {end_s:.1} s: {:?}", stream.name, lap.what));
            continue;
        };
        found += 1;
        let end_us = twin.what.end_us;
        let begin_us = end_us - twin.what.time_us;
        let took_s = back(lap.at, seconds(end_us)).and_then(|(at, end_s)| {
            let (_, begin_s) = back(at, seconds(begin_us))?;
            Some(end_s - begin_s)
        });
        let off_s = seconds(lap.what.time_us) - took_s.unwrap_or(0.0);
        if !lap.what.valid {
            row.laps_marked += 1;
        } else if off_s.abs() > LAP_S {
            row.laps_false.push(format!(
                "{} at {end_s:.1} s: off by {off_s:.3} s: {:?}",
                stream.name, lap.what
            ));
        } else {
            row.laps_right += 1;
        }
    }
    row.laps_missing = clean.run.laps.len().saturating_sub(found);
}

fn health(stream: &Stream, clean: &Clean, fed: &Injected, run: &Run, row: &mut Row) {
    let good = |at: usize| run.steps[at].health == HealthState::Ok;
    let was_good = |at: usize| {
        let clean_us = fed.samples[at].clean_us;
        let there = stream.samples.partition_point(|s| s.time_us < clean_us);
        clean
            .run
            .steps
            .get(there)
            .is_some_and(|s| s.health == HealthState::Ok)
    };
    // The longest time in good health at a wrong place.
    let mut astray_since: Option<f64> = None;
    for at in 0..fed.samples.len() {
        let off = off_m(stream, clean, fed, run, at);
        let now_s = seconds(fed.samples[at].wall_us);
        if good(at) && was_good(at) && off.is_some_and(|m| m.abs() > ASTRAY_M) {
            let since = *astray_since.get_or_insert(now_s);
            row.astray_s = row.astray_s.max(now_s - since);
        } else {
            astray_since = None;
        }
    }
    for (i, &(from_us, to_us)) in fed.episodes.iter().enumerate() {
        let next_us = fed.episodes.get(i + 1).map_or(u64::MAX, |e| e.0);
        let first = fed.samples.partition_point(|f| f.wall_us < from_us);
        let after = fed.samples.partition_point(|f| f.wall_us < to_us);
        let until = fed.samples.partition_point(|f| f.wall_us < next_us);
        if first >= fed.samples.len() || !was_good(first) {
            continue;
        }
        // Nothing can be said before a sample shows it.
        let shown_us = fed.samples[first].wall_us;
        let late_us = to_us.max(shown_us) + (LASTS_S * 1e6) as u64;
        let named = (first..until)
            .take_while(|&at| fed.samples[at].wall_us < late_us)
            .find(|&at| !good(at));
        let Some(named) = named else {
            row.unnamed += 1;
            continue;
        };
        let named_s = seconds(fed.samples[named].wall_us - shown_us);
        row.named_s.push(named_s);
        // From the first sample behind the fault from which on health stays good.
        let mut since: Option<f64> = None;
        for at in after..until {
            if !was_good(at) {
                since = None;
                break;
            }
            let now_s = seconds(fed.samples[at].wall_us);
            if !good(at) {
                since = None;
            } else if since.is_none() {
                since = Some(now_s);
            }
            if since.is_some_and(|s| now_s - s >= LASTS_S) {
                break;
            }
        }
        if let Some(since) = since {
            let took_s = (since - seconds(to_us)).max(0.0);
            row.recovered_s.push(took_s);
            if took_s > RECOVERED_S || named_s > NAMED_S {
                row.slow.push(format!(
                    "{} {:.1} to {:.1} s: named {named_s:.2} s, recovered {took_s:.2} s; {}",
                    stream.name,
                    seconds(from_us),
                    seconds(to_us),
                    story(run, fed, first, from_us, since + 0.1),
                ));
            }
        }
    }
}

/// The states of health from a sample on, with seconds since a fault's begin.
fn story(run: &Run, fed: &Injected, first: usize, from_us: u64, until_s: f64) -> String {
    let mut said = Vec::new();
    let mut before = None;
    for at in first..run.steps.len() {
        let now_s = seconds(fed.samples[at].wall_us);
        let (state, why) = (run.steps[at].health, run.steps[at].why);
        if now_s > until_s {
            break;
        }
        if before.replace((state, why)) != Some((state, why)) {
            said.push(format!("{:.2} {state:?} {why:?}", now_s - seconds(from_us)));
        }
    }
    said.join(", ")
}

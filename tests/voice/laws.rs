//! What must hold of everything that is said, whatever comes in.

use crate::ride::{Finished, Tape, Told, Wish, World};
use cuepost_engine::reference::{Corner, CornerKind, ReferenceView};
use cuepost_engine::{Advice, HealthState, Phase, Told as When};

/// A broken law, in words.
pub type Broken = Result<(), String>;

/// A cue stands this long, microseconds.
const ON_US: u64 = 1_500_000;
/// Samples in half the window of the acceleration, at most: 0.09 s at 50 Hz, and one for luck at
/// low rates.
const SAMPLES_LATE: usize = 6;
/// What can't be told within this time after its corner is dropped, microseconds.
const STALE_US: u64 = 12_000_000;
/// Quiet begins this long before a brake onset, seconds.
const QUIET_S: f64 = 2.0;
/// A reminder comes between so long before it, seconds.
const AHEAD_S: (f64, f64) = (3.5, 6.0);

fn law(tape: &Tape, holds: bool, words: &str, told: &Told) -> Broken {
    if holds {
        Ok(())
    } else {
        Err(format!("{words}\n{told:?}\n{}", before(tape, told)))
    }
}

/// A cue carries the source's own time of the moment it speaks of: a sample's, and one of the last
/// few, as an acceleration is known half a window late. Times never go back; two cues are never
/// nearer than one stands.
pub fn clock(tape: &Tape) -> Broken {
    for t in &tape.told {
        let steps = &tape.steps[t.at.saturating_sub(SAMPLES_LATE)..=t.at];
        let own = steps.iter().any(|s| s.time_us == t.cue.time_us);
        law(tape, own, "a cue's time is a late sample's", t)?;
    }
    for w in tape.told.windows(2) {
        let apart_us = w[1].cue.time_us.checked_sub(w[0].cue.time_us);
        law(
            tape,
            apart_us.is_some_and(|us| us >= ON_US),
            "a cue stands for 1.5 s",
            &w[1],
        )?;
    }
    Ok(())
}

/// Phases are told after they began, and in the order in which they began within a corner; a lap
/// ends between the two samples around its crossing.
pub fn back_dated(tape: &Tape) -> Broken {
    for (at, phase) in &tape.phases {
        if phase.time_us > tape.steps[*at].time_us {
            return Err(format!("a phase began before it is told: {phase:?}"));
        }
    }
    for w in tape.laps.windows(2) {
        if w[1].1.end_us <= w[0].1.end_us {
            return Err(format!("laps end one after the other: {:?}", w[1]));
        }
    }
    for (at, lap) in &tape.laps {
        if lap.end_us > tape.steps[*at].time_us {
            return Err(format!("a lap has ended when it is told: {lap:?}"));
        }
    }
    Ok(())
}

/// Nothing is told while the input or the place is in doubt, of a corner that is not there, or of
/// numbers that are none.
pub fn in_good_health(tape: &Tape, reference: &ReferenceView<'_>) -> Broken {
    for t in &tape.told {
        law(
            tape,
            t.health == HealthState::Ok,
            "cues are given in good health only",
            t,
        )?;
        let there = (1..=reference.corners.len()).contains(&usize::from(t.cue.corner));
        law(tape, there, "a cue names a corner of the reference", t)?;
        let finite = t.cue.loss_s.is_some_and(f32::is_finite) && t.cue.progress_m.is_finite();
        law(tape, finite, "a cue's numbers are numbers", t)?;
    }
    Ok(())
}

/// Whether the voice forgot between two samples what it had told, as it does when the place is in
/// doubt.
fn forgotten(tape: &Tape, from: usize, to: usize) -> bool {
    tape.steps[from..to].iter().any(|s| s.hushed)
}

/// One passage of a corner gets one cue at most; a reminder comes once before a passage, and never
/// of praise. The passage is the lap and corner the cue names. A reminder and a cue for the passage
/// it was for may both come, but the cue on the way out is then another advice: what was reminded
/// of is not repeated. Throttle overdue is told all the same.
pub fn once(tape: &Tape) -> Broken {
    for (i, t) in tape.told.iter().enumerate() {
        let ahead = t.cue.told == When::Ahead;
        law(
            tape,
            !ahead || t.cue.advice != Advice::Better,
            "nobody is reminded of praise",
            t,
        )?;
        for before in tape.told[..i].iter().rev() {
            if forgotten(tape, before.at, t.at) {
                break;
            }
            let same = (before.cue.lap, before.cue.corner) == (t.cue.lap, t.cue.corner);
            if !same {
                continue;
            }
            let both = (before.cue.told == When::Ahead, ahead);
            law(tape, both != (false, false), "one cue a passage", t)?;
            law(tape, both != (true, true), "one reminder a passage", t)?;
            law(
                tape,
                both != (false, true),
                "a reminder comes before the passage",
                t,
            )?;
            let again = (before.cue.phase, before.cue.advice) == (t.cue.phase, t.cue.advice);
            let repeated = again && t.cue.told == When::After;
            law(
                tape,
                !repeated,
                "what was reminded of is not repeated on the way out",
                t,
            )?;
        }
    }
    Ok(())
}

/// A cue on the way out comes before its corner is finished or within 12 s after: what comes later
/// is dropped. A reminder is for a passage that has not begun.
pub fn fresh(tape: &Tape) -> Broken {
    for t in &tape.told {
        let own = |f: &&Finished| (f.facts.lap, f.facts.corner) == (t.cue.lap, t.cue.corner);
        let Some(finished) = tape.finished[..t.finished].iter().rev().find(own) else {
            continue;
        };
        // The place was lost since, and laps are counted anew.
        if forgotten(tape, finished.at, t.at) {
            continue;
        }
        let since_us = t
            .cue
            .time_us
            .saturating_sub(tape.steps[finished.at].time_us);
        law(
            tape,
            t.cue.told != When::Ahead,
            "a reminder is for what comes",
            t,
        )?;
        law(
            tape,
            since_us <= STALE_US,
            "what comes too late is dropped",
            t,
        )?;
    }
    Ok(())
}

/// A reminder says what was wrong in two of the corner's last three usable passages, the newest
/// among them.
pub fn reminders(tape: &Tape) -> Broken {
    for t in tape.told.iter().filter(|t| t.cue.told == When::Ahead) {
        let of = |f: &&Finished| f.facts.corner == t.cue.corner && f.facts.usable;
        let last: Vec<Option<(Phase, Advice)>> = tape.finished[..t.finished]
            .iter()
            .rev()
            .filter(of)
            .take(3)
            .map(|f| f.verdict.map(|v| (v.phase, v.advice)))
            .collect();
        let same = Some((t.cue.phase, t.cue.advice));
        let count = last.iter().filter(|v| **v == same).count();
        let holds = last.first() == Some(&same) && count >= 2;
        law(
            tape,
            holds,
            &format!("a reminder is of a habit: {last:?}"),
            t,
        )?;
    }
    Ok(())
}

/// Seconds from a cue until the car passes a place, by the engine's own places; none when it never
/// does.
fn until_s(tape: &Tape, reference: &ReferenceView<'_>, t: &Told, place_m: f32) -> Option<f64> {
    let passed = tape.steps[t.at..].iter().find(|s| {
        s.progress_m
            .is_some_and(|m| (0.0..200.0).contains(&reference.ahead_m(place_m, m)))
    })?;
    Some(passed.time_us.saturating_sub(t.cue.time_us) as f64 * 1e-6)
}

/// Where the reference brakes for a corner, or the bend begins where it does not.
fn onset_m(corner: &Corner) -> f32 {
    corner.facts.brake_m.map_or(corner.turn_m, |b| b.value)
}

/// From 2 s before the reference's next brake onset there is quiet, but for throttle that is
/// overdue; a reminder comes 3.5 to 6 s before the onset of its corner. The time is foreseen by the
/// present speed, so that a driver who then drives faster or slower is there earlier or later: a
/// quarter of it is allowed for.
pub fn quiet(tape: &Tape, reference: &ReferenceView<'_>) -> Broken {
    const SLACK: f64 = 0.25;
    for t in tape.told.iter().filter(|t| t.cue.told != When::Now) {
        let ahead = |m: f32| reference.wrap_m(m - t.cue.progress_m);
        let slowed = reference
            .corners
            .iter()
            .filter(|c| c.kind != CornerKind::Flat);
        let next_m = slowed
            .map(onset_m)
            .min_by(|a, b| ahead(*a).total_cmp(&ahead(*b)));
        if let Some(s) = next_m.and_then(|m| until_s(tape, reference, t, m)) {
            let words = format!("{s:.2} s to the next brake onset, 2 s wanted");
            law(tape, s > QUIET_S * (1.0 - SLACK), &words, t)?;
        }
        let own_m = onset_m(&reference.corners[usize::from(t.cue.corner) - 1]);
        if let (When::Ahead, Some(s)) = (t.cue.told, until_s(tape, reference, t, own_m)) {
            let on_time = AHEAD_S.0 * (1.0 - SLACK)..AHEAD_S.1 * (1.0 + SLACK);
            let words = format!("a reminder {s:.2} s before its corner's onset");
            law(tape, on_time.contains(&s), &words, t)?;
        }
    }
    Ok(())
}

/// Told as it happens is throttle only, while the driver is off it, later than the reference by the
/// threshold, and slower there than the reference; told at other times is only while he is on the
/// throttle and off the brake. What a driver does is seen half a second late where the pedals are
/// hidden.
pub fn pedals(tape: &Tape, wish: &Wish) -> Broken {
    const SEEN_S: f64 = 0.5;
    let world = World::at(wish.world);
    let (driven, coach) = (&world.case.driven, &world.case.coach);
    for t in &tape.told {
        let at_s = t.cue.time_us as f64 * 1e-6;
        let Some(now) = driven.at_time(at_s) else {
            continue;
        };
        if t.cue.told != When::Now {
            let before =
                (0..=10).filter_map(|i| driven.at_time(at_s - SEEN_S * f64::from(i) / 10.0));
            let on = before.clone().any(|x| x.throttle > 0.3);
            law(tape, on, "told on the throttle only", t)?;
            let braking = before.into_iter().all(|x| x.brake > 0.05);
            law(tape, !braking, "never told on the brake", t)?;
            continue;
        }
        let what = (t.cue.phase, t.cue.advice) == (Phase::Throttle, Advice::Sooner);
        law(tape, what, "told as it happens: throttle", t)?;
        let lap = (now.moment.along_m / driven.length_m).floor();
        let there_m = now.moment.along_m - lap * driven.length_m;
        let then = coach.at_along((f64::from(world.chosen) - 1.0) * coach.length_m + there_m);
        let Some(then) = then else { continue };
        let slower = now.moment.speed_mps < then.moment.speed_mps;
        law(tape, slower, "nobody who is faster is hurried", t)?;
        law(
            tape,
            then.throttle > 0.05,
            "the reference is on the throttle there",
            t,
        )?;
        let before = driven.at_time(at_s - 0.3).is_none_or(|x| x.throttle < 0.5);
        law(tape, before, "the throttle was missing", t)?;
    }
    Ok(())
}

/// The tail of what was said before a cue, for whoever looks into a broken law.
pub fn before(tape: &Tape, t: &Told) -> String {
    let mut lines: Vec<String> = Vec::new();
    for x in tape.told.iter().filter(|x| x.at <= t.at).rev().take(6) {
        lines.push(format!("told at {}: {:?}", x.at, x.cue));
    }
    for f in tape.finished[..t.finished].iter().rev().take(4) {
        lines.push(format!(
            "finished at {}: lap {} corner {} usable {} {:?}",
            f.at, f.facts.lap, f.facts.corner, f.facts.usable, f.verdict
        ));
    }
    lines.join("\n")
}

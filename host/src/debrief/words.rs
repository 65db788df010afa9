//! The findings in words, with landmarks.

use super::Debrief;
use super::findings::{CornerFinding, Habit, Spread, SpreadKind};
use crate::report::units::{Units, seconds};
use crate::report::{places, words};
use cuepost_engine::{Advice, Cue, Phase, ReferenceView, Told};

/// The corner's straight is long when it takes at least this share of the lap.
const LONG_SHARE: f32 = 0.12;

/// A habit as an instruction: `brake 12 m later`.
pub fn instruction(habit: &Habit, units: Units) -> String {
    let cue = Cue {
        lap: 0,
        corner: habit.corner,
        phase: habit.phase,
        advice: habit.advice,
        told: Told::After,
        size: habit.size,
        size_s: None,
        loss_s: None,
        time_us: 0,
        progress_m: 0.0,
    };
    words::instruction(&cue, units)
}

/// Where the reference does it: by a landmark, or by the bend where there is none.
fn aim(reference: &ReferenceView<'_>, habit: &Habit, units: Units) -> Option<String> {
    let corner = words::corner(reference, habit.corner)?;
    let facts = &corner.facts;
    let (what, at) = match habit.phase {
        Phase::Brake => ("brakes", facts.brake_m?),
        Phase::Trail => ("is off the brake", facts.release_m?),
        Phase::Rotation => ("is slowest", facts.slowest_m?),
        Phase::Throttle if habit.advice == Advice::Fuller => ("is at full throttle", facts.full_m?),
        Phase::Throttle => ("is back on the throttle", facts.throttle_m?),
        Phase::Straight => return None,
    };
    let place = places::of_corner(reference, corner, at.value, units);
    Some(format!("The reference {what} {place}."))
}

/// How often: `in all 5 passages`, `in 3 of 5 passages (laps 2, 4, 5)`, `once in 5 passages (lap 4)`.
pub fn how_often(habit: &Habit, measured: usize) -> String {
    match habit.laps.as_slice() {
        laps if laps.len() == measured && measured > 1 => format!("in all {measured} passages"),
        [lap] => format!("once in {measured} passages (lap {lap})"),
        laps => {
            let list: Vec<String> = laps.iter().take(8).map(u16::to_string).collect();
            let more = if laps.len() > 8 { ", …" } else { "" };
            format!(
                "in {} of {measured} passages (laps {}{more})",
                laps.len(),
                list.join(", ")
            )
        }
    }
}

/// The sentences under the first thing to work on.
pub fn reasons(
    debrief: &Debrief<'_>,
    corners: &[CornerFinding],
    habit: &Habit,
    next: Option<&Habit>,
) -> Vec<String> {
    let (reference, units) = (debrief.reference, debrief.units);
    let mut said = Vec::new();
    said.extend(aim(reference, habit, units));
    let Some(corner) = corners.iter().find(|c| c.corner == habit.corner) else {
        return said;
    };
    let each_s = habit.lost_s / habit.laps.len().max(1) as f32;
    let times = if habit.laps.len() == 1 {
        "there"
    } else {
        "each time"
    };
    said.push(format!(
        "It happened {} and cost {} {times}: mending it is worth up to {} a lap, over the laps of this session.",
        how_often(habit, corner.measured),
        seconds(f64::from(each_s)),
        seconds(f64::from(habit.per_lap_s))
    ));
    said.extend(why_first(reference, corner, habit, next, units));
    said.extend(chain(habit));
    said.extend(or_a_slip(reference, corners, habit, units));
    said
}

/// Why it comes before the rest.
fn why_first(
    reference: &ReferenceView<'_>,
    corner: &CornerFinding,
    habit: &Habit,
    next: Option<&Habit>,
    units: Units,
) -> Vec<String> {
    let mut said = Vec::new();
    let straight = units.length(f64::from(corner.straight_m));
    let exit_s = habit.parts_s.get(2).copied().unwrap_or(0.0);
    let long = corner.straight_m >= LONG_SHARE * reference.length_m();
    if let Some(next) = next {
        let name = words::corner_name(reference, next.corner);
        let cost = seconds(f64::from(next.per_lap_s));
        let own = seconds(f64::from(habit.per_lap_s));
        said.push(if next.per_lap_s > habit.per_lap_s {
            format!(
                "{name} costs about the same ({cost} a lap against {own}), but this exit leads onto {straight} of straight, and speed missing there is missing all the way."
            )
        } else {
            format!("It comes first because it costs most: {own} a lap; {name} is next with {cost}.")
        });
    }
    if long && exit_s > 0.02 {
        said.push(format!(
            "{} of each time is lost on the way out and along the {straight} of straight behind it.",
            seconds(f64::from(exit_s))
        ));
    }
    said
}

/// What to work on instead when the costliest happened only once: a slip is no habit.
fn or_a_slip(
    reference: &ReferenceView<'_>,
    corners: &[CornerFinding],
    habit: &Habit,
    units: Units,
) -> Option<String> {
    if habit.laps.len() != 1 {
        return None;
    }
    let habits = corners.iter().flat_map(|c| &c.habits);
    let next = habits
        .filter(|h| h.laps.len() > 1 && h.advice != Advice::Better)
        .max_by(|a, b| a.per_lap_s.total_cmp(&b.per_lap_s))?;
    let measured = corners.iter().find(|c| c.corner == next.corner)?.measured;
    Some(format!(
        "If that was a slip and not a habit, begin with {}: {}. It happened {} and is worth up to {} a lap.",
        words::corner_name(reference, next.corner),
        instruction(next, units),
        how_often(next, measured),
        seconds(f64::from(next.per_lap_s))
    ))
}

/// What can be said of a loss whose cause has no name.
pub fn unexplained(debrief: &Debrief<'_>, c: &CornerFinding) -> Vec<String> {
    let [whole, parts @ ..] = c.lost_s;
    let (part, most) = ["on the way in", "in the middle", "on the way out"]
        .into_iter()
        .zip(parts)
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .unwrap_or_default();
    let mut said = vec![format!(
        "{} a lap is lost here, {} of it {part}, and no single cause could be named: see the laps over each other.",
        seconds(f64::from(whole)),
        seconds(f64::from(most)),
    )];
    // What differs most, counted in how far it scatters and is measured.
    let strange = |s: &&Spread| s.mean.abs() / (s.sd + s.measured_sd).max(0.3);
    let facts = c.spreads.iter().filter(|s| s.kind != SpreadKind::Time);
    if let Some(s) = facts.max_by(|a, b| strange(a).total_cmp(&strange(b))) {
        let (mean, ..) = spread(s, debrief.units);
        said.push(format!(
            "What differs most from the reference is the {}: {mean}.",
            s.of
        ));
    }
    if let Some(before) = c.corner.checked_sub(1).filter(|n| *n > 0) {
        said.push(format!(
            "Look at the way out of {} too: what goes wrong there is often paid for here.",
            words::corner_name(debrief.reference, before)
        ));
    }
    said
}

/// What the first mistake explains.
fn chain(habit: &Habit) -> Option<String> {
    let text = match (habit.phase, habit.advice) {
        (Phase::Brake, Advice::Sooner) => {
            "Braking too deep makes what follows late as well: mend the braking before the throttle."
        }
        (Phase::Rotation, Advice::Slower) => {
            "Too fast in the middle makes the car wide and the throttle late: give up a little there to win the exit."
        }
        (Phase::Throttle, Advice::Steady) => {
            "A lift after the throttle was taken up costs all along the straight: wait a moment, then stay on it."
        }
        _ => return None,
    };
    Some(text.to_owned())
}

/// A spread as `+3.2 m, ±1.1 m`.
pub fn spread(s: &Spread, units: Units) -> (String, String, String) {
    let one = |v: f32, sign: bool| {
        let v = f64::from(v);
        let (scale, name, digits) = match s.kind {
            SpreadKind::Length => (units.lengths_a_metre(), units.length_name(), 1),
            SpreadKind::Speed => (units.speeds_a_mps(), units.speed_name(), 1),
            SpreadKind::Time => (1.0, "s", 2),
        };
        if sign {
            format!("{:+.digits$} {name}", v * scale)
        } else {
            format!("{:.digits$} {name}", v * scale)
        }
    };
    let measured = if s.measured_sd > 0.0 {
        one(s.measured_sd, false)
    } else {
        String::new()
    };
    (one(s.mean, true), one(s.sd, false), measured)
}

/// A verdict as an instruction.
pub fn verdict(v: &cuepost_engine::judge::Verdict, corner: u8, units: Units) -> String {
    let cue = Cue {
        lap: 0,
        corner,
        phase: v.phase,
        advice: v.advice,
        told: Told::After,
        size: v.size,
        size_s: v.size_s,
        loss_s: None,
        time_us: 0,
        progress_m: 0.0,
    };
    words::instruction(&cue, units)
}

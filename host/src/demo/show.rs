//! A session in words: what was told next to what was planted.

use super::session::{Row, Session, name_of};
use crate::report::units::{Units, lap_time};
use crate::report::words;
use cuepost_engine::{CornerKind, Event, Measured, Told};
use std::fmt::Write as _;

/// A passage without a fault or a cue is listed when it lost or won this much, seconds.
const LISTED_S: f64 = 0.08;

/// The whole session.
pub fn text(session: &Session, units: Units) -> String {
    let mut out = coach(session, units);
    let (mut planted, mut told, mut right, mut unasked) = (0, 0, 0, 0);
    for lap in 1..=session.driven.laps() {
        let rows = session.rows(lap);
        for row in &rows {
            let spoken = row.told.iter().any(|c| c.told != Told::Ahead);
            match (row.planted(), row.right()) {
                (Some(_), answer) => {
                    planted += 1;
                    told += u32::from(spoken);
                    right += u32::from(answer == Some(true));
                }
                (None, _) => unasked += u32::from(spoken),
            }
        }
        out += &lap_text(session, lap, &rows, units);
    }
    let _ = writeln!(
        out,
        "{planted} faults planted, {told} told, {right} of them as a coach would say it; \
         {unasked} {} elsewhere.",
        if unasked == 1 { "cue" } else { "cues" }
    );
    out
}

/// The coach's laps and what was learned from them.
fn coach(session: &Session, units: Units) -> String {
    let mut out = String::new();
    let chosen = session.reference_lap();
    let times: Vec<String> = (1..=session.coach.laps())
        .filter_map(|lap| session.coach.lap_s(lap))
        .map(|s| lap_time((s * 1e6) as u64))
        .collect();
    let _ = writeln!(
        out,
        "{}, invented: {} round, {} corners.",
        session.circuit.name,
        units.length(session.circuit.length_m()),
        session.driver.plan.turns.len()
    );
    let _ = writeln!(
        out,
        "The coach drives {}; lap {chosen} becomes the reference. What was learned from the \
         receiver, and how far it is from what he did:\n",
        times.join(", ")
    );
    out += &learned(session, chosen, units);
    out.push('\n');
    out
}

/// Corner by corner what was learned and by how much it is off.
fn learned(session: &Session, chosen: u16, units: Units) -> String {
    let length = units.lengths_a_metre();
    let speed = units.speeds_a_mps();
    let (m, v) = (units.length_name(), units.speed_name());
    let mut out = format!(
        "  {:<14} {:>13} {:>13} {:>13}\n  {:<14} {m:>7}   off {v:>7}   off {m:>7}   off\n",
        "", "brake or lift", "slowest", "throttle", "corner"
    );
    for corner in &session.learned.reference.corners {
        let Some(turn) = session.turn_of(corner.facts.corner) else {
            continue;
        };
        let Some(driven) = session.coach.passage(chosen, turn.number) else {
            continue;
        };
        let along =
            |m: Option<super::truth::Moment>| m.map(|m| session.coach.progress_m(m.along_m));
        if corner.kind == CornerKind::Flat {
            let _ = writeln!(
                out,
                "  {:>2} {:<11}    flat out",
                corner.facts.corner, corner.name
            );
            continue;
        }
        let value = |seen: Option<Measured>| seen.map(|m| f64::from(m.value));
        let f = &corner.facts;
        let _ = writeln!(
            out,
            "  {:>2} {:<11} {} {} {}",
            f.corner,
            corner.name.as_str(),
            pair(
                value(f.brake_m),
                along(driven.brake.or(driven.lift)),
                length
            ),
            pair(value(f.slowest_mps), Some(driven.slowest.speed_mps), speed),
            pair(value(f.throttle_m), along(driven.throttle), length),
        );
    }
    out
}

/// A value as it was learned, and by how much it is off, in a unit of so many to the metre.
fn pair(seen: Option<f64>, truth: Option<f64>, units: f64) -> String {
    match (seen, truth) {
        (Some(a), Some(b)) => format!("{:7.1} {:+5.1}", a * units, (a - b) * units),
        (Some(a), None) => format!("{:7.1}     ?", a * units),
        (None, Some(_)) => "      -     ?".to_owned(),
        (None, None) => "      -     -".to_owned(),
    }
}

fn lap_text(session: &Session, lap: u16, rows: &[Row<'_>], units: Units) -> String {
    let mut out = String::new();
    let time = session.driven.lap_s(lap).unwrap_or(0.0);
    let reference = session.coach.lap_s(session.reference_lap()).unwrap_or(0.0);
    let _ = write!(
        out,
        "Driver's lap {lap}   {}   {:+.3} s",
        lap_time((time * 1e6) as u64),
        time - reference
    );
    let pace = session
        .laps
        .get(usize::from(lap) - 1)
        .map_or(1.0, |l| l.pace);
    if pace != 1.0 {
        let _ = write!(
            out,
            "   the whole car with {:.0} % of its grip and drive",
            100.0 * pace
        );
    }
    out.push('\n');
    for event in &session.events {
        match event {
            Event::Pace(p) if p.lap == lap => {
                let _ = writeln!(out, "  told: {}", words::pace(p));
            }
            _ => {}
        }
    }
    let listed = |r: &&Row<'_>| {
        r.planted().is_some()
            || !r.told.is_empty()
            || (pace == 1.0 && r.lost_s.is_some_and(|s| s.abs() > LISTED_S))
    };
    let listed: Vec<&Row<'_>> = rows.iter().filter(listed).collect();
    if !listed.is_empty() {
        let _ = writeln!(
            out,
            "  corner         planted                  lost   measured"
        );
    }
    for row in listed {
        out += &row_text(row, units);
    }
    out.push('\n');
    out
}

fn row_text(row: &Row<'_>, units: Units) -> String {
    let seconds = |s: Option<f64>| s.map_or("-".to_owned(), |s| format!("{s:+.2} s"));
    let planted = row.planted().map_or("-".to_owned(), |f| f.words(units));
    let mut text = format!(
        "  {:>2} {:<11} {planted:<21} {:>8} {:>10}\n",
        row.turn.number,
        name_of(row.turn.number).unwrap_or(""),
        seconds(row.lost_s),
        seconds(row.measured_s.map(f64::from)),
    );
    for cue in &row.told {
        text += &words::told_line(cue, &words::instruction(cue, units));
    }
    match row.right() {
        Some(false) => text += "       which is not what was planted\n",
        None if row.planted().is_some() && row.told.is_empty() => {
            text += "       nothing was told of it\n"
        }
        _ => {}
    }
    text
}

//! A session in words: what was told next to what was planted.

use super::session::{Row, Session, name_of};
use crate::report::units::{Units, lap_time};
use crate::report::words;
use cuepost_engine::{Cue, Event, Told};
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
         {unasked} cues elsewhere."
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
        "{} (invented), {}, {} corners.",
        session.circuit.name,
        units.length(session.circuit.length_m()),
        session.driver.plan.turns.len()
    );
    let _ = writeln!(
        out,
        "The coach drives {}. Lap {chosen} becomes the reference.\n",
        times.join(", ")
    );
    let _ = writeln!(
        out,
        "  {:<25} {:^17}  {:^19}  {:^17}
  {:<25} {:>7} {:>7}    {:>7} {:>7}      {:>7} {:>7}",
        "",
        "brake",
        "slowest",
        "throttle",
        "corner",
        "learned",
        "driven",
        "learned",
        "driven",
        "learned",
        "driven"
    );
    let reference = &session.learned.reference;
    for corner in &reference.corners {
        let Some(turn) = session.turn_of(corner.facts.corner) else {
            continue;
        };
        let Some(driven) = session.coach.passage(chosen, turn.number) else {
            continue;
        };
        let really =
            |m: Option<super::truth::Moment>| m.map(|m| session.coach.progress_m(m.along_m));
        let pair = |seen: Option<f32>, truth: Option<f64>| match (seen, truth) {
            (Some(a), Some(b)) => format!("{a:7.1} {b:7.1}"),
            (Some(a), None) => format!("{a:7.1}       -"),
            (None, Some(b)) => format!("      - {b:7.1}"),
            (None, None) => "      -       -".to_owned(),
        };
        let f = &corner.facts;
        let _ = writeln!(
            out,
            "  {:<2} {:<14} {:<7} {} m  {} m/s  {} m",
            f.corner,
            corner.name.as_str(),
            crate::report::reference::kind(corner.kind),
            pair(
                f.brake_m.map(|m| m.value),
                really(driven.brake.or(driven.lift))
            ),
            pair(
                f.slowest_mps.map(|m| m.value),
                Some(driven.slowest.speed_mps)
            ),
            pair(f.throttle_m.map(|m| m.value), really(driven.throttle)),
        );
    }
    out.push('\n');
    out
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
            "  corner         planted               lost  measured  told"
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
    let planted = row.planted().map_or("-".to_owned(), |f| f.to_string());
    let told = if row.told.is_empty() {
        "nothing".to_owned()
    } else {
        let all: Vec<String> = row.told.iter().map(|c| one(c, units)).collect();
        all.join("; ")
    };
    let mark = match row.right() {
        Some(false) => "   (not what was planted)",
        _ => "",
    };
    format!(
        "  {:<2} {:<11} {planted:<20} {:>7}  {:>8}  {told}{mark}\n",
        row.turn.number,
        name_of(row.turn.number).unwrap_or(""),
        seconds(row.lost_s),
        seconds(row.measured_s.map(f64::from)),
    )
}

fn one(cue: &Cue, units: Units) -> String {
    let when = match cue.told {
        Told::Now => "at once",
        Told::After => "on the way out",
        Told::Ahead => "reminder before it",
    };
    format!("{} ({when})", words::instruction(cue, units))
}

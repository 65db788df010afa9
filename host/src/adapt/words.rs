//! What a computed reference changes, in words.

use super::Adapted;
use crate::report::units::{Units, lap_time};
use crate::report::{places, words};
use cuepost_engine::reference::Session;
use cuepost_engine::{Corner, CornerKind, Measured, ReferenceView};
use std::fmt::Write;

/// Moves of less than this are not worth a word, metres.
const PLACE_SAID_M: f32 = 0.5;
/// And changes of speed, m/s.
const SPEED_SAID_MPS: f32 = 0.05;
/// And changes of time, seconds.
const TIME_SAID_S: f64 = 0.005;

/// What everybody must read before he drives by it.
pub const CAUTION: &str = "Computed, never driven. Nobody has shown that it can be driven: begin \
slower and build up to it. Until a lap was as fast as computed through a corner, no cue there asks \
to brake later or to go faster.";

/// What to say before anything is held against a reference that was computed.
pub fn caution(session: &Session) -> Option<String> {
    let words = || format!("CAUTION: the reference is not a lap that was driven. {CAUTION}");
    session.computed.then(words)
}

/// What moved, corner by corner.
pub fn moved(before: &ReferenceView<'_>, adapted: &Adapted, what: &str, units: Units) -> String {
    let after = adapted.reference.view();
    let mut out = String::new();
    // Writing to a string cannot fail.
    let (was, is) = (before.session.lap_time_us, after.session.lap_time_us);
    let by_s = (is as f64 - was as f64) * 1e-6;
    let _ = writeln!(out, "computed for {what}");
    let _ = writeln!(
        out,
        "lap time    {} -> {} ({by_s:+.3} s)",
        lap_time(was),
        lap_time(is)
    );
    let (fast_was, fast_is) = (fastest_mps(before), fastest_mps(&after));
    let _ = writeln!(
        out,
        "fastest     {} -> {}",
        units.speed(fast_was),
        units.speed(fast_is)
    );
    for index in 0..before.corners.len().min(after.corners.len()) {
        corner(&mut out, before, &after, index, units);
    }
    let _ = writeln!(
        out,
        "check       with nothing changed the computation is {:.2} m/s from the lap that was driven, at worst {:.2} m/s",
        adapted.residual_mps, adapted.residual_most_mps
    );
    let caution = if after.corners.iter().any(|c| c.unproven) {
        CAUTION
    } else {
        "Computed, never driven; vouched for by you: cues may ask for more than was ever driven."
    };
    let _ = writeln!(out, "CAUTION     {caution}");
    out
}

fn fastest_mps(view: &ReferenceView<'_>) -> f64 {
    let speeds = view.nodes.iter().map(|n| f64::from(n.speed_cmps) * 0.01);
    speeds.fold(0.0, f64::max)
}

fn corner(
    out: &mut String,
    before: &ReferenceView<'_>,
    after: &ReferenceView<'_>,
    index: usize,
    units: Units,
) {
    let (was, is) = (&before.corners[index], &after.corners[index]);
    let number = u8::try_from(index + 1).unwrap_or(u8::MAX);
    let mut said = Vec::new();
    if was.kind != is.kind {
        said.push(format!("was {}, is {}", was.kind.name(), is.kind.name()));
    }
    said.extend(entry(after, was, is, units));
    let slowest = speed(was.facts.slowest_mps, is.facts.slowest_mps, units);
    said.extend(slowest.map(|s| format!("slowest {s}")));
    let full = by_m(before, was.facts.full_m, is.facts.full_m);
    said.extend(full.map(|m| format!("full throttle {}", sooner_later(m, units))));
    let exit = speed(was.facts.exit_mps, is.facts.exit_mps, units);
    said.extend(exit.map(|s| format!("exit {s}")));
    // The same road in both, though a corner may own more of it now.
    let took = corner_s(after, before, index) - corner_s(before, before, index);
    if took.abs() >= TIME_SAID_S {
        said.push(format!("{took:+.2} s"));
    }
    let said = if said.is_empty() {
        "as before".to_owned()
    } else {
        said.join("; ")
    };
    let _ = writeln!(out, "{}: {said}", words::corner_name(before, number));
}

fn entry(after: &ReferenceView<'_>, was: &Corner, is: &Corner, units: Units) -> Option<String> {
    let verb = match is.kind {
        CornerKind::Lifted => "lift",
        CornerKind::Braked | CornerKind::Flat => "brake",
    };
    let at = is.facts.brake_m?;
    let place = places::of_corner(after, is, at.value, units);
    Some(match was.facts.brake_m {
        None => format!("{verb} {place}"),
        Some(_) => {
            let moved = by_m(after, was.facts.brake_m, is.facts.brake_m)?;
            format!("{verb} {}, {place}", sooner_later(moved, units))
        }
    })
}

/// How far a place moved, when it did.
fn by_m(view: &ReferenceView<'_>, was: Option<Measured>, is: Option<Measured>) -> Option<f32> {
    let by = view.ahead_m(was?.value, is?.value);
    (by.abs() >= PLACE_SAID_M).then_some(by)
}

fn sooner_later(by_m: f32, units: Units) -> String {
    let distance = units.length(f64::from(by_m.abs()));
    let way = if by_m < 0.0 { "sooner" } else { "later" };
    format!("{distance} {way}")
}

/// A speed before and after, when it moved.
fn speed(was: Option<Measured>, is: Option<Measured>, units: Units) -> Option<String> {
    let (was, is) = (was?.value, is?.value);
    ((is - was).abs() >= SPEED_SAID_MPS).then(|| {
        let by = f64::from(is - was) * units.speeds_a_mps();
        format!("{} ({by:+.1})", units.speed(is.into()))
    })
}

/// Seconds on the road of a corner of `road`.
fn corner_s(view: &ReferenceView<'_>, road: &ReferenceView<'_>, index: usize) -> f64 {
    let next = road.corners.get(index + 1).or(road.corners.first());
    let (Some(own), Some(next)) = (road.corners.get(index), next) else {
        return 0.0;
    };
    let seconds = f64::from(view.time_s(next.begin_m) - view.time_s(own.begin_m));
    let lap_s = view.session.lap_time_us as f64 * 1e-6;
    if seconds <= 0.0 {
        seconds + lap_s
    } else {
        seconds
    }
}

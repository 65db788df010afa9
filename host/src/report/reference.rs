//! A reference in words, for whoever has to trust it.

use super::places;
use super::units::{Units, lap_time};
use crate::learn::plane;
use cuepost_engine::reference::{CURVE_STEP_MPS, SourceKind};
use cuepost_engine::{Corner, CornerKind, Frame, ReferenceView};
use std::fmt::Write;

/// The whole reference: where it comes from, its corners, what the car can do.
pub fn reference(view: &ReferenceView<'_>, units: Units) -> String {
    let mut out = String::new();
    session(&mut out, view, units);
    out.push('\n');
    corners(&mut out, view, units);
    landmarks(&mut out, view, units);
    out.push('\n');
    car(&mut out, view, units);
    out
}

/// Writing to a string cannot fail.
macro_rules! line {
    ($out:expr, $($arg:tt)*) => {{ let _ = writeln!($out, $($arg)*); }};
}

fn or<'a>(text: &'a str, nothing: &'a str) -> &'a str {
    if text.is_empty() { nothing } else { text }
}

fn session(out: &mut String, view: &ReferenceView<'_>, units: Units) {
    let s = view.session;
    line!(out, "reference   {}", or(&s.name, "(no name)"));
    if !s.car.is_empty() {
        line!(out, "car         {}", s.car);
    }
    if !s.conditions.is_empty() {
        line!(out, "conditions  {}", s.conditions);
    }
    let computed = if s.computed {
        ", computed for other conditions and not driven"
    } else {
        ""
    };
    line!(out, "lap time    {}{computed}", lap_time(s.lap_time_us));
    let length = units.length(f64::from(view.length_m()));
    let spacing = view.spacing_m;
    line!(
        out,
        "line        {length} round, {} nodes every {spacing:.2} m",
        view.nodes.len()
    );
    let kind = match s.source {
        SourceKind::Unknown => "kind of source not stated",
        SourceKind::Receiver => "satellite receiver",
        SourceKind::Simulator => "simulator",
    };
    let pedals = if s.pedals {
        "with pedals"
    } else {
        "without pedals"
    };
    line!(
        out,
        "source      {kind}, {:.0} samples a second, {pedals}, speed noise {:.3} m/s",
        s.rate_hz,
        s.speed_noise_mps
    );
    let origin = match view.frame {
        Frame::Geodetic { .. } => "latitude and longitude",
        Frame::Local { .. } => "plane metres of the source",
    };
    line!(out, "positions   {origin}");
    if let Some(start) = start(view) {
        line!(out, "start line  --start {start}");
    }
}

/// The start line as `--start` takes it; none without a line.
pub fn start(view: &ReferenceView<'_>) -> Option<String> {
    let (first, next) = (view.nodes.first()?, view.nodes.get(1)?);
    let last = view.nodes.last()?;
    let (east, north) = (
        f64::from(next.east_mm) - f64::from(last.east_mm),
        f64::from(next.north_mm) - f64::from(last.north_mm),
    );
    let bearing = east.atan2(north).to_degrees().rem_euclid(360.0);
    Some(plane::start_text(
        &view.frame,
        f64::from(first.east_mm) * 1e-3,
        f64::from(first.north_mm) * 1e-3,
        bearing,
    ))
}

/// How a corner is driven.
pub fn kind(kind: CornerKind) -> &'static str {
    match kind {
        CornerKind::Braked => "braked",
        CornerKind::Lifted => "lifted",
        CornerKind::Flat => "flat",
    }
}

fn corners(out: &mut String, view: &ReferenceView<'_>, units: Units) {
    let (m, v) = (units.length_name(), units.speed_name());
    line!(
        out,
        "{:<16} {:>9}  {:>7} {:>6} {:>9} {:>6}",
        "corner",
        "brake",
        "slowest",
        "",
        "throttle",
        "exit"
    );
    line!(
        out,
        "{:>26}  {:>7} {v:>6} {m:>9} {v:>6}",
        format!("or lift, {m}"),
        format!("at {m}")
    );
    for (c, number) in view.corners.iter().zip(1..) {
        corner(out, view, c, number, units);
    }
    if view.corners.is_empty() {
        line!(
            out,
            "(none found: nowhere is the speed lost that a corner costs)"
        );
    }
}

fn corner(out: &mut String, view: &ReferenceView<'_>, c: &Corner, number: usize, units: Units) {
    let hand = if c.turn > 0 { "left" } else { "right" };
    let length = |m: f32| format!("{:.0}", f64::from(m) * units.lengths_a_metre());
    let speed = |mps: f32| format!("{:.0}", f64::from(mps) * units.speeds_a_mps());
    let spread = |sd: f32| {
        if c.spread.laps > 1 {
            format!("±{:.1}", f64::from(sd) * units.lengths_a_metre())
        } else {
            String::new()
        }
    };
    let at = |m: Option<cuepost_engine::Measured>, sd: f32| match m {
        Some(m) => format!("{}{}", length(m.value), spread(sd)),
        None => "-".to_owned(),
    };
    let facts = &c.facts;
    let slowest = facts
        .slowest_mps
        .map_or_else(|| view.speed_mps(c.apex_m), |m| m.value);
    let exit = facts
        .exit_mps
        .map_or_else(|| view.speed_mps(c.exit_m), |m| m.value);
    line!(
        out,
        "{number:>3} {hand:<5} {:<6} {:>9}  {:>7} {:>6} {:>9} {:>6}",
        kind(c.kind),
        at(facts.brake_m, c.spread.brake_m),
        length(facts.slowest_m.map_or(c.apex_m, |m| m.value)),
        speed(slowest),
        at(facts.throttle_m, c.spread.throttle_m),
        speed(exit),
    );
    let mut more: Vec<String> = Vec::new();
    if !c.name.is_empty() {
        more.push(c.name.to_string());
    }
    more.extend(by_landmarks(view, c, units));
    if !more.is_empty() {
        line!(out, "    {}", more.join(": "));
    }
    if c.unproven {
        line!(
            out,
            "    computed: asks for no more than was driven until a lap was as fast"
        );
    }
    if !c.note.is_empty() {
        line!(out, "    {}", c.note);
    }
}

/// The corner's brake and throttle points by what stands beside the road.
fn by_landmarks(view: &ReferenceView<'_>, c: &Corner, units: Units) -> Option<String> {
    let first = match c.kind {
        CornerKind::Braked => "brakes",
        CornerKind::Lifted => "lifts",
        CornerKind::Flat => return None,
    };
    let facts = &c.facts;
    let told: Vec<String> = [
        (first, facts.brake_m),
        ("on the throttle", facts.throttle_m),
    ]
    .into_iter()
    .filter_map(|(what, at)| Some((what, places::near(view, at?.value, units)?)))
    .map(|(what, place)| format!("{what} {place}"))
    .collect();
    (!told.is_empty()).then(|| told.join(", "))
}

fn landmarks(out: &mut String, view: &ReferenceView<'_>, units: Units) {
    if view.landmarks.is_empty() {
        return;
    }
    line!(out, "\nlandmarks");
    for l in view.landmarks {
        let side = places::side(l.side);
        let at = units.length(f64::from(l.progress_m));
        line!(out, "{at:>10}  {side:<6}  {}", l.name);
    }
}

fn car(out: &mut String, view: &ReferenceView<'_>, units: Units) {
    line!(
        out,
        "the car        coasting  full throttle  braking  cornering"
    );
    let slowest = view.nodes.iter().map(|n| n.speed_cmps).min().unwrap_or(0);
    let fastest = view.nodes.iter().map(|n| n.speed_cmps).max().unwrap_or(0);
    let step = 2.0 * CURVE_STEP_MPS;
    let mut speed = (f32::from(slowest) * 0.01 / step).floor() * step;
    while speed <= f32::from(fastest) * 0.01 {
        line!(
            out,
            "at {:>9}  {:>9} {:>14} {:>8} {:>10}",
            units.speed(speed.into()),
            units.deceleration(view.car.coast_mps2(speed).into()),
            units.deceleration(view.car.full_mps2(speed).into()),
            units.deceleration(view.car.brake_mps2(speed).into()),
            units.deceleration(view.car.lateral_mps2(speed).into()),
        );
        speed += step;
    }
}

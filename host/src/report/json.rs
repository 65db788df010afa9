//! Events as JSON objects, one a line: the contract other programs and the pages read.
//!
//! `event` comes first and names the kind. `time_s` counts from the recording's first sample (of
//! a lap it is the lap time, and `end_s` is when it ended; of a phase it is the back-dated onset).
//! What is unknown is `null`, never 0 and never a NaN. Keys are only ever added.

use super::units::Units;
use super::words;
use cuepost_engine::{Cue, Event, Facts, Measured, PhaseEvent, ReferenceView, Size};
use serde::Serialize;

/// One event as one line of JSON, without a line end.
///
/// `start_us` is the source time of the recording's first sample. `units` only changes `text`.
pub fn event_json(
    event: &Event,
    reference: &ReferenceView<'_>,
    start_us: u64,
    units: Units,
) -> String {
    // Plain strings and numbers: there is nothing in them that could fail to serialise.
    serde_json::to_string(&object(event, reference, start_us, units)).unwrap_or_default()
}

/// The same as a value.
pub fn event_value(
    event: &Event,
    reference: &ReferenceView<'_>,
    start_us: u64,
    units: Units,
) -> serde_json::Value {
    serde_json::to_value(object(event, reference, start_us, units)).unwrap_or_default()
}

fn object(event: &Event, reference: &ReferenceView<'_>, start_us: u64, units: Units) -> Object {
    let text = words::event(event, reference, units);
    let at = |time_us| since(time_us, start_us);
    match event {
        Event::Lap(l) => Object::Lap {
            lap: l.lap,
            time_s: l.time_us as f64 / 1e6,
            valid: l.valid,
            gap_s: l.gap_s.and_then(|v| round(v, 1e4)),
            end_s: at(l.end_us),
            text,
        },
        Event::Phase(p) => phase(p, start_us),
        Event::Corner(f) => Object::Corner(Box::new(corner(f))),
        Event::Cue(c) => Object::Cue(cue(c, start_us, text)),
        Event::Health(h) => Object::Health {
            state: h.state.name(),
            time_s: at(h.time_us),
            why: h.why.name(),
            text,
        },
        Event::Pace(p) => Object::Pace {
            lap: p.lap,
            ratio: round(p.ratio, 1e5),
            time_s: at(p.time_us),
            text,
        },
    }
}

/// Seconds from the recording's start, exact to the microsecond; negative before it.
pub fn since(time_us: u64, start_us: u64) -> f64 {
    let us = i128::from(time_us) - i128::from(start_us);
    us as f64 / 1e6
}

/// A value for people and scripts: no digits beyond what is measured, no negative zero, nothing
/// that is not a number.
fn round(value: f32, per_unit: f64) -> Option<f64> {
    let rounded = (f64::from(value) * per_unit).round() / per_unit;
    rounded.is_finite().then_some(rounded + 0.0)
}

/// Metres and metres a second to a millimetre.
fn milli(value: f32) -> Option<f64> {
    round(value, 1e3)
}

#[derive(Serialize)]
#[serde(tag = "event", rename_all = "lowercase")]
enum Object {
    Lap {
        lap: u16,
        time_s: f64,
        valid: bool,
        gap_s: Option<f64>,
        end_s: f64,
        text: Option<String>,
    },
    Phase {
        lap: u16,
        corner: u8,
        phase: &'static str,
        time_s: f64,
        progress_m: Option<f64>,
    },
    Corner(Box<CornerObject>),
    Cue(CueObject),
    Health {
        state: &'static str,
        time_s: f64,
        why: &'static str,
        text: Option<String>,
    },
    Pace {
        lap: u16,
        ratio: Option<f64>,
        time_s: f64,
        text: Option<String>,
    },
}

fn phase(p: &PhaseEvent, start_us: u64) -> Object {
    Object::Phase {
        lap: p.lap,
        corner: p.corner,
        phase: p.phase.name(),
        time_s: since(p.time_us, start_us),
        progress_m: milli(p.progress_m),
    }
}

#[derive(Serialize)]
struct CueObject {
    lap: u16,
    corner: u8,
    phase: &'static str,
    advice: &'static str,
    told: &'static str,
    size_m: Option<f64>,
    size_s: Option<f64>,
    size_mps: Option<f64>,
    size_mps2: Option<f64>,
    loss_s: Option<f64>,
    time_s: f64,
    progress_m: Option<f64>,
    text: Option<String>,
}

fn cue(c: &Cue, start_us: u64, text: Option<String>) -> CueObject {
    let (mut size_m, mut size_mps, mut size_mps2) = (None, None, None);
    let mut size_s = c.size_s;
    match c.size {
        Size::Metres(v) => size_m = milli(v),
        Size::Speed(v) => size_mps = milli(v),
        Size::Deceleration(v) => size_mps2 = milli(v),
        Size::Seconds(v) => size_s = Some(v),
    }
    CueObject {
        lap: c.lap,
        corner: c.corner,
        phase: c.phase.name(),
        advice: c.advice.name(),
        told: c.told.name(),
        size_m,
        size_s: size_s.and_then(|v| round(v, 1e4)),
        size_mps,
        size_mps2,
        loss_s: c.loss_s.and_then(|v| round(v, 1e4)),
        time_s: since(c.time_us, start_us),
        progress_m: milli(c.progress_m),
        text,
    }
}

/// All facts of a corner: each value with its standard deviation under `…_sd_…`.
#[derive(Serialize)]
struct CornerObject {
    lap: u16,
    corner: u8,
    kind: &'static str,
    usable: bool,
    brake_m: Option<f64>,
    brake_sd_m: Option<f64>,
    brake_mps: Option<f64>,
    brake_sd_mps: Option<f64>,
    peak_decel_mps2: Option<f64>,
    peak_decel_sd_mps2: Option<f64>,
    mean_decel_mps2: Option<f64>,
    mean_decel_sd_mps2: Option<f64>,
    turn_in_m: Option<f64>,
    turn_in_sd_m: Option<f64>,
    release_m: Option<f64>,
    release_sd_m: Option<f64>,
    trail_m: Option<f64>,
    trail_sd_m: Option<f64>,
    slowest_m: Option<f64>,
    slowest_sd_m: Option<f64>,
    slowest_mps: Option<f64>,
    slowest_sd_mps: Option<f64>,
    slowed_mps: Option<f64>,
    slowed_sd_mps: Option<f64>,
    throttle_m: Option<f64>,
    throttle_sd_m: Option<f64>,
    full_m: Option<f64>,
    full_sd_m: Option<f64>,
    lifts: u8,
    lift_s: Option<f64>,
    lift_sd_s: Option<f64>,
    dip_mps: Option<f64>,
    dip_sd_mps: Option<f64>,
    missing_m: Option<f64>,
    missing_sd_m: Option<f64>,
    coast_s: Option<f64>,
    coast_sd_s: Option<f64>,
    offset_begin_m: Option<f64>,
    offset_begin_sd_m: Option<f64>,
    offset_slowest_m: Option<f64>,
    offset_slowest_sd_m: Option<f64>,
    offset_exit_m: Option<f64>,
    offset_exit_sd_m: Option<f64>,
    exit_mps: Option<f64>,
    exit_sd_mps: Option<f64>,
    loss_s: Option<f64>,
    loss_entry_s: Option<f64>,
    loss_entry_sd_s: Option<f64>,
    loss_middle_s: Option<f64>,
    loss_middle_sd_s: Option<f64>,
    loss_exit_s: Option<f64>,
    loss_exit_sd_s: Option<f64>,
}

/// The facts of a corner under the same names, for tables.
pub fn corner_row(facts: &Facts) -> impl Serialize + use<> {
    corner(facts)
}

fn corner(f: &Facts) -> CornerObject {
    let value = |m: Option<Measured>| m.and_then(|m| round(m.value, 1e4));
    let sd = |m: Option<Measured>| m.and_then(|m| round(m.sd, 1e4));
    CornerObject {
        lap: f.lap,
        corner: f.corner,
        kind: f.kind.name(),
        usable: f.usable,
        brake_m: value(f.brake_m),
        brake_sd_m: sd(f.brake_m),
        brake_mps: value(f.brake_mps),
        brake_sd_mps: sd(f.brake_mps),
        peak_decel_mps2: value(f.peak_decel_mps2),
        peak_decel_sd_mps2: sd(f.peak_decel_mps2),
        mean_decel_mps2: value(f.mean_decel_mps2),
        mean_decel_sd_mps2: sd(f.mean_decel_mps2),
        turn_in_m: value(f.turn_in_m),
        turn_in_sd_m: sd(f.turn_in_m),
        release_m: value(f.release_m),
        release_sd_m: sd(f.release_m),
        trail_m: value(f.trail_m),
        trail_sd_m: sd(f.trail_m),
        slowest_m: value(f.slowest_m),
        slowest_sd_m: sd(f.slowest_m),
        slowest_mps: value(f.slowest_mps),
        slowest_sd_mps: sd(f.slowest_mps),
        slowed_mps: value(f.slowed_mps),
        slowed_sd_mps: sd(f.slowed_mps),
        throttle_m: value(f.throttle_m),
        throttle_sd_m: sd(f.throttle_m),
        full_m: value(f.full_m),
        full_sd_m: sd(f.full_m),
        lifts: f.lifts,
        lift_s: value(f.lift_s),
        lift_sd_s: sd(f.lift_s),
        dip_mps: value(f.dip_mps),
        dip_sd_mps: sd(f.dip_mps),
        missing_m: value(f.missing_m),
        missing_sd_m: sd(f.missing_m),
        coast_s: value(f.coast_s),
        coast_sd_s: sd(f.coast_s),
        offset_begin_m: value(f.offset_begin_m),
        offset_begin_sd_m: sd(f.offset_begin_m),
        offset_slowest_m: value(f.offset_slowest_m),
        offset_slowest_sd_m: sd(f.offset_slowest_m),
        offset_exit_m: value(f.offset_exit_m),
        offset_exit_sd_m: sd(f.offset_exit_m),
        exit_mps: value(f.exit_mps),
        exit_sd_mps: sd(f.exit_mps),
        loss_s: f.loss_s().and_then(|v| round(v, 1e4)),
        loss_entry_s: value(f.loss_entry_s),
        loss_entry_sd_s: sd(f.loss_entry_s),
        loss_middle_s: value(f.loss_middle_s),
        loss_middle_sd_s: sd(f.loss_middle_s),
        loss_exit_s: value(f.loss_exit_s),
        loss_exit_sd_s: sd(f.loss_exit_s),
    }
}

#[cfg(test)]
mod tests;

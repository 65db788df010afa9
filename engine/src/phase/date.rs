//! Dates a change back on the trace.
//!
//! A fitted kink where the speeds agree with one; else where the acceleration crosses half way
//! between what it was before and the first peak after. Both mean the middle of the ramp.

use crate::motion::Moment;
use crate::onset::{Instant, Window};
use crate::trace::{Point, Trace};

/// Half of the window a kink is fitted in, seconds.
const FIT_S: f32 = 0.5;
/// And a shorter one, tried when the longer does not agree with two straight lines.
const FIT_SHORT_S: f32 = 0.28;
/// Residual variance over the noise's, up to which the fit is believed.
const FIT_AGREES: f32 = 2.2;
/// Farthest a fitted kink may lie from the coarse one, seconds.
const FIT_REACH_S: f32 = 0.12;
/// A place between two points of the trace, `share` of the way from `a` to `b`.
pub fn between(a: &Point, b: &Point, share: f32, sd_s: f32) -> Instant {
    let span_us = b.time_us.saturating_sub(a.time_us);
    let dt_s = span_us as f32 * 1e-6;
    Instant {
        time_us: a.time_us + (span_us as f32 * share) as u64,
        progress_m: a.progress_m + 0.5 * (a.speed_mps + b.speed_mps) * dt_s * share,
        speed_mps: a.speed_mps + (b.speed_mps - a.speed_mps) * share,
        lap: a.lap,
        sd_s,
    }
}

/// The trace at a time, searched from a point near it.
pub fn at_time(trace: &Trace, near: u32, time_us: u64, sd_s: f32) -> Option<Instant> {
    let mut number = near;
    for _ in 0..crate::trace::TRACE_LEN {
        let a = trace.get(number)?;
        if a.time_us > time_us {
            number = number.wrapping_sub(1);
            continue;
        }
        let b = trace.get(number.wrapping_add(1))?;
        if b.time_us <= time_us {
            number = number.wrapping_add(1);
            continue;
        }
        let share = (time_us - a.time_us) as f32 / (b.time_us - a.time_us).max(1) as f32;
        return Some(between(a, b, share, sd_s));
    }
    None
}

/// Where braking truly began, given the first moment that was surely braking and the newest.
pub fn braking(
    trace: &Trace,
    first_over: u32,
    now: &Moment,
    early_s: f32,
    coast_mps2: f32,
) -> Option<Instant> {
    let origin = trace.get(first_over)?;
    let seconds = |p: &Point| p.time_us.wrapping_sub(origin.time_us) as i64 as f32 * 1e-6;
    // The early peak: the least acceleration soon after.
    let mut peak = origin.acc_mps2;
    let mut number = first_over;
    while let Some(p) = trace.get(number) {
        if seconds(p) > early_s || p.time_us > now.time_us {
            break;
        }
        peak = peak.min(p.acc_mps2);
        number = number.wrapping_add(1);
    }
    let level = coast_mps2.max(peak);
    let half = 0.5 * (level + peak);
    let (a, b) = crossing_down(trace, first_over, half)?;
    let slope = (a.acc_mps2 - b.acc_mps2).max(0.1);
    let share = ((a.acc_mps2 - half) / slope).clamp(0.0, 1.0);
    let dt_s = b.time_us.saturating_sub(a.time_us) as f32 * 1e-6;
    let coarse = between(
        a,
        b,
        share,
        (now.acc_sd_mps2 * dt_s / slope).clamp(0.002, 0.5),
    );
    Some(refine(trace, first_over, &coarse, now).unwrap_or(coarse))
}

/// The neighbours between which the acceleration falls through a level, the last ones before or
/// the first ones after `from`.
fn crossing_down(trace: &Trace, from: u32, level: f32) -> Option<(&Point, &Point)> {
    let forward = trace.get(from)?.acc_mps2 >= level;
    let mut number = from;
    for _ in 0..crate::trace::TRACE_LEN {
        let (a, b) = if forward {
            (trace.get(number)?, trace.get(number.wrapping_add(1))?)
        } else {
            (trace.get(number.wrapping_sub(1))?, trace.get(number)?)
        };
        if a.acc_mps2 >= level && b.acc_mps2 < level {
            return Some((a, b));
        }
        number = if forward {
            number.wrapping_add(1)
        } else {
            number.wrapping_sub(1)
        };
    }
    None
}

/// The fitted kink, when the speeds around agree with one.
fn refine(trace: &Trace, near: u32, coarse: &Instant, now: &Moment) -> Option<Instant> {
    let noise = now.noise_mps * now.noise_mps;
    for reach_s in [FIT_S, FIT_SHORT_S] {
        let Some(window) = Window::cut(trace, coarse.time_us, near, reach_s, reach_s) else {
            continue;
        };
        let Some(kink) = window.kink(0.0, FIT_REACH_S) else {
            continue;
        };
        if kink.residual > FIT_AGREES * noise + 1e-5 || kink.change_mps2 > -0.5 {
            continue;
        }
        let shift_us = (kink.at_s * 1e6) as i64;
        let time_us = coarse.time_us.checked_add_signed(shift_us)?;
        return at_time(trace, near, time_us, kink.sd_s.max(0.001));
    }
    None
}

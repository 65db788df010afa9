//! What the pedals did in one braking zone of a drive.

use super::road::{Moment, Trace};

/// Throttle above this is taken up, and below it lifted, as in the table of truth.
const TAKEN_UP: f64 = 0.5;
/// For this long, seconds.
const HELD_S: f64 = 0.3;
/// Full throttle.
const FULL: f64 = 0.85;
/// Throttle below this is a lift, where the other lap drives.
const LIFTED: f64 = 0.3;
/// Full throttle is looked for this long, seconds.
const FULL_WITHIN_S: f64 = 6.0;

/// One passage of a braking zone, measured on the pedals.
#[derive(Clone, Copy, Debug)]
pub struct Zone {
    /// Where the foot left the throttle before the braking.
    pub off_throttle: Option<Moment>,
    /// Where the brake was first on.
    pub brake: Moment,
    /// Where it was released for good.
    pub release: Moment,
    /// Where the car was slowest.
    pub slowest: Moment,
    /// Where throttle was taken up for good; none before the next braking.
    pub throttle: Option<Moment>,
    /// Where the throttle was first touched after the brake, for however short a time.
    pub touched: Option<Moment>,
    /// Where it was full.
    pub full: Option<Moment>,
    /// Mean deceleration while the brake was on, m/s².
    pub decel_mps2: f64,
    /// Seconds without either pedal between the first touch of the brake and the throttle.
    pub coast_s: f64,
}

/// The car is slowest this long after the throttle at the latest: the engine takes its time.
const AFTER_S: f64 = 0.3;

/// Begin and end of a zone, seconds, and when throttle was taken up.
#[derive(Clone, Copy, Debug)]
pub struct Times {
    /// First touch of the brake.
    pub on_s: f64,
    /// Last release.
    pub off_s: f64,
    /// Throttle taken up.
    pub throttle_s: Option<f64>,
    /// The next zone's first touch.
    pub next_s: f64,
}

impl Zone {
    /// Measures one zone of a drive. Where throttle is never taken up, the slowest point is looked
    /// for until 2 s after the brake.
    pub fn of(trace: &Trace, times: &Times) -> Option<Self> {
        let rolled_s = (times.off_s + 2.0).min(times.next_s);
        let until_s = times.throttle_s.unwrap_or(rolled_s).max(times.off_s);
        let inside = trace.span(times.on_s, (until_s + AFTER_S).min(times.next_s));
        let slowest = *inside
            .iter()
            .min_by(|a, b| a.speed_mps.total_cmp(&b.speed_mps))?;
        let brake = trace.at_time(times.on_s)?;
        let release = *inside.iter().rfind(|m| m.brake > 0.05)?;
        let before = trace.span(times.on_s - 6.0, times.on_s);
        let off_throttle = before.iter().rposition(|m| m.throttle > TAKEN_UP);
        let full = times.throttle_s.and_then(|from_s| {
            let to_s = (from_s + FULL_WITHIN_S).min(times.next_s);
            let after = trace.span(from_s - 0.05, to_s);
            after.iter().find(|m| m.throttle > FULL).copied()
        });
        let braking: Vec<&Moment> = inside.iter().filter(|m| m.brake > 0.1).collect();
        let taken_off = brake.speed_mps - release.speed_mps;
        let braked_s = braking.len() as f64 * step_s(inside);
        let coasting = |m: &&Moment| m.brake < 0.05 && m.throttle < 0.1;
        Some(Self {
            off_throttle: off_throttle.map(|i| before[i]),
            brake,
            release,
            slowest,
            throttle: times.throttle_s.and_then(|s| trace.at_time(s)),
            full,
            touched: inside
                .iter()
                .find(|m| m.time_s > release.time_s && m.throttle > TAKEN_UP)
                .copied(),
            decel_mps2: taken_off / braked_s.max(0.2),
            coast_s: inside.iter().filter(coasting).count() as f64 * step_s(inside),
        })
    }
}

/// Seconds off the throttle between two times, counted where the other lap drives.
pub fn off_s(trace: &Trace, from_s: f64, to_s: f64, other_drives: impl Fn(f64) -> bool) -> f64 {
    trace
        .span(from_s, to_s)
        .windows(2)
        .filter(|w| w[1].throttle < LIFTED && other_drives(w[1].along_m))
        .map(|w| w[1].time_s - w[0].time_s)
        .sum()
}

fn step_s(moments: &[Moment]) -> f64 {
    match (moments.first(), moments.last()) {
        (Some(a), Some(b)) if moments.len() > 1 => {
            (b.time_s - a.time_s) / (moments.len() - 1) as f64
        }
        _ => 0.0,
    }
}

/// The zones of a drive by their definition: brake above 0.15 until below 0.05, joined under
/// 0.6 s, at least 2.5 m/s taken off; throttle is the first above 0.5 for 0.3 s after it.
pub fn zones(trace: &Trace) -> Vec<Times> {
    let mut spans: Vec<(f64, f64)> = Vec::new();
    let mut on: Option<f64> = None;
    for m in &trace.moments {
        match on {
            None if m.brake > 0.15 => on = Some(m.time_s),
            Some(from_s) if m.brake < 0.05 => {
                on = None;
                match spans.last_mut() {
                    Some(last) if from_s - last.1 < 0.6 => last.1 = m.time_s,
                    _ => spans.push((from_s, m.time_s)),
                }
            }
            _ => {}
        }
    }
    spans.retain(|&(from_s, to_s)| {
        let inside = trace.span(from_s, to_s + 0.01);
        let low = inside.iter().map(|m| m.speed_mps).fold(f64::MAX, f64::min);
        inside.first().is_some_and(|m| m.speed_mps - low >= 2.5)
    });
    let next = |i: usize| spans.get(i + 1).map_or(f64::MAX, |s| s.0);
    (0..spans.len())
        .map(|i| Times {
            on_s: spans[i].0,
            off_s: spans[i].1,
            throttle_s: taken_up(trace, spans[i].1, next(i)),
            next_s: next(i),
        })
        .collect()
}

fn taken_up(trace: &Trace, from_s: f64, to_s: f64) -> Option<f64> {
    let after = trace.span(from_s, to_s);
    let mut since: Option<f64> = None;
    for m in after {
        match since {
            _ if m.throttle <= TAKEN_UP => since = None,
            None => since = Some(m.time_s),
            Some(s) if m.time_s - s >= HELD_S => return Some(s),
            Some(_) => {}
        }
    }
    None
}

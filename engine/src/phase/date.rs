//! Dates a change back on the trace.
//!
//! A coarse place first: where the acceleration of the moments passes a level. Then the raw
//! speeds around it: where they are two straight lines, a short ramp between them and noise, the
//! fitted kink is all that can be known; elsewhere the crossings stand. Both mean the middle of
//! the pedal's ramp.

use crate::math;
use crate::motion::Moment;
use crate::onset::{Instant, Kink, Window};
use crate::trace::{Point, TRACE_LEN, Trace};

/// A braking has begun when its deceleration beyond coasting passes levels between these shares of
/// the measure of the pedal, for a braking as hard as that; a foot that only rests on the pedal is
/// below them. For softer ones by the fourth root, and never above a share of their own.
const ONSET_FROM: f32 = 0.36;
const ONSET_TO: f32 = 0.58;
const ONSET_MOST: f32 = 0.85;
const LEVELS: usize = 5;
/// The early peak lies within this of the onset, seconds.
const EARLY_S: f32 = 0.5;
/// Rounds of finding the onset from the peak and the peak from the onset.
const ROUNDS: usize = 3;

/// Half of the window in which a crossing is found, seconds.
const LEVEL_S: f32 = 0.2;
/// Half of the speeds looked at for it, seconds: it is moved by 0.12 at most before it is fitted for
/// the last time.
const LEVEL_CUT_S: f32 = 0.35;
/// A crossing farther than this from the coarse one is another one, seconds.
const LEVEL_APART_S: f32 = 0.12;
/// Half of the window that is looked at, seconds.
const WINDOW_S: f32 = 0.62;
/// A cable is looked for where this share of the first peak is passed.
const BENT_LEVEL: f32 = 0.55;
/// Half of the window of a bent cable, seconds.
const BENT_HALF_S: f32 = 0.5;
/// What a bent cable leaves over is noise when its variance is no more than this share above what
/// is known of the noise, and so many standard deviations of a variance more.
const NOISE_OFF: f32 = 0.4;
const CHANCE: f32 = 3.0;
/// A slow ramp that fits better by this many variances of the noise is a lift that became a braking.
const SLOW_CHANCE: f32 = 12.0;
/// A car driven by more than this above coasting is lifted before it is braked: two bends, too near
/// each other for a cable of one, m/s².
const DRIVEN_MPS2: f32 = 1.5;
/// A kink and the crossings are of the same change when the speeds they ask for differ by less than
/// this, and three standard deviations.
const APART_MPS: f32 = 0.7;
/// Farthest a fitted kink may lie from where it is looked for, seconds.
const REACH_S: f32 = 0.2;
/// Crossings of levels on a ramp of unknown shape are no better than this, seconds.
const SHAPE_SD_S: f32 = 0.03;
/// How well the throttle is known to be taken up where it came up from coasting or from the brake,
/// seconds,
const CLEAR_SD_S: f32 = 0.035;
/// and where the car was driven a little before already: by a part throttle, or by tyres that slow it
/// less than they did.
const PART_SD_S: f32 = 0.13;
/// In fast bends it comes up sooner, and is known by no less than this, metres.
const PART_SD_MOST_M: f32 = 3.5;
/// A little before is so many microseconds.
const PART_BEFORE_US: i32 = 200_000;
/// Where nothing better is known, a date is no better than this, seconds.
const COARSE_SD_S: f32 = 0.05;

/// What is known of a braking when its onset is dated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Begun {
    /// Running number of the first moment that was surely braking.
    pub first_over: u32,
    /// Acceleration off both pedals there, m/s².
    pub coast_mps2: f32,
    /// The measure of the brake pedal there, m/s², positive.
    pub foot_mps2: f32,
}

/// A moment as the place of a change that cannot be dated better.
pub fn here(now: &Moment) -> Instant {
    Instant {
        time_us: now.time_us,
        progress_m: now.progress_m,
        speed_mps: now.speed_mps,
        lap: now.lap,
        sd_s: COARSE_SD_S,
    }
}

/// Where braking truly began.
pub fn braking(trace: &Trace, begun: &Begun, now: &Moment) -> Option<Instant> {
    let seen = trace.get(begun.first_over)?.brake_seen;
    if seen {
        let (a, b) = crossing(trace, begun.first_over, &|p| p.braking - 1.0)?;
        return Some(by_pedal(trace, (a, b), (a.braking, b.braking), 1.0));
    }
    let mut from = begun.first_over;
    let mut peak = early_peak(trace, begun.first_over, from, now)?;
    for _ in 0..ROUNDS {
        let level = Levels::of(begun, peak).at(0.5 * (ONSET_FROM + ONSET_TO));
        from = crossing_number(trace, from, &|p| level - p.acc_mps2)?;
        peak = early_peak(trace, begun.first_over, from, now)?;
    }
    let levels = Levels::of(begun, peak);
    let origin_us = trace.source_us(trace.get(from)?);
    let (mut sum_s, mut first_s, mut last_s) = (0.0, None, 0.0);
    for k in 0..LEVELS {
        let share = ONSET_FROM + (ONSET_TO - ONSET_FROM) * k as f32 / (LEVELS - 1) as f32;
        let level = levels.at(share);
        let (a, b) = crossing(trace, from, &|p| level - p.acc_mps2)?;
        let acc_mps2 = (a.acc_mps2, b.acc_mps2);
        let at = interpolated(trace, (a, b), acc_mps2, level, COARSE_SD_S);
        last_s = at.time_us.wrapping_sub(origin_us) as i64 as f32 * 1e-6;
        first_s.get_or_insert(last_s);
        sum_s += last_s;
    }
    let time_us = |after_s: f32| origin_us.checked_add_signed((after_s * 1e6) as i64);
    let crossed_us = time_us(sum_s / LEVELS as f32)?;
    let half_mps2 = begun.coast_mps2 - BENT_LEVEL * (begun.coast_mps2 - peak);
    let (a, b) = crossing(trace, begun.first_over, &|p| half_mps2 - p.acc_mps2)?;
    let half = interpolated(trace, (a, b), (a.acc_mps2, b.acc_mps2), half_mps2, 0.0);
    if let Some((at_us, sd_s)) = bent(trace, begun, now, half.time_us, from) {
        return at_time(trace, from, at_us, sd_s);
    }
    // Noise moves a crossing the less, the faster the levels are passed.
    let passed_s = (last_s - first_s.unwrap_or(last_s)).max(0.0);
    let levels_mps2 = levels.at(ONSET_FROM) - levels.at(ONSET_TO);
    let noise_s = now.acc_sd_mps2() * passed_s / levels_mps2.max(0.1);
    at_time(trace, from, crossed_us, math::hypot(noise_s, SHAPE_SD_S))
}

/// A braking by a bent cable, where that is all there is in the speeds but noise: when, and its
/// standard deviation.
fn bent(
    trace: &Trace,
    begun: &Begun,
    now: &Moment,
    about_us: u64,
    near: u32,
) -> Option<(u64, f32)> {
    let noise = now.noise.noise();
    let mut window = Window::new(trace.get(near)?.speed_mps);
    window.fill(trace, about_us, near, (WINDOW_S, WINDOW_S));
    let variance = noise.fresh_mps * noise.fresh_mps;
    let likely = |kink: &Kink| {
        let chance = 1.0 + NOISE_OFF + CHANCE * math::sqrt(2.0 / kink.spare);
        let apart_s = APART_MPS / kink.change_mps2.abs() + 3.0 * kink.unit_sd_s * noise.fresh_mps;
        kink.left <= chance * kink.spare * variance && kink.at_s.abs() <= apart_s
    };
    let driven_mps2 = begun.coast_mps2 + DRIVEN_MPS2;
    let (kink, slower) = window.kink(BENT_HALF_S, REACH_S, noise.rho, driven_mps2, likely)?;
    if slower > SLOW_CHANCE * variance {
        return None;
    }
    let sd_s = kink.unit_sd_s * noise.fresh_mps;
    let at_us = about_us.checked_add_signed((kink.at_s * 1e6) as i64)?;
    Some((at_us, sd_s.max(0.001)))
}

/// The decelerations at which a braking with a first peak has begun.
struct Levels {
    coast_mps2: f32,
    foot_mps2: f32,
    /// How hard it is, as the levels go by it.
    like: f32,
    most_mps2: f32,
}

impl Levels {
    /// Once for all levels: roots are dear on a board.
    fn of(begun: &Begun, peak: f32) -> Self {
        let depth = (begun.coast_mps2 - peak).max(0.5);
        Self {
            coast_mps2: begun.coast_mps2,
            foot_mps2: begun.foot_mps2,
            like: math::sqrt(math::sqrt(depth / begun.foot_mps2.max(1.0))),
            most_mps2: ONSET_MOST * depth,
        }
    }

    /// The acceleration at a level.
    fn at(&self, share: f32) -> f32 {
        self.coast_mps2 - math::smaller(share * self.foot_mps2 * self.like, self.most_mps2)
    }
}

/// The strongest deceleration, over three moments, of the touch that was sure at `first_over`,
/// until a little after `from`.
fn early_peak(trace: &Trace, first_over: u32, from: u32, now: &Moment) -> Option<f32> {
    let origin_us = trace.get(from)?.low_us;
    let mut peak = 0.0f32;
    let mut number = first_over;
    let mut sure = false;
    while let Some(p) = trace.get(number.wrapping_add(1)) {
        let since_s = p.since_us(origin_us) as f32 * 1e-6;
        let late = since_s > EARLY_S || p.since_us(now.time_us as u32) > 0;
        if late || (sure && p.braking < 0.5) {
            break;
        }
        sure |= p.braking >= 1.0;
        let (a, b) = (trace.get(number.wrapping_sub(1))?, trace.get(number)?);
        peak = peak.min((a.acc_mps2 + b.acc_mps2 + p.acc_mps2) / 3.0);
        number = number.wrapping_add(1);
    }
    Some(peak)
}

/// Where the brake was let go: the last fall of the braking through a level, after the last
/// moment surely on it.
pub fn release(trace: &Trace, last_on: u32, level: f32, now: &Moment) -> Option<Instant> {
    let (a, b) = crossing(trace, last_on, &|p| level - p.braking)?;
    if a.brake_seen {
        return Some(by_pedal(trace, (a, b), (a.braking, b.braking), level));
    }
    let at = interpolated(trace, (a, b), (a.braking, b.braking), level, COARSE_SD_S);
    crossed(a, b, at, last_on, a.braking, b.braking, level).refined(trace, now)
}

/// Where the drive rose through a level, near a moment at which it was above.
pub fn rise(trace: &Trace, above: u32, level: f32, now: &Moment) -> Option<Instant> {
    let (a, b) = crossing(trace, above, &|p| p.drive - level)?;
    if a.throttle_seen {
        return Some(by_pedal(trace, (a, b), (a.drive, b.drive), level));
    }
    let at = interpolated(trace, (a, b), (a.drive, b.drive), level, COARSE_SD_S);
    crossed(a, b, at, above, a.drive, b.drive, level).refined(trace, now)
}

/// The same of the throttle taken up: an inferred drive is as vague as the car's curves and its tyres
/// leave it.
pub fn taken_up(trace: &Trace, above: u32, level: f32, now: &Moment) -> Option<Instant> {
    let mut at = rise(trace, above, level, now)?;
    let mut before = trace.get(above)?;
    if before.throttle_seen {
        return Some(at);
    }
    let mut number = above;
    while before.since_us(at.time_us as u32) > -PART_BEFORE_US {
        number = number.wrapping_sub(1);
        let Some(point) = trace.get(number) else {
            break;
        };
        before = point;
    }
    let vague_s = if before.drive <= 0.0 {
        CLEAR_SD_S
    } else {
        math::smaller(PART_SD_S, PART_SD_MOST_M / at.speed_mps.max(1.0))
    };
    at.sd_s = math::hypot(at.sd_s, vague_s);
    Some(at)
}

fn crossed(a: &Point, b: &Point, at: Instant, near: u32, from: f32, to: f32, level: f32) -> Coarse {
    let share = ((level - from) / not_zero(to - from)).clamp(0.0, 1.0);
    Coarse {
        at,
        near,
        level_mps2: a.acc_mps2 + (b.acc_mps2 - a.acc_mps2) * share,
    }
}

/// A change whose place is known coarsely: where the acceleration passes a level.
struct Coarse {
    at: Instant,
    /// A point of the trace near it.
    near: u32,
    level_mps2: f32,
}

impl Coarse {
    /// The same on the raw speeds.
    fn refined(&self, trace: &Trace, now: &Moment) -> Option<Instant> {
        let mut window = Window::new(trace.get(self.near)?.speed_mps);
        window.fill(
            trace,
            self.at.time_us,
            self.near,
            (LEVEL_CUT_S, LEVEL_CUT_S),
        );
        let (mut at_s, mut sd_s) = (0.0, COARSE_SD_S);
        if let Some(c) = window.crossing(self.level_mps2, 0.0, LEVEL_S)
            && c.at_s.abs() < LEVEL_APART_S
        {
            at_s = c.at_s;
            sd_s = now.noise_mps * math::sqrt(c.slope_var) / c.bend_mps3.abs().max(1.0);
        }
        let time_us = self.at.time_us.checked_add_signed((at_s * 1e6) as i64)?;
        at_time(trace, self.near, time_us, sd_s.max(0.001))
    }
}

/// The neighbours between which a measure rises through zero, the last ones before or the first
/// ones after `from`.
fn crossing<'a>(
    trace: &'a Trace,
    from: u32,
    over: &dyn Fn(&Point) -> f32,
) -> Option<Neighbours<'a>> {
    let number = crossing_number(trace, from, over)?;
    Some((trace.get(number.wrapping_sub(1))?, trace.get(number)?))
}

/// The number of the second of the neighbours. One copy for all measures: a board's code is short.
#[inline(never)]
fn crossing_number(trace: &Trace, from: u32, over: &dyn Fn(&Point) -> f32) -> Option<u32> {
    let above = |number: u32| trace.get(number).map(|p| over(p) > 0.0);
    let mut number = from;
    if above(from)? {
        for _ in 0..TRACE_LEN {
            let before = number.wrapping_sub(1);
            if !above(before)? {
                return Some(number);
            }
            number = before;
        }
    } else {
        for _ in 0..TRACE_LEN {
            number = number.wrapping_add(1);
            if above(number)? {
                return Some(number);
            }
        }
    }
    None
}

/// Two neighbours of the trace, and a measure at each.
type Neighbours<'a> = (&'a Point, &'a Point);
type Pair = (f32, f32);

/// A pedal passes a level between two samples, anywhere between them.
fn by_pedal(trace: &Trace, (a, b): Neighbours<'_>, pedal: Pair, level: f32) -> Instant {
    let dt_s = b.since_us(a.low_us) as f32 * 1e-6;
    interpolated(trace, (a, b), pedal, level, 0.29 * dt_s)
}

/// Where a measure passes a level between two neighbours.
#[inline(never)]
fn interpolated(
    trace: &Trace,
    (a, b): Neighbours<'_>,
    (from, to): Pair,
    level: f32,
    sd_s: f32,
) -> Instant {
    let share = ((level - from) / not_zero(to - from)).clamp(0.0, 1.0);
    between(trace, (a, b), share, sd_s)
}

fn not_zero(x: f32) -> f32 {
    if x.abs() < 1e-6 { 1e-6 } else { x }
}

/// A place between two points of the trace, `share` of the way from the first to the second.
fn between(trace: &Trace, (a, b): Neighbours<'_>, share: f32, sd_s: f32) -> Instant {
    let span_us = b.since_us(a.low_us).max(0) as f32;
    let part_us = (span_us * share) as u64;
    Instant {
        time_us: trace.source_us(a).saturating_add(part_us),
        progress_m: a.progress_m + 0.5 * (a.speed_mps + b.speed_mps) * (span_us * 1e-6) * share,
        speed_mps: a.speed_mps + (b.speed_mps - a.speed_mps) * share,
        lap: a.lap,
        sd_s,
    }
}

/// The trace at a time, searched from a point near it.
#[inline(never)]
fn at_time(trace: &Trace, near: u32, time_us: u64, sd_s: f32) -> Option<Instant> {
    let low_us = time_us as u32;
    let mut number = near;
    for _ in 0..TRACE_LEN {
        let a = trace.get(number)?;
        let after_a_us = a.since_us(low_us).checked_neg()?;
        if after_a_us < 0 {
            number = number.wrapping_sub(1);
            continue;
        }
        let b = trace.get(number.wrapping_add(1))?;
        if b.since_us(low_us) <= 0 {
            number = number.wrapping_add(1);
            continue;
        }
        let share = after_a_us as f32 / b.since_us(a.low_us).max(1) as f32;
        return Some(between(trace, (a, b), share, sd_s));
    }
    None
}

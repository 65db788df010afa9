//! Whether the car has begun to brake, as soon as its speeds can tell: long before the braking can
//! be dated, and before the centred windows of [`crate::motion`] are over it.
//!
//! On the newest speeds, in noise of first order made white, for several moments at which it may
//! have begun: a line over the time before and a change of slope from the moment on, connected, by
//! least squares. Of the moments the one with the surest change is taken. It is a braking when chance
//! makes such a change no more than once in an hour, and the speeds since fall faster than off both
//! pedals, as the connected line has them and by themselves (a lift before the moment bends the line).
//! Speeds that by themselves fall so much faster that chance would not make it in an hour need no line
//! before.

use crate::math::{larger, sqrt};
use crate::motion::{Moment, SCRUB_SHARE};
use crate::trace::{Point, Trace};

/// Points since it may have begun, the one it began at included.
const SINCE: [u32; 10] = [2, 3, 4, 5, 7, 10, 14, 20, 28, 40];
/// And no longer ago than this, seconds.
const SINCE_MOST_S: f32 = 0.4;
/// The line before is over this, seconds.
const BEFORE_S: f32 = 0.8;
/// Most points looked at: both at 100 Hz.
const POINTS_MAX: u32 = 122;
/// Chance makes the square of so many deviations, `2 ln(3600 f)`, once in an hour (Lorden 1971),
const HOUR_S: f32 = 3600.0;
/// and some more, as it is looked for at several moments.
const SEVERAL: f32 = 2.0;
/// Deviations by which the speeds since fall faster than off both pedals, as the line has them,
const LIKELY: f32 = 2.0;
/// and by themselves.
const ALONE: f32 = 0.9;
/// Falling faster than off both pedals is falling by so much more: the road is not level, m/s².
const BEYOND_MPS2: f32 = 0.5;
/// It is looked for when the newest speeds fall by this share of that: most of a lap is spared.
const HINT: f32 = 0.5;

/// Whether the car has surely begun to brake by its newest speed.
pub fn braking(trace: &Trace, now: &Moment) -> bool {
    let scrub_mps2 = SCRUB_SHARE * now.lat_mps2.map_or(0.0, f32::abs);
    let slope_mps2 = now.coast_mps2 - BEYOND_MPS2 - scrub_mps2;
    if now.since_mps > HINT * slope_mps2 * now.since_s {
        return false;
    }
    let noise = now.noise.noise();
    let limit = Limit {
        slope_mps2,
        variance: noise.fresh_mps * noise.fresh_mps,
        sure: SEVERAL + 2.0 * core::f32::consts::LN_2 * log2(HOUR_S / larger(now.dt_s, 1e-3)),
    };
    look(trace, noise.rho, &limit).unwrap_or(false)
}

/// What is no braking yet.
struct Limit {
    slope_mps2: f32,
    /// Of what is new in each speed, (m/s)².
    variance: f32,
    /// Square of the deviations that are no chance.
    sure: f32,
}

/// To 0.09, from above 0: the exponent, and a straight line between two powers.
fn log2(x: f32) -> f32 {
    x.to_bits() as f32 * (1.0 / 8_388_608.0) - 127.0
}

/// The newest points up to the one at which it may have begun.
#[derive(Clone, Copy, Default)]
struct Since {
    sums: Sums,
    /// When that was, seconds from the newest.
    at_s: f32,
    /// By themselves they fall faster than off both pedals.
    falls: bool,
}

fn look(trace: &Trace, rho: f32, limit: &Limit) -> Option<bool> {
    let newest = trace.newest()?;
    let last = trace.get(newest)?;
    let mut sums = Sums::default();
    let mut open: heapless::Vec<Since, { SINCE.len() }> = heapless::Vec::new();
    let (mut wanted, mut closed) = (SINCE.iter().peekable(), 0usize);
    let (mut most, mut braked, mut falls) = (limit.sure, false, false);
    let (mut t_newer, mut v_newer) = (0.0, 0.0);
    for count in 1..=POINTS_MAX {
        let Some(point) = trace.get(newest.wrapping_sub(count - 1)) else {
            break;
        };
        let (t, v) = place(point, last);
        while let Some(since) = open.get(closed).filter(|s| t < s.at_s - BEFORE_S) {
            let (changed, below) = since.began(&sums, limit);
            if changed > most {
                (most, braked) = (changed, below && since.falls);
            }
            closed += 1;
        }
        if closed == SINCE.len() || (!falls && t < -SINCE_MOST_S) {
            break;
        }
        if count == 1 {
            sums.add(sqrt(1.0 - rho * rho), 0.0, 0.0);
        } else {
            sums.add(1.0 - rho, t - rho * t_newer, v - rho * v_newer);
        }
        (t_newer, v_newer) = (t, v);
        if t >= -SINCE_MOST_S && wanted.next_if(|&&n| n == count).is_some() {
            let squares = sums.falls(limit);
            if squares > limit.sure {
                return Some(true);
            }
            falls |= squares > ALONE * ALONE;
            let _ = open.push(Since {
                sums,
                at_s: t,
                falls: squares > ALONE * ALONE,
            });
        }
        if t < -SINCE_MOST_S && closed == open.len() {
            break;
        }
    }
    Some(braked)
}

/// Seconds and speed from the newest point.
fn place(point: &Point, newest: &Point) -> (f32, f32) {
    let t = point.since_us(newest.low_us) as f32 * 1e-6;
    (t, point.speed_mps - newest.speed_mps)
}

/// Sums over points of their share in the speed, their time and their speed.
#[derive(Clone, Copy, Default)]
struct Sums {
    oo: f32,
    ot: f32,
    tt: f32,
    ov: f32,
    tv: f32,
}

impl Sums {
    fn add(&mut self, one: f32, t: f32, v: f32) {
        self.oo += one * one;
        self.ot += one * t;
        self.tt += t * t;
        self.ov += one * v;
        self.tv += t * v;
    }

    /// Square of the deviations by which the points fall faster than a limit; 0 where they don't.
    fn falls(&self, limit: &Limit) -> f32 {
        // The slope is `top / spread`, its variance that of the noise times `oo / spread`.
        let spread = self.oo * self.tt - self.ot * self.ot;
        let top = self.oo * self.tv - self.ot * self.ov;
        let below = larger(limit.slope_mps2 * spread - top, 0.0);
        below * below / larger(limit.variance * self.oo * spread, 1e-12)
    }
}

impl Since {
    /// By how much the points since are below the line before, as the square of deviations over
    /// their variance, and whether they fall faster than off both pedals; `all` are they and those
    /// of the line.
    fn began(&self, all: &Sums, limit: &Limit) -> (f32, bool) {
        let (s, at_s) = (&self.sums, self.at_s);
        // The third of the basis: time since it began, 0 before.
        let bo = s.ot - at_s * s.oo;
        let bt = s.tt - at_s * s.ot;
        let bb = bt - at_s * bo;
        let bv = s.tv - at_s * s.ov;
        let spread = larger(all.oo * all.tt - all.ot * all.ot, 1e-9);
        // What a line over all explains of it is taken out.
        let one = (bo * all.tt - bt * all.ot) / spread;
        let slope = (bt * all.oo - bo * all.ot) / spread;
        let free = larger(bb - one * bo - slope * bt, 1e-9);
        let change = bv - one * all.ov - slope * all.tv;
        if change >= 0.0 {
            return (0.0, false);
        }
        // The slope since: that of a line over all, and what the change adds to it.
        let more = 1.0 - slope;
        let since_mps2 = (all.oo * all.tv - all.ot * all.ov) / spread + more * change / free;
        let variance = limit.variance * (all.oo / spread + more * more / free);
        let below_mps2 = larger(limit.slope_mps2 - since_mps2, 0.0);
        (
            change * change / larger(limit.variance * free, 1e-12),
            below_mps2 * below_mps2 > LIKELY * LIKELY * variance,
        )
    }
}

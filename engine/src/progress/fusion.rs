//! What the place along the line, the speed and the position are off by, estimated together.
//!
//! A Kalman filter over five errors: the place along the line, the scale of the speed, the lag of
//! the speed behind the position, and the common offset of the position to the east and north (the
//! day's satellite error against the reference's). It sees two things:
//!
//! - how far the projection is ahead of the integrated speed. An offset of the position shows
//!   there as a sway with the heading, a wrong scale as a steady gain, a lag as a sway with the
//!   speed, noise as noise;
//! - how far the car is beside the line. An offset of the position shows there at all headings
//!   alike; a driver's own line shows too, so this is believed far less.
//!
//! Both innovations are cut at what the state allows, so that leaps and slides pull no harder.
//! From memory: the filter in any textbook of estimation; the numbers below are ours.

use super::Correction;
use crate::math::{clamp, sqrt};
use crate::reference::SourceKind;

/// Variance that the place gains a second by integrating speed, m²/s: with [`ALONG_M2S`] the pull
/// to the projection settles at a time constant of 3 s.
const PLACE_M2PS: f32 = 0.01;
/// The same away from the line or without a course, where speed along it is known worse.
const PLACE_AWAY_M2PS: f32 = 0.1;
/// Variance that the speed's scale gains a second: 0.1 % in five minutes.
const SCALE_PS: f32 = 3e-9;
/// Variance that each axis of the offset gains a second, m²/s: 1.7 m in five minutes.
const OFFSET_M2PS: f32 = 0.01;
/// Noise of the projection along the line, variance times seconds, m² s.
const ALONG_M2S: f32 = 0.09;
/// Noise of the projection next to standing, where it wanders more than the car, m² s.
const CREEP_M2S: f32 = 4.0;
/// A driver's own line against the reference, variance times seconds, m² s: 1.2 m kept for 2 s.
const ASIDE_M2S: f32 = 6.0;
/// A car farther from where the line and the offset put it pulls no harder, metres.
const ASIDE_CUT_M: f32 = 1.5;
/// Variance that the lag gains a second: 0.03 s in five minutes.
const LAG_S2PS: f32 = 3e-6;
/// Variances at the start: 1 % of speed, 0.15 s of lag, 2 m of offset, 3 m of place.
const START: Start = Start {
    scale: 1e-4,
    lag_s2: 0.02,
    offset_m2: 4.0,
    place_m2: 9.0,
};
/// Variance of the offset of a simulator, which has none, m².
const EXACT_M2: f32 = 1e-4;
/// The scale is never believed to be off by more.
const SCALE_MOST: f32 = 0.04;
/// Nor the lag, seconds.
const LAG_MOST_S: f32 = 0.4;
/// Nor the offset, metres each axis.
const OFFSET_MOST_M: f32 = 6.0;
/// A projection farther ahead or behind than this many deviations of the state,
const CUT: f32 = 2.5;
/// and so many metres more, pulls no harder.
const ALONG_CUT_M: f32 = 1.0;
struct Start {
    scale: f32,
    lag_s2: f32,
    offset_m2: f32,
    place_m2: f32,
}

/// Rows and columns of the covariance: place, scale, lag, offset east, offset north.
type Row = [f32; 5];

/// What one or more samples add.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Step {
    pub(super) dt_s: f32,
    /// Progress gained, metres.
    pub(super) step_m: f32,
    /// Change of the speed along the line, m/s.
    pub(super) push_mps: f32,
    /// Variance of the step beyond that of time, m².
    pub(super) coarse_m2: f32,
    /// Away from the line or without a course.
    pub(super) away: bool,
}

impl Step {
    /// Adds the next sample's.
    pub(super) fn add(&mut self, next: &Self) {
        self.dt_s += next.dt_s;
        self.step_m += next.step_m;
        self.push_mps += next.push_mps;
        self.coarse_m2 += next.coarse_m2;
        self.away |= next.away;
    }
}

/// The estimate.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fusion {
    scale: f32,
    lag_s: f32,
    east_m: f32,
    north_m: f32,
    p: [Row; 5],
    /// Variance of the offset when nothing is known of it, m².
    offset_most_m2: f32,
}

impl Default for Fusion {
    fn default() -> Self {
        Self::new(SourceKind::Unknown)
    }
}

impl Fusion {
    /// Nothing known yet of a source of this kind.
    pub(super) fn new(source: SourceKind) -> Self {
        let offset_most_m2 = match source {
            SourceKind::Simulator => EXACT_M2,
            SourceKind::Unknown | SourceKind::Receiver => START.offset_m2,
        };
        let mut new = Self {
            scale: 0.0,
            lag_s: 0.0,
            east_m: 0.0,
            north_m: 0.0,
            p: [[0.0; 5]; 5],
            offset_most_m2,
        };
        let [place, scale, lag, east, north] = &mut new.p;
        place[0] = START.place_m2;
        scale[1] = START.scale;
        lag[2] = START.lag_s2;
        east[3] = offset_most_m2;
        north[4] = offset_most_m2;
        new
    }

    /// Metres driven for each metre that the speed says.
    pub(super) fn stretch(&self) -> f32 {
        1.0 + self.scale
    }

    /// Seconds by which the speed lags behind the position.
    pub(super) fn lag_s(&self) -> f32 {
        self.lag_s
    }

    /// The common offset of the position, metres east and north.
    pub(super) fn offset_m(&self) -> (f32, f32) {
        (self.east_m, self.north_m)
    }

    /// All that is estimated, for people.
    pub(super) fn correction(&self) -> Correction {
        Correction {
            east_m: self.east_m,
            north_m: self.north_m,
            offset_sd_m: sqrt(0.5 * (self.p[3][3] + self.p[4][4])),
            lag_s: self.lag_s,
            stretch: self.stretch(),
        }
    }

    /// The place was found anew: it is known no better than at the start.
    pub(super) fn found(&mut self) {
        for row in &mut self.p {
            row[0] = 0.0;
        }
        self.p[0] = [START.place_m2, 0.0, 0.0, 0.0, 0.0];
    }

    /// Time passes and the car drives.
    pub(super) fn predict(&mut self, step: &Step) {
        let (s, v) = (step.step_m, step.push_mps);
        let [place, scale, lag, east, north] = &mut self.p;
        let drift = if step.away {
            PLACE_AWAY_M2PS
        } else {
            PLACE_M2PS
        };
        // The place gains step x scale + push x lag.
        let own = s * (s * scale[1] + v * lag[1]) + v * (s * scale[2] + v * lag[2]);
        place[0] += 2.0 * (s * place[1] + v * place[2]) + own + drift * step.dt_s;
        place[0] = (place[0] + step.coarse_m2).min(4.0 * START.place_m2);
        for (cell, (a, b)) in place.iter_mut().zip(scale.iter().zip(lag.iter())).skip(1) {
            *cell += s * a + v * b;
        }
        scale[0] = place[1];
        lag[0] = place[2];
        east[0] = place[3];
        north[0] = place[4];
        scale[1] = (scale[1] + SCALE_PS * step.dt_s).min(START.scale);
        lag[2] = (lag[2] + LAG_S2PS * step.dt_s).min(START.lag_s2);
        east[3] = (east[3] + OFFSET_M2PS * step.dt_s).min(self.offset_most_m2);
        north[4] = (north[4] + OFFSET_M2PS * step.dt_s).min(self.offset_most_m2);
    }

    /// The projection lies `ahead_m` ahead, measured along the line's direction; gives by how much
    /// to move the place. `shrink` is one minus curvature times offset.
    pub(super) fn along(&mut self, ahead_m: f32, along: (f32, f32), shrink: f32, dt_s: f32) -> f32 {
        let h = [shrink, 0.0, 0.0, along.0, along.1];
        // The noise of one sample is less than what is allowed for its colour.
        let cut_m = CUT * sqrt(self.variance(&h)) + ALONG_CUT_M;
        self.update(clamp(ahead_m, -cut_m, cut_m), &h, ALONG_M2S / dt_s)
    }

    /// The same when only the place may learn from it.
    pub(super) fn place_only(&mut self, ahead_m: f32, dt_s: f32, creeping: bool) -> f32 {
        let noise = if creeping { CREEP_M2S } else { ALONG_M2S };
        let place = &mut self.p[0];
        let gain = place[0] / (place[0] + noise / dt_s);
        for cell in place.iter_mut() {
            *cell *= 1.0 - gain;
        }
        let kept = *place;
        for (row, cell) in self.p.iter_mut().zip(kept) {
            row[0] = cell;
        }
        gain * ahead_m
    }

    /// The car is `left_m` left of the line; gives by how much to move the place.
    pub(super) fn aside(&mut self, left_m: f32, along: (f32, f32), dt_s: f32) -> f32 {
        let h = [0.0, 0.0, 0.0, -along.1, along.0];
        let seen_m = left_m.clamp(-ASIDE_CUT_M, ASIDE_CUT_M);
        self.update(seen_m, &h, ASIDE_M2S / dt_s)
    }

    /// Variance of what the errors amount to along `h`.
    fn variance(&self, h: &Row) -> f32 {
        let mut sum = 0.0;
        for (row, a) in self.p.iter().zip(h) {
            sum += a * dot(row, h);
        }
        sum.max(0.0)
    }

    /// One scalar measurement: `seen` is what the errors times `h` amount to, plus noise.
    fn update(&mut self, seen: f32, h: &Row, noise: f32) -> f32 {
        let mut ph: Row = [0.0; 5];
        for (out, row) in ph.iter_mut().zip(&self.p) {
            *out = dot(row, h);
        }
        let total = dot(&ph, h) + noise;
        let gain = seen / total;
        self.scale = (self.scale + ph[1] * gain).clamp(-SCALE_MOST, SCALE_MOST);
        self.lag_s = (self.lag_s + ph[2] * gain).clamp(-LAG_MOST_S, LAG_MOST_S);
        self.east_m = (self.east_m + ph[3] * gain).clamp(-OFFSET_MOST_M, OFFSET_MOST_M);
        self.north_m = (self.north_m + ph[4] * gain).clamp(-OFFSET_MOST_M, OFFSET_MOST_M);
        for (row, a) in self.p.iter_mut().zip(ph) {
            for (cell, b) in row.iter_mut().zip(ph) {
                *cell -= a * b / total;
            }
        }
        // Rounding must never make a variance negative.
        let [place, scale, lag, east, north] = &mut self.p;
        place[0] = place[0].max(1e-6);
        scale[1] = scale[1].max(1e-10);
        lag[2] = lag[2].max(1e-6);
        east[3] = east[3].max(1e-6);
        north[4] = north[4].max(1e-6);
        ph[0] * gain
    }
}

fn dot(a: &Row, b: &Row) -> f32 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2] + a[3] * b[3] + a[4] * b[4]
}

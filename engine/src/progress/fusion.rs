//! What the place along the line, the speed and the position are off by.
//!
//! Two Kalman filters. The first ([`Pace`]) holds the place along the line, the scale of the speed
//! and the lag of the speed behind the position against the projection of the position: a wrong
//! scale shows as a steady gain, a lag as a sway with the speed, noise as noise. The second
//! ([`Shift`]) holds the common offset of the position (the day's satellite error against the
//! reference's) against how far the car is beside the line: an offset shows at all headings alike,
//! a driver's own line does not.
//!
//! The projection tells nothing of the offset: a path that is shifted as a whole is as long as
//! before, and the speed along the line, taken at the shifted distance beside it, moves the place
//! just as the shifted projection does. So the place followed is that of the shifted car, and the
//! offset is taken out of what is told.
//!
//! Innovations are cut at what the state allows, so that leaps and slides pull no harder. The
//! filters are the textbook's (from memory); the numbers are ours.

use super::Correction;
use crate::math::{clamp, larger, smaller, sqrt};
use crate::reference::SourceKind;

/// Variance that the place gains a second by integrating speed, m²/s: with [`ALONG_M2S`] the pull
/// to the projection settles at a time constant of 3 s.
const PLACE_M2PS: f32 = 0.01;
/// The same away from the line or without a course, where speed along it is known worse.
const PLACE_AWAY_M2PS: f32 = 0.1;
/// Noise of the projection along the line, variance times seconds, m² s.
const ALONG_M2S: f32 = 0.09;
/// The same next to standing, where the position wanders more than the car.
const CREEP_M2S: f32 = 4.0;
/// Variance of a place that was just found, m².
const PLACE_M2: f32 = 9.0;
/// Variance that the speed's scale gains a second (0.1 % in five minutes) and has at the start.
const SCALE: (f32, f32) = (3e-9, 1e-4);
/// Variance that the lag gains a second, s²/s (0.03 s in five minutes), and has at the start.
const LAG: (f32, f32) = (3e-6, 0.02);
/// The scale is never believed to be off by more.
const SCALE_MOST: f32 = 0.04;
/// Nor the lag, seconds.
const LAG_MOST_S: f32 = 0.4;
/// Speeds lag behind positions. Positions behind the speed by more than this are late, seconds.
const LAG_EARLY_S: f32 = 0.15;
/// Variance of a lag that is known, s².
const LAG_KNOWN_S2: f32 = 0.0025;
/// A projection farther ahead or behind than this many deviations of the state,
const CUT: f32 = 2.5;
/// and so many metres more, pulls no harder.
const ALONG_CUT_M: f32 = 1.0;

/// Variance that each axis of the offset gains a second, m²/s (1.7 m in five minutes), and has at
/// the start.
const OFFSET: (f32, f32) = (0.01, 4.0);
/// Variance of the offset of a simulator, which has none, m².
const OFFSET_EXACT_M2: f32 = 1e-4;
/// Variance of a driver's habit to keep left of the line everywhere, m².
const HABIT_M2: f32 = 2.0;
/// A driver's own line against the reference, variance times seconds, m² s: 1.2 m kept for 2 s.
const ASIDE_M2S: f32 = 6.0;
/// A car farther from where the line and the offset put it pulls no harder, metres.
const ASIDE_CUT_M: f32 = 3.0;
/// The offset is never believed to be larger, metres on each axis.
const OFFSET_MOST_M: f32 = 6.0;

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

/// Which projection it is and who may learn from it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Lesson {
    /// A car that drives well on the line: everything learns.
    All,
    /// Only the place learns.
    Place,
    /// Only the place learns, slowly: the car hardly moves.
    Creep,
}

/// The place along the line, the scale and the lag of the speed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pace {
    scale: f32,
    lag_s: f32,
    /// The covariance's upper triangle.
    place_m2: f32,
    place_scale: f32,
    place_lag: f32,
    scale2: f32,
    scale_lag: f32,
    lag_s2: f32,
}

impl Default for Pace {
    fn default() -> Self {
        Self {
            scale: 0.0,
            lag_s: 0.0,
            place_m2: PLACE_M2,
            place_scale: 0.0,
            place_lag: 0.0,
            scale2: SCALE.1,
            scale_lag: 0.0,
            lag_s2: LAG.1,
        }
    }
}

impl Pace {
    /// Metres driven for each metre that the speed says.
    pub(super) fn stretch(&self) -> f32 {
        1.0 + self.scale
    }

    /// Seconds by which the speed lags behind the position.
    pub(super) fn lag_s(&self) -> f32 {
        self.lag_s
    }

    /// The speed is off by more than its scale can be, or position and speed are further apart in
    /// time than those of any receiver.
    pub(super) fn absurd(&self) -> bool {
        let lag_s = self.lag_s;
        self.scale.abs() >= SCALE_MOST
            || (!(-LAG_EARLY_S..LAG_MOST_S).contains(&lag_s) && self.lag_known())
    }

    /// Whether the lag is known well enough to tell a good source from a bad one.
    pub(super) fn lag_known(&self) -> bool {
        self.lag_s2 < LAG_KNOWN_S2
    }

    /// The source may have begun to lag otherwise: it is to be learned anew.
    pub(super) fn doubt_lag(&mut self) {
        self.lag_s2 = LAG.1;
        self.place_lag = 0.0;
        self.scale_lag = 0.0;
    }

    /// The place was found anew: it is known no better than at the start.
    pub(super) fn found(&mut self) {
        self.place_m2 = PLACE_M2;
        self.place_scale = 0.0;
        self.place_lag = 0.0;
    }

    /// Time passes and the car drives.
    pub(super) fn predict(&mut self, step: &Step) {
        let (s, v) = (step.step_m, step.push_mps);
        let drift = if step.away {
            PLACE_AWAY_M2PS
        } else {
            PLACE_M2PS
        };
        // The place gains step × scale + push × lag.
        let (to_scale, to_lag) = (
            s * self.scale2 + v * self.scale_lag,
            s * self.scale_lag + v * self.lag_s2,
        );
        self.place_m2 += s * (2.0 * self.place_scale + to_scale)
            + v * (2.0 * self.place_lag + to_lag)
            + drift * step.dt_s
            + step.coarse_m2;
        self.place_m2 = smaller(self.place_m2, 4.0 * PLACE_M2);
        self.place_scale += to_scale;
        self.place_lag += to_lag;
        self.scale2 = smaller(self.scale2 + SCALE.0 * step.dt_s, SCALE.1);
        self.lag_s2 = smaller(self.lag_s2 + LAG.0 * step.dt_s, LAG.1);
    }

    /// The projection lies `ahead_m` of progress ahead, seen for `dt_s`; gives by how much to move
    /// the place.
    pub(super) fn learn(&mut self, ahead_m: f32, dt_s: f32, lesson: Lesson) -> f32 {
        let noise = match lesson {
            Lesson::Creep => CREEP_M2S,
            Lesson::Place | Lesson::All => ALONG_M2S,
        };
        // The noise of one sample is less than what is allowed for its colour.
        let cut_m = CUT * sqrt(self.place_m2) + ALONG_CUT_M;
        let off = clamp(ahead_m, -cut_m, cut_m) / (self.place_m2 + noise / dt_s);
        let (p, ps, pl) = (self.place_m2, self.place_scale, self.place_lag);
        let keep = 1.0 - p / (p + noise / dt_s);
        self.place_m2 = larger(p * keep, 1e-6);
        self.place_scale = ps * keep;
        self.place_lag = pl * keep;
        if lesson == Lesson::All {
            let total = p + noise / dt_s;
            self.scale = (self.scale + ps * off).clamp(-SCALE_MOST, SCALE_MOST);
            self.lag_s = (self.lag_s + pl * off).clamp(-LAG_MOST_S, LAG_MOST_S);
            self.scale2 = larger(self.scale2 - ps * ps / total, 1e-10);
            self.scale_lag -= ps * pl / total;
            self.lag_s2 = larger(self.lag_s2 - pl * pl / total, 1e-6);
        }
        p * off
    }
}

/// The common offset of the position.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shift {
    /// East, north, and the driver's own habit to the left, metres. The habit shows like an offset
    /// that turns with the heading: without it a driver who keeps left everywhere would bend the
    /// offset.
    m: [f32; 3],
    /// Their covariance, m².
    p: [[f32; 3]; 3],
    /// Variance of an axis when nothing is known of it, m².
    most_m2: f32,
    /// Standard deviation of an axis as learned last, metres.
    sd_m: f32,
}

impl Default for Shift {
    fn default() -> Self {
        Self::new(SourceKind::Unknown)
    }
}

impl Shift {
    /// Nothing known yet of a source of this kind.
    pub(super) fn new(source: SourceKind) -> Self {
        let most_m2 = match source {
            SourceKind::Simulator => OFFSET_EXACT_M2,
            SourceKind::Unknown | SourceKind::Receiver => OFFSET.1,
        };
        Self {
            m: [0.0; 3],
            p: [
                [most_m2, 0.0, 0.0],
                [0.0, most_m2, 0.0],
                [0.0, 0.0, HABIT_M2],
            ],
            most_m2,
            sd_m: sqrt(most_m2),
        }
    }

    /// Standard deviation of the offset on each axis, metres.
    pub(super) fn sd_m(&self) -> f32 {
        self.sd_m
    }

    /// How much of the offset lies along a unit vector, and how much to the left of it, metres.
    pub(super) fn along_and_left_m(&self, along: (f32, f32)) -> (f32, f32) {
        let [east_m, north_m, _] = self.m;
        (
            east_m * along.0 + north_m * along.1,
            north_m * along.0 - east_m * along.1,
        )
    }

    /// The car was `left_m` left of the line for `dt_s`, offset and all.
    pub(super) fn learn(&mut self, left_m: f32, along: (f32, f32), dt_s: f32) {
        let [east, north, _] = &mut self.p;
        east[0] = smaller(east[0] + OFFSET.0 * dt_s, self.most_m2);
        north[1] = smaller(north[1] + OFFSET.0 * dt_s, self.most_m2);
        let h = [-along.1, along.0, 1.0];
        let ph = self.p.map(|row| dot(&row, &h));
        let total = dot(&ph, &h) + ASIDE_M2S / dt_s;
        let off_m = left_m - dot(&self.m, &h);
        let gain = off_m.clamp(-ASIDE_CUT_M, ASIDE_CUT_M) / total;
        for (m, a) in self.m.iter_mut().zip(ph) {
            *m = (*m + a * gain).clamp(-OFFSET_MOST_M, OFFSET_MOST_M);
        }
        for (row, a) in self.p.iter_mut().zip(ph) {
            for (cell, b) in row.iter_mut().zip(ph) {
                *cell -= a * b / total;
            }
        }
        // Rounding must never make a variance negative.
        let [east, north, habit] = &mut self.p;
        east[0] = larger(east[0], 1e-6);
        north[1] = larger(north[1], 1e-6);
        habit[2] = larger(habit[2], 1e-6);
        self.sd_m = sqrt(0.5 * (east[0] + north[1]));
    }
}

fn dot(a: &[f32; 3], b: &[f32; 3]) -> f32 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// All that is known of the source.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Known {
    pub(super) pace: Pace,
    pub(super) shift: Shift,
}

impl Known {
    /// Nothing known yet of a source of this kind.
    pub(super) fn new(source: SourceKind) -> Self {
        Self {
            pace: Pace::default(),
            shift: Shift::new(source),
        }
    }

    /// The same for people.
    pub(super) fn correction(&self) -> Correction {
        let [east_m, north_m, _] = self.shift.m;
        Correction {
            east_m,
            north_m,
            offset_sd_m: self.shift.sd_m(),
            lag_s: self.pace.lag_s,
            stretch: self.pace.stretch(),
        }
    }
}

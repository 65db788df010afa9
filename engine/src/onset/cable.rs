//! The bent cable: least squares by Gauss-Newton, its sums written out, as a board pays for them.

use super::Window;
use crate::math::{clamp, sqrt};

/// Ramp lengths tried, seconds; the kink hardly depends on them.
const RAMPS_S: [f32; 3] = [0.12, 0.03, 0.22];
/// And one that no foot on a pedal alone is as slow as.
const SLOW_S: f32 = 0.36;
/// Steps to bring the window over the kink, and of the search in it.
const STEPS_TO: usize = 2;
const STEPS: usize = 3;
/// Longest step, and one that is none, seconds.
const STEP_MOST_S: f32 = 0.06;
const STEP_LEAST_S: f32 = 2e-3;
/// Fewest points a fit needs.
const POINTS_MIN: usize = 6;
/// Least change of slope that is one, m/s².
const CHANGE_LEAST_MPS2: f32 = 0.2;

/// A change of slope.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kink {
    /// Seconds from the origin of the fit.
    pub at_s: f32,
    /// Standard deviation of it for fresh noise of 1 m/s, seconds.
    pub unit_sd_s: f32,
    /// Slope before, m/s².
    pub before_mps2: f32,
    /// Change of slope, m/s².
    pub change_mps2: f32,
    /// Sum of squares left over, (m/s)².
    pub left: f32,
    /// Points fitted beyond what the fit needs.
    pub spare: f32,
}

/// Where a kink is looked for: the points within `half_s` of `centre_s`, the kink within `reach_s`.
#[derive(Clone, Copy)]
struct Around {
    centre_s: f32,
    half_s: f32,
    reach_s: f32,
    /// Correlation of the noise from one point to the next.
    rho: f32,
}

impl Window {
    /// The kink of a cable that runs straight for `half_s` to either side, in noise of first order;
    /// looked for within `reach_s` of the origin. `None` when the points do not determine one, the
    /// slope before is more than `before_most_mps2`, or the kink is not `likely`.
    ///
    /// With it comes by how much less a slow ramp would leave over.
    pub fn kink(
        &self,
        half_s: f32,
        reach_s: f32,
        rho: f32,
        before_most_mps2: f32,
        likely: impl Fn(&Kink) -> bool,
    ) -> Option<(Kink, f32)> {
        let mut around = Around {
            centre_s: 0.0,
            half_s,
            reach_s,
            rho,
        };
        let [first, others @ ..] = RAMPS_S;
        let near = self.search(&around, 0.0, first, STEPS_TO)?;
        if near.before_mps2 > before_most_mps2 {
            return None;
        }
        around.centre_s = near.at_s;
        let mut best = self.search(&around, around.centre_s, first, STEPS)?;
        for ramp_s in others {
            if let Some(found) = self.search(&around, best.at_s, ramp_s, 1)
                && found.left < best.left
            {
                best = found;
            }
        }
        if !likely(&best) {
            return None;
        }
        let slow = self.search(&around, best.at_s, SLOW_S, 1);
        Some((best, slow.map_or(0.0, |s| best.left - s.left)))
    }

    #[inline(never)]
    fn search(&self, around: &Around, from_s: f32, ramp_s: f32, steps: usize) -> Option<Kink> {
        let mut at_s = from_s;
        let mut found = None;
        for _ in 0..steps {
            let (sums, points) = self.sums(around, at_s, ramp_s);
            if points < POINTS_MIN {
                return None;
            }
            let solved = sums.solve()?;
            if solved.change_mps2.abs() < CHANGE_LEAST_MPS2 {
                return None;
            }
            let step_s = clamp(solved.moved / solved.change_mps2, -STEP_MOST_S, STEP_MOST_S);
            at_s = clamp(
                at_s + step_s,
                around.centre_s - around.reach_s,
                around.centre_s + around.reach_s,
            );
            found = Some(Kink {
                at_s,
                unit_sd_s: sqrt(solved.moved_var) / solved.change_mps2.abs(),
                before_mps2: solved.before_mps2,
                change_mps2: solved.change_mps2,
                left: solved.left,
                spare: points as f32 - 4.0,
            });
            if step_s.abs() < STEP_LEAST_S {
                break;
            }
        }
        found
    }

    /// The sums for a cable bent at a place, and of how many points.
    fn sums(&self, around: &Around, at_s: f32, ramp_s: f32) -> (Sums, usize) {
        let begin_s = at_s - 0.5 * ramp_s;
        let (half_ramp_s, steep) = (0.5 * ramp_s, 1.0 / ramp_s);
        let (from_s, to_s) = (
            around.centre_s - around.half_s,
            around.centre_s + around.half_s,
        );
        let rho = around.rho;
        let mut sums = Sums::default();
        let mut points = 0;
        let mut last = Row::default();
        for (time_s, speed_mps) in self.points() {
            if time_s < from_s || time_s > to_s {
                continue;
            }
            let u = time_s - begin_s;
            let (bend, share) = if u <= 0.0 {
                (0.0, 0.0)
            } else if u < ramp_s {
                (0.5 * u * u * steep, u * steep)
            } else {
                (u - half_ramp_s, 1.0)
            };
            let row = Row {
                t: time_s,
                bend,
                share,
                v: speed_mps,
            };
            // What is new in each point: the share of the one before is taken out.
            let (one, fresh) = if points == 0 {
                let scale = sqrt(1.0 - rho * rho);
                (scale, Row::default().without(&row, -scale))
            } else {
                (1.0 - rho, row.without(&last, rho))
            };
            sums.add(one, &fresh);
            last = row;
            points += 1;
        }
        (sums, points)
    }
}

/// A point's share in the four parameters, and its speed.
#[derive(Clone, Copy, Default)]
struct Row {
    t: f32,
    bend: f32,
    share: f32,
    v: f32,
}

impl Row {
    fn without(&self, other: &Self, rho: f32) -> Self {
        Self {
            t: self.t - rho * other.t,
            bend: self.bend - rho * other.bend,
            share: self.share - rho * other.share,
            v: self.v - rho * other.v,
        }
    }
}

/// The normal equations of speed `v0`, slope `g`, change `A` and of `A·τ`.
#[derive(Default)]
struct Sums {
    oo: f32,
    ot: f32,
    ob: f32,
    os: f32,
    ov: f32,
    tt: f32,
    tb: f32,
    ts: f32,
    tv: f32,
    bb: f32,
    bs: f32,
    bv: f32,
    ss: f32,
    sv: f32,
    vv: f32,
}

struct Solved {
    /// Slope before.
    before_mps2: f32,
    /// Change of slope.
    change_mps2: f32,
    /// What the kink is to be moved by, times the change.
    moved: f32,
    /// Its variance for a noise of 1.
    moved_var: f32,
    /// Sum of squares left over.
    left: f32,
}

impl Sums {
    /// `one` is the point's share in the speed.
    fn add(&mut self, one: f32, r: &Row) {
        self.oo += one * one;
        self.ot += one * r.t;
        self.ob += one * r.bend;
        self.os += one * r.share;
        self.ov += one * r.v;
        self.tt += r.t * r.t;
        self.tb += r.t * r.bend;
        self.ts += r.t * r.share;
        self.tv += r.t * r.v;
        self.bb += r.bend * r.bend;
        self.bs += r.bend * r.share;
        self.bv += r.bend * r.v;
        self.ss += r.share * r.share;
        self.sv += r.share * r.v;
        self.vv += r.v * r.v;
    }

    /// Gauss elimination with the pivots in order: the matrix is symmetric and positive definite,
    /// or the fit is not determined. The speed falls with the share, so its sign turns at the end.
    fn solve(self) -> Option<Solved> {
        let one = pivot(self.oo, self.oo)?;
        let (ft, fb, fs) = (one * self.ot, one * self.ob, one * self.os);
        let tt = pivot(self.tt - ft * self.ot, self.tt)?;
        let (tb, ts, tv) = (
            self.tb - ft * self.ob,
            self.ts - ft * self.os,
            self.tv - ft * self.ov,
        );
        let (gb, gs) = (tt * tb, tt * ts);
        let bb = pivot(self.bb - fb * self.ob - gb * tb, self.bb)?;
        let bs = self.bs - fb * self.os - gb * ts;
        let bv = self.bv - fb * self.ov - gb * tv;
        let hs = bb * bs;
        let ss = pivot(self.ss - fs * self.os - gs * ts - hs * bs, self.ss)?;
        let sv = self.sv - fs * self.ov - gs * tv - hs * bv;
        let moved = ss * sv;
        let explained = one * self.ov * self.ov + tt * tv * tv + bb * bv * bv + ss * sv * sv;
        let left = self.vv - explained;
        let change_mps2 = bb * bv - hs * moved;
        Some(Solved {
            before_mps2: tt * (tv - tb * change_mps2 - ts * moved),
            change_mps2,
            moved: -moved,
            moved_var: ss,
            left: if left > 0.0 { left } else { 0.0 },
        })
    }
}

/// One over what is left of a diagonal, unless nothing is.
fn pivot(left: f32, whole: f32) -> Option<f32> {
    (left > 1e-6 * whole && left > 1e-18).then(|| 1.0 / left)
}

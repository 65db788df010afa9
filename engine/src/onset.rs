//! Dates the moment a slope of speed changed: the kink where the two fitted lines meet.
//!
//! The model is a bent cable: speed runs straight, its slope changes over a ramp of length `T`,
//! and it runs straight again, `v = v0 + g·t + A·r(t - τ; T)` with the kink `τ` in the middle of
//! the ramp. Least squares over the window, by Gauss-Newton in the four of `v0, g, A, τ`; `T` is
//! the best of a few, as the kink hardly depends on it. On noise it reaches the Cramér-Rao bound
//! of that model (bent-cable regression, Chiu, Lockhart & Routledge 2005).

use crate::math;
use crate::trace::Trace;

/// Most points in a fit; denser windows are thinned by averaging neighbours.
const POINTS_MAX: usize = 128;
/// Ramp lengths tried, seconds.
const RAMPS_S: [f32; 3] = [0.15, 0.03, 0.3];
/// Steps of the search for each ramp length.
const STEPS: usize = 6;

/// A moment on the road, found between samples.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Instant {
    /// Source time, microseconds.
    pub time_us: u64,
    /// Metres from the start line.
    pub progress_m: f32,
    /// Speed there, m/s.
    pub speed_mps: f32,
    /// Lap it was in.
    pub lap: u16,
    /// Standard deviation of its time, seconds.
    pub sd_s: f32,
}

impl Instant {
    /// Standard deviation of the place, metres.
    pub fn sd_m(&self) -> f32 {
        self.sd_s * self.speed_mps
    }
}

/// A change of slope.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kink {
    /// Seconds from the origin of the fit.
    pub at_s: f32,
    /// Standard deviation of it, from the noise left over.
    pub sd_s: f32,
    /// Slope before, m/s².
    pub before_mps2: f32,
    /// Change of slope, m/s².
    pub change_mps2: f32,
    /// What the fit leaves over, as a variance, (m/s)².
    pub residual: f32,
}

/// Speeds around a coarse onset, times in seconds from it.
#[derive(Clone, Debug)]
pub struct Window {
    points: heapless::Vec<(f32, f32), POINTS_MAX>,
    speed_mps: f32,
}

impl Window {
    /// An empty window whose speeds are kept relative to `speed_mps`.
    pub fn new(speed_mps: f32) -> Self {
        Self {
            points: heapless::Vec::new(),
            speed_mps,
        }
    }

    /// Adds a speed; points beyond the capacity are left out.
    pub fn push(&mut self, time_s: f32, speed_mps: f32) {
        let _ = self.points.push((time_s, speed_mps - self.speed_mps));
    }

    /// The trace from `before_s` ahead of `origin_us` to `after_s` behind it.
    pub fn cut(
        trace: &Trace,
        origin_us: u64,
        around: u32,
        before_s: f32,
        after_s: f32,
    ) -> Option<Self> {
        let centre = trace.get(around)?;
        let mut window = Self::new(centre.speed_mps);
        let at = |p: &crate::trace::Point| p.time_us.wrapping_sub(origin_us) as i64 as f32 * 1e-6;
        let mut first = around;
        while let Some(p) = trace.get(first.wrapping_sub(1)) {
            if at(p) < -before_s {
                break;
            }
            first = first.wrapping_sub(1);
        }
        let mut number = first;
        while let Some(p) = trace.get(number) {
            let t = at(p);
            if t > after_s || window.points.is_full() {
                break;
            }
            if t >= -before_s {
                window.push(t, p.speed_mps);
            }
            number = number.wrapping_add(1);
        }
        Some(window)
    }

    /// Points in it.
    pub fn len(&self) -> usize {
        self.points.len()
    }

    /// Whether it has none.
    pub fn is_empty(&self) -> bool {
        self.points.is_empty()
    }

    /// The best kink near `start_s`; `None` when the points do not determine one.
    pub fn kink(&self, start_s: f32, reach_s: f32) -> Option<Kink> {
        let mut best: Option<Kink> = None;
        let mut from = start_s;
        for ramp_s in RAMPS_S {
            if let Some(found) = self.search(from, start_s, reach_s, ramp_s)
                && best.is_none_or(|b| found.residual < b.residual)
            {
                from = found.at_s;
                best = Some(found);
            }
        }
        best
    }

    fn search(&self, from_s: f32, start_s: f32, reach_s: f32, ramp_s: f32) -> Option<Kink> {
        let mut tau = from_s;
        let mut last = None;
        for _ in 0..STEPS {
            let step = self.step(tau, ramp_s)?;
            let change = step.change_s.clamp(-0.06, 0.06);
            tau = crate::math::clamp(tau + change, start_s - reach_s, start_s + reach_s);
            last = Some(step);
            if change.abs() < 2e-4 {
                break;
            }
        }
        let fit = last?;
        Some(Kink {
            at_s: tau,
            sd_s: fit.sd_s,
            before_mps2: fit.slope,
            change_mps2: fit.change,
            residual: fit.residual,
        })
    }

    /// One Gauss-Newton step: a linear fit of `v0, g, A` and of `A·dτ`.
    fn step(&self, tau: f32, ramp_s: f32) -> Option<Step> {
        let mut normal = Normal::<4>::default();
        let begin = tau - 0.5 * ramp_s;
        for &(t, v) in &self.points {
            let u = t - begin;
            let share = (u / ramp_s).clamp(0.0, 1.0);
            let bend = if u <= 0.0 {
                0.0
            } else if u < ramp_s {
                0.5 * u * share
            } else {
                u - 0.5 * ramp_s
            };
            normal.add([1.0, t, bend, -share], v);
        }
        let n = self.points.len() as f32;
        if n < 6.0 {
            return None;
        }
        let solved = normal.solve()?;
        let [_, slope, change, shift] = solved.x;
        if change.abs() < 0.2 {
            return None;
        }
        let residual = solved.residual / (n - 4.0);
        Some(Step {
            change_s: shift / change,
            slope,
            change,
            residual,
            sd_s: math::sqrt(solved.variance_of_last.max(0.0) * residual) / change.abs(),
        })
    }
}

struct Step {
    change_s: f32,
    slope: f32,
    change: f32,
    residual: f32,
    sd_s: f32,
}

/// Normal equations of a least-squares fit of `P` parameters, solved by Cholesky.
pub(crate) struct Normal<const P: usize> {
    a: [[f32; P]; P],
    b: [f32; P],
    yy: f32,
}

impl<const P: usize> Default for Normal<P> {
    fn default() -> Self {
        Self {
            a: [[0.0; P]; P],
            b: [0.0; P],
            yy: 0.0,
        }
    }
}

pub(crate) struct Solved<const P: usize> {
    pub x: [f32; P],
    /// Sum of squares left over.
    pub residual: f32,
    /// The last parameter's diagonal of the inverse.
    pub variance_of_last: f32,
}

impl<const P: usize> Normal<P> {
    pub fn add(&mut self, basis: [f32; P], y: f32) {
        for ((row, b), &f) in self.a.iter_mut().zip(self.b.iter_mut()).zip(basis.iter()) {
            for (cell, &g) in row.iter_mut().zip(basis.iter()) {
                *cell += f * g;
            }
            *b += f * y;
        }
        self.yy += y * y;
    }

    /// Gauss elimination with the pivots in order: the matrix is symmetric and positive definite,
    /// or the fit is not determined.
    pub fn solve(self) -> Option<Solved<P>> {
        let mut rows: [([f32; P], f32); P] = [([0.0; P], 0.0); P];
        for ((row, a), b) in rows.iter_mut().zip(self.a).zip(self.b) {
            *row = (a, b);
        }
        let scale: [f32; P] =
            core::array::from_fn(|i| self.a.get(i).and_then(|r| r.get(i)).copied().unwrap_or(0.0));
        let mut explained = 0.0;
        for k in 0..P {
            let (head, pivot) = (*rows.get(k)?, rows.get(k)?.0.get(k).copied()?);
            if pivot <= 1e-6 * scale.get(k).copied()?.max(1e-12) {
                return None;
            }
            explained += head.1 * head.1 / pivot;
            for row in rows.iter_mut().skip(k + 1) {
                let factor = row.0.get(k).copied()? / pivot;
                for (cell, h) in row.0.iter_mut().zip(head.0.iter()) {
                    *cell -= factor * h;
                }
                row.1 -= factor * head.1;
            }
        }
        let mut x = [0.0f32; P];
        for k in (0..P).rev() {
            let row = rows.get(k)?;
            let known: f32 = row
                .0
                .iter()
                .zip(x.iter())
                .skip(k + 1)
                .map(|(a, b)| a * b)
                .sum();
            let value = (row.1 - known) / row.0.get(k).copied()?;
            *x.get_mut(k)? = value;
        }
        let last = rows.last()?.0.last().copied()?;
        Some(Solved {
            x,
            residual: (self.yy - explained).max(0.0),
            variance_of_last: 1.0 / last,
        })
    }
}

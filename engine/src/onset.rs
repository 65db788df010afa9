//! Dates the moment a slope of speed changed: the kink where the two fitted lines meet.
//!
//! The model is a bent cable: speed runs straight, its slope changes over a ramp of length `T`,
//! and it runs straight again, `v = v0 + g·t + A·r(t - τ; T)` with the kink `τ` in the middle of
//! the ramp. Least squares over the window, by Gauss-Newton in the four of `v0, g, A, τ`; `T` is
//! the best of a few, as the kink hardly depends on it (bent-cable regression, Chiu, Lockhart and
//! Routledge 2006). Noise that hangs together from one sample to the next is made white first.

mod cable;

pub use cable::Kink;

use crate::trace::Trace;

/// Most points in a fit: 1.24 s at 100 Hz. They are the largest thing on a board's stack.
const POINTS_MAX: usize = 124;
/// A window's times are kept in steps of this, seconds: a car loses less than a millimetre a second
/// of speed in it.
const TICK_S: f32 = 20e-6;
/// Steps of the search for a crossing.
const STEPS_CROSSING: usize = 3;

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

/// Where the slope of speed passes a level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    /// Seconds from the origin of the fit.
    pub at_s: f32,
    /// How fast the slope changes there, m/s³.
    pub bend_mps3: f32,
    /// Variance of the slope for a noise of 1 m/s, 1/s².
    pub slope_var: f32,
}

/// Speeds around a coarse onset, times in seconds from it, 0.65 s to either side at most.
#[derive(Clone, Debug)]
pub struct Window {
    /// In steps of [`TICK_S`]: half the stack of a float.
    ticks: heapless::Vec<i16, POINTS_MAX>,
    speeds_mps: heapless::Vec<f32, POINTS_MAX>,
    speed_mps: f32,
}

impl Window {
    /// An empty window whose speeds are kept relative to `speed_mps`.
    pub fn new(speed_mps: f32) -> Self {
        Self {
            ticks: heapless::Vec::new(),
            speeds_mps: heapless::Vec::new(),
            speed_mps,
        }
    }

    /// Adds a speed; points beyond the capacity are left out.
    pub fn push(&mut self, time_s: f32, speed_mps: f32) {
        let _ = self.ticks.push((time_s * (1.0 / TICK_S)) as i16);
        let _ = self.speeds_mps.push(speed_mps - self.speed_mps);
    }

    /// Time from the origin, seconds, and speed above the common one, m/s.
    fn points(&self) -> impl Iterator<Item = (f32, f32)> + '_ {
        let times_s = self.ticks.iter().map(|&ticks| f32::from(ticks) * TICK_S);
        times_s.zip(self.speeds_mps.iter().copied())
    }

    /// Adds the trace from `before_s` ahead of `origin_us` to `after_s` behind it, found from a
    /// point `around` it. Into a window that is there: one handed back would be on a board's stack
    /// twice.
    #[inline(never)]
    pub fn fill(
        &mut self,
        trace: &Trace,
        origin_us: u64,
        around: u32,
        (before_s, after_s): (f32, f32),
    ) {
        let at = |p: &crate::trace::Point| p.since_us(origin_us as u32) as f32 * 1e-6;
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
            if t > after_s || self.ticks.is_full() {
                break;
            }
            if t >= -before_s {
                self.push(t, p.speed_mps);
            }
            number = number.wrapping_add(1);
        }
    }

    /// Points in it.
    pub fn len(&self) -> usize {
        self.ticks.len()
    }

    /// Whether it has none.
    pub fn is_empty(&self) -> bool {
        self.ticks.is_empty()
    }

    /// Where the slope of the speeds crosses a level: a parabola within `half_s` of the place,
    /// from `start_s` on. Returns the time and the slope's own slope there, m/s³, and the
    /// variance factor of the slope, 1/s².
    pub fn crossing(&self, level_mps2: f32, start_s: f32, half_s: f32) -> Option<Crossing> {
        let mut at = start_s;
        let mut found = None;
        for _ in 0..STEPS_CROSSING {
            let mut normal = Normal::<3>::default();
            let mut n = 0usize;
            for (t, v) in self.points() {
                let u = t - at;
                if u.abs() <= half_s {
                    normal.add([1.0, 0.5 * u * u, u], v);
                    n += 1;
                }
            }
            if n < 4 {
                break;
            }
            let Some(solved) = normal.solve() else {
                break;
            };
            let [_, bend, slope] = solved.x;
            if bend == 0.0 {
                break;
            }
            let shift = ((level_mps2 - slope) / bend).clamp(-0.06, 0.06);
            found = Some(Crossing {
                at_s: at + shift,
                bend_mps3: bend,
                slope_var: solved.variance_of_last,
            });
            at += shift;
            if shift.abs() < 1e-3 {
                break;
            }
        }
        found
    }
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

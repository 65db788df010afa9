//! The closed reference line: smoothed, with progress as its arc length and 0 on the start line.

use super::spline::{Jet, Spline};
use super::start::StartLine;

/// Knots of the spline are this far apart, metres: half the tightest hairpin's radius.
const KNOT_M: f64 = 4.0;
/// Pieces of a knot in the table of arc length.
const PIECES: usize = 4;
/// Over how much road at most the two ends of the lap are brought together, metres.
const SEAM_M: f64 = 150.0;
/// Shortest wavelength kept, metres: about the shortest thing a car can do.
const CUTOFF_MIN_M: f64 = 18.0;
/// Longest wavelength taken for noise, metres: a hairpin must stay a hairpin.
const CUTOFF_MAX_M: f64 = 45.0;
/// Noise of the curvature aimed for, 1/m.
const CURVATURE_NOISE: f64 = 4e-4;

/// A closed smooth line.
#[derive(Clone, Debug)]
pub struct Line {
    spline: Spline,
    /// Parameter at progress 0.
    origin: f64,
    /// Arc length from the origin at even steps of the parameter, one more than steps.
    arc: Vec<f64>,
    /// Parameter between two entries of `arc`.
    step: f64,
}

/// A place on the line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OnLine {
    /// Metres east.
    pub east_m: f64,
    /// Metres north.
    pub north_m: f64,
    /// Direction, radians counter-clockwise from east.
    pub direction_rad: f64,
    /// Curvature, 1/m, left positive.
    pub curvature_pm: f64,
}

/// A point of a lap for the fit: metres driven since the start line, and where.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trace {
    /// Metres driven since the start line.
    pub driven_m: f64,
    /// Metres east and north.
    pub at: [f64; 2],
}

impl Line {
    /// Fits the line of one lap.
    ///
    /// `lap` runs from crossing to crossing, first and last point on the start line; `noise_m` is
    /// the position noise from sample to sample. `None` when there are too few points.
    pub fn fit(lap: &[Trace], start: &StartLine, noise_m: f64) -> Option<Self> {
        let (first, last) = (lap.first()?, lap.last()?);
        let span = last.driven_m - first.driven_m;
        let apart = [last.at[0] - first.at[0], last.at[1] - first.at[1]];
        let seam = SEAM_M.min(span / 8.0);
        // The two passages of the start line are not in the same place. Both ends give way by
        // half, fading out along the straight.
        let fade = |distance: f64| {
            let x = (1.0 - distance / seam).clamp(0.0, 1.0);
            0.5 * x * x * (3.0 - 2.0 * x)
        };
        let points: Vec<(f64, [f64; 2])> = lap[..lap.len() - 1]
            .iter()
            .map(|p| {
                let u = p.driven_m - first.driven_m;
                let w = fade(u) - fade(span - u);
                (u, [p.at[0] + w * apart[0], p.at[1] + w * apart[1]])
            })
            .collect();
        let knots = ((span / KNOT_M).ceil() as usize).max(16);
        let spacing = span / points.len() as f64;
        let spline = Spline::fit(&points, span, knots, cutoff_m(noise_m, spacing))?;
        let origin = origin(&spline, start);
        Some(Self::measure(spline, origin))
    }

    fn measure(spline: Spline, origin: f64) -> Self {
        let steps = ((spline.span() / KNOT_M).ceil() as usize).max(16) * PIECES;
        let step = spline.span() / steps as f64;
        let mut arc = Vec::with_capacity(steps + 1);
        let mut length = 0.0;
        arc.push(0.0);
        // Gauss's rule with three points, exact for polynomials of the fifth degree.
        const GAUSS: [(f64, f64); 3] = [
            (0.112_701_665_379_258_3, 5.0 / 18.0),
            (0.5, 8.0 / 18.0),
            (0.887_298_334_620_741_7, 5.0 / 18.0),
        ];
        for k in 0..steps {
            for (x, w) in GAUSS {
                let d1 = spline.at(origin + (k as f64 + x) * step).d1;
                length += w * step * d1[0].hypot(d1[1]);
            }
            arc.push(length);
        }
        Self {
            spline,
            origin,
            arc,
            step,
        }
    }

    /// Length of the closed line, metres.
    pub fn length_m(&self) -> f64 {
        self.arc.last().copied().unwrap_or(0.0)
    }

    /// Progress brought into `[0, length)`.
    pub fn wrap_m(&self, progress_m: f64) -> f64 {
        let wrapped = progress_m.rem_euclid(self.length_m());
        if wrapped < self.length_m() {
            wrapped
        } else {
            0.0
        }
    }

    /// The shorter way from one progress to another, forward positive.
    pub fn ahead_m(&self, from_m: f64, to_m: f64) -> f64 {
        let d = to_m - from_m;
        d - self.length_m() * (d / self.length_m()).round()
    }

    fn jet(&self, progress_m: f64) -> Jet {
        self.spline.at(self.parameter(progress_m))
    }

    fn parameter(&self, progress_m: f64) -> f64 {
        let s = self.wrap_m(progress_m);
        let k = self
            .arc
            .partition_point(|a| *a <= s)
            .clamp(1, self.arc.len() - 1);
        let (a, b) = (self.arc[k - 1], self.arc[k]);
        self.origin + (k as f64 - 1.0 + (s - a) / (b - a)) * self.step
    }

    /// The place at a progress.
    pub fn at(&self, progress_m: f64) -> OnLine {
        let jet = self.jet(progress_m);
        OnLine {
            east_m: jet.at[0],
            north_m: jet.at[1],
            direction_rad: jet.d1[1].atan2(jet.d1[0]),
            curvature_pm: jet.curvature(),
        }
    }

    /// The start line: at progress 0, at a right angle.
    pub fn start(&self) -> StartLine {
        let at = self.at(0.0);
        StartLine {
            east_m: at.east_m,
            north_m: at.north_m,
            direction: [at.direction_rad.cos(), at.direction_rad.sin()],
        }
    }

    /// Progress and offset (left positive) of the foot of a point, looked for `reach_m` either
    /// way of where it is expected.
    pub fn project(&self, at: [f64; 2], near_m: f64, reach_m: f64) -> (f64, f64) {
        const SCAN_M: f64 = 3.0;
        let steps = (reach_m / SCAN_M).ceil() as i32;
        let squared = |s: f64| {
            let p = self.jet(s).at;
            (p[0] - at[0]).powi(2) + (p[1] - at[1]).powi(2)
        };
        let mut s = (-steps..=steps)
            .map(|k| near_m + f64::from(k) * SCAN_M)
            .map(|s| (s, squared(s)))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(near_m, |best| best.0);
        let mut offset = 0.0;
        for _ in 0..4 {
            let jet = self.jet(s);
            let speed = jet.d1[0].hypot(jet.d1[1]).max(1e-9);
            let tangent = [jet.d1[0] / speed, jet.d1[1] / speed];
            let d = [at[0] - jet.at[0], at[1] - jet.at[1]];
            offset = tangent[0] * d[1] - tangent[1] * d[0];
            let along = tangent[0] * d[0] + tangent[1] * d[1];
            // On a bend the feet of neighbouring points draw together on its inside.
            let squeeze = (1.0 - offset * jet.curvature()).clamp(0.3, 3.0);
            s += (along / squeeze).clamp(-SCAN_M, SCAN_M);
            if along.abs() < 1e-6 {
                break;
            }
        }
        (self.wrap_m(s), offset)
    }
}

/// The wavelength whose smoothing brings the curvature's noise down to [`CURVATURE_NOISE`]: white
/// position noise behind a sixth-power cut-off k leaves noise · √(0.0556 · spacing) · k^2.5.
fn cutoff_m(noise_m: f64, spacing_m: f64) -> f64 {
    let k = (CURVATURE_NOISE / (noise_m.max(1e-6) * (0.0556 * spacing_m).sqrt())).powf(0.4);
    (std::f64::consts::TAU / k).clamp(CUTOFF_MIN_M, CUTOFF_MAX_M)
}

/// Parameter near 0 where the spline crosses the start line.
fn origin(spline: &Spline, start: &StartLine) -> f64 {
    let mut u = 0.0;
    for _ in 0..8 {
        let jet = spline.at(u);
        let along = start.along(jet.at[0], jet.at[1]);
        let rate = jet.d1[0] * start.direction[0] + jet.d1[1] * start.direction[1];
        if rate.abs() < 0.1 {
            break;
        }
        u -= (along / rate).clamp(-10.0, 10.0);
    }
    u
}

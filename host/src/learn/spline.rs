//! A closed smoothing spline: a cubic B-spline with even knots around a loop whose third
//! differences are penalised (P-spline; Eilers and Marx, Statistical Science 11(2), 1996, with a
//! penalty of third order), fitted by least squares in one cyclic banded solve.

/// Half-width of the band: cubic B-splines and third differences both reach three neighbours.
const BAND: usize = 3;
/// Unknowns at the end that are solved by themselves so that the rest is a plain band.
const BORDER: usize = BAND;
/// Right-hand sides: the two coordinates.
const SIDES: usize = 2;

/// A closed curve in the plane over a parameter from 0 to [`Spline::span`].
#[derive(Clone, Debug)]
pub struct Spline {
    /// Control points, one a knot.
    control: Vec<[f64; 2]>,
    /// Parameter between two knots.
    step: f64,
}

/// Position, first and second derivative by the parameter.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Jet {
    /// Position.
    pub at: [f64; 2],
    /// First derivative.
    pub d1: [f64; 2],
    /// Second derivative.
    pub d2: [f64; 2],
}

impl Jet {
    /// Curvature, positive to the left.
    pub fn curvature(&self) -> f64 {
        let speed = self.d1[0].hypot(self.d1[1]);
        (self.d1[0] * self.d2[1] - self.d1[1] * self.d2[0]) / speed.powi(3).max(1e-12)
    }
}

impl Spline {
    /// Fits a closed curve through points at rising parameters in `[0, span)`.
    ///
    /// `cutoff` is the wavelength, in the parameter's unit, whose amplitude is halved; shorter
    /// ripples vanish with the sixth power. `None` when there are too few points.
    pub fn fit(points: &[(f64, [f64; 2])], span: f64, knots: usize, cutoff: f64) -> Option<Self> {
        if points.len() < 2 * BAND || knots < 4 * BAND || !span.is_finite() || span <= 0.0 {
            return None;
        }
        let step = span / knots as f64;
        let mut system = Cyclic::new(knots);
        for (u, at) in points {
            let (first, weights) = basis(u / step, knots);
            for (i, wi) in weights.iter().enumerate() {
                let row = (first + i) % knots;
                for (j, wj) in weights.iter().enumerate().skip(i) {
                    system.add(row, j - i, wi * wj);
                }
                for (right, at) in system.right.iter_mut().zip(at) {
                    right[row] += wi * at;
                }
            }
        }
        let lambda = penalty(span / points.len() as f64, step, cutoff);
        const THIRD: [f64; 4] = [-1.0, 3.0, -3.0, 1.0];
        for k in 0..knots {
            for (i, a) in THIRD.iter().enumerate() {
                for (j, b) in THIRD.iter().enumerate().skip(i) {
                    system.add((k + i) % knots, j - i, lambda * a * b);
                }
            }
        }
        let [x, y] = system.solve()?;
        let control = x.into_iter().zip(y).map(|(x, y)| [x, y]).collect();
        Some(Self { control, step })
    }

    /// The parameter of one whole round.
    pub fn span(&self) -> f64 {
        self.step * self.control.len() as f64
    }

    /// The curve at a parameter, which wraps around.
    pub fn at(&self, u: f64) -> Jet {
        let knots = self.control.len();
        let x = (u / self.step).rem_euclid(knots as f64);
        let cell = (x as usize).min(knots - 1);
        let f = x - cell as f64;
        let (w0, w1, w2) = weights(f);
        let mut jet = Jet::default();
        for i in 0..=BAND {
            let c = self.control[(cell + i) % knots];
            for (side, c) in c.iter().enumerate() {
                jet.at[side] += w0[i] * c;
                jet.d1[side] += w1[i] * c / self.step;
                jet.d2[side] += w2[i] * c / (self.step * self.step);
            }
        }
        jet
    }
}

/// The weight of the penalty that halves the amplitude at a wavelength: over a long loop the fit
/// answers a ripple of wave number k with 1 / (1 + weight · sample spacing · step⁵ · k⁶).
fn penalty(spacing: f64, step: f64, cutoff: f64) -> f64 {
    let k = std::f64::consts::TAU / cutoff;
    1.0 / (spacing * step.powi(5) * k.powi(6))
}

/// First control point and the weights of four at a parameter in knots.
fn basis(x: f64, knots: usize) -> (usize, [f64; 4]) {
    let x = x.rem_euclid(knots as f64);
    let cell = (x as usize).min(knots - 1);
    (cell, weights(x - cell as f64).0)
}

/// Cubic B-spline weights of the four control points of a cell, with two derivatives.
fn weights(f: f64) -> ([f64; 4], [f64; 4], [f64; 4]) {
    let g = 1.0 - f;
    (
        [
            g * g * g / 6.0,
            (3.0 * f * f * f - 6.0 * f * f + 4.0) / 6.0,
            (3.0 * g * g * g - 6.0 * g * g + 4.0) / 6.0,
            f * f * f / 6.0,
        ],
        [
            -g * g / 2.0,
            (3.0 * f * f - 4.0 * f) / 2.0,
            (-3.0 * g * g + 4.0 * g) / 2.0,
            f * f / 2.0,
        ],
        [g, 3.0 * f - 2.0, 3.0 * g - 2.0, f],
    )
}

/// A symmetric positive definite system whose band closes around the corner of the matrix.
struct Cyclic {
    /// `band[i][d]` couples unknown i with unknown i + d, wrapped.
    band: Vec<[f64; BAND + 1]>,
    right: [Vec<f64>; SIDES],
}

impl Cyclic {
    fn new(n: usize) -> Self {
        Self {
            band: vec![[0.0; BAND + 1]; n],
            right: std::array::from_fn(|_| vec![0.0; n]),
        }
    }

    /// Adds to the coupling of unknown `row` with the one `ahead` of it.
    fn add(&mut self, row: usize, ahead: usize, value: f64) {
        self.band[row][ahead] += value;
    }

    /// Solves by Cholesky of the band without its last [`BORDER`] unknowns, which are found from
    /// their Schur complement. `None` when the matrix is not positive definite.
    fn solve(self) -> Option<[Vec<f64>; SIDES]> {
        let n = self.band.len();
        let m = n - BORDER;
        // The band's factor, row by row: factor[i][d] belongs to (i, i - d).
        let mut factor = vec![[0.0; BAND + 1]; m];
        for i in 0..m {
            for d in (0..=BAND.min(i)).rev() {
                let j = i - d;
                let mut sum = self.band[j][d];
                for e in 1..=(BAND - d).min(j) {
                    sum -= factor[i][d + e] * factor[j][e];
                }
                factor[i][d] = if d == 0 {
                    if sum <= 0.0 {
                        return None;
                    }
                    sum.sqrt()
                } else {
                    sum / factor[j][0]
                };
            }
        }
        // Columns that couple the border with the band, and their solutions.
        let mut couple = vec![vec![0.0; m]; BORDER];
        let mut corner = [[0.0; BORDER]; BORDER];
        for row in 0..n {
            for d in 0..=BAND {
                let col = (row + d) % n;
                let value = self.band[row][d];
                match (row < m, col < m) {
                    (true, false) => couple[col - m][row] += value,
                    (false, true) => couple[row - m][col] += value,
                    (false, false) => {
                        corner[row - m][col - m] += value;
                        if row != col {
                            corner[col - m][row - m] += value;
                        }
                    }
                    (true, true) => {}
                }
            }
        }
        let solved: Vec<Vec<f64>> = couple.iter().map(|c| band_solve(&factor, c)).collect();
        for a in 0..BORDER {
            for b in 0..BORDER {
                corner[a][b] -= dot(&couple[a], &solved[b]);
            }
        }
        let sides = self.right.map(|right| {
            let inner = band_solve(&factor, &right[..m]);
            let rest = std::array::from_fn(|a| right[m + a] - dot(&couple[a], &inner));
            let border = small_solve(corner, rest)?;
            let mut all = inner;
            for (b, x) in border.iter().enumerate() {
                for (v, s) in all.iter_mut().zip(&solved[b]) {
                    *v -= s * x;
                }
            }
            all.extend(border);
            Some(all)
        });
        let [x, y] = sides;
        Some([x?, y?])
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Forward and backward substitution with a banded Cholesky factor.
fn band_solve(factor: &[[f64; BAND + 1]], right: &[f64]) -> Vec<f64> {
    let n = factor.len();
    let mut x = right.to_vec();
    for i in 0..n {
        for d in 1..=BAND.min(i) {
            x[i] -= factor[i][d] * x[i - d];
        }
        x[i] /= factor[i][0];
    }
    for i in (0..n).rev() {
        for d in 1..=BAND.min(n - 1 - i) {
            x[i] -= factor[i + d][d] * x[i + d];
        }
        x[i] /= factor[i][0];
    }
    x
}

/// Gaussian elimination with pivoting of the little system of the border.
fn small_solve(mut a: [[f64; BORDER]; BORDER], mut b: [f64; BORDER]) -> Option<[f64; BORDER]> {
    for col in 0..BORDER {
        let pivot = (col..BORDER).max_by(|&i, &j| a[i][col].abs().total_cmp(&a[j][col].abs()))?;
        if a[pivot][col].abs() < f64::MIN_POSITIVE {
            return None;
        }
        a.swap(col, pivot);
        b.swap(col, pivot);
        for row in col + 1..BORDER {
            let ratio = a[row][col] / a[col][col];
            let pivot = a[col];
            for (x, p) in a[row].iter_mut().zip(pivot) {
                *x -= ratio * p;
            }
            b[row] -= ratio * b[col];
        }
    }
    for col in (0..BORDER).rev() {
        for k in col + 1..BORDER {
            b[col] -= a[col][k] * b[k];
        }
        b[col] /= a[col][col];
    }
    Some(b)
}

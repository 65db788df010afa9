//! Which change of one car comes nearest to the other: least squares over the curves, weighted by
//! how sure they are (Gauss-Newton; covariance from the normal equations, textbook form).
//!
//! Grip, power over mass, drag over mass and downforce over mass are looked for. Mass itself cannot
//! be found: mass, power, drag and downforce together times anything drive alike.

use super::measure::Measured;
use crate::adapt::Change;

/// What is looked for, in the order of the factors.
pub const NAMES: [&str; 4] = ["grip", "power", "drag", "downforce"];
/// One standard deviation of a factor's logarithm before anything is known: half or double.
const PRIOR: f64 = 0.7;
/// A factor less sure than this was not told by the data, as a share.
const UNTOLD: f64 = 0.3;
/// Two factors that go together more than this cannot be told apart.
const TOGETHER: f64 = 0.9;
/// Steps of the search.
const STEPS: usize = 40;
/// Changes beyond this are taken back, as a logarithm.
const STEP_MOST: f64 = 0.3;

/// The change that makes the first car behave like the second.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// Factors, in the order of [`NAMES`].
    pub factor: [f64; 4],
    /// One standard deviation of each, as a share of it.
    pub sd: [f64; 4],
    /// Whether the data say something of it.
    pub told: [bool; 4],
    /// Pairs that cannot be told apart, by index.
    pub together: Vec<(usize, usize)>,
    /// Values compared.
    pub values: usize,
    /// Root mean square of what is left, m/s².
    pub left_mps2: f64,
    /// The same before any change, m/s².
    pub before_mps2: f64,
    /// What is left over how sure it is, squared, a value: about 1 when the fit explains all.
    pub chi2_a_value: f64,
}

/// The change of factors as [`Change`] takes it.
pub fn change(factor: [f64; 4]) -> Change {
    let [grip, power, drag, downforce] = factor;
    Change {
        grip,
        mass: 1.0,
        power,
        drag,
        downforce,
    }
}

type Matrix = [[f64; 4]; 4];

/// Fits. `None` with fewer values than factors.
pub fn fit(a: &Measured, b: &Measured) -> Option<Fit> {
    // Curve, entry, what is wanted, weight.
    let mut wanted = Vec::new();
    for curve in 0..4 {
        for entry in a.common(b, curve) {
            let sd = a.sd[curve][entry].hypot(b.sd[curve][entry]);
            wanted.push((curve, entry, b.value[curve][entry], 1.0 / sd));
        }
    }
    if wanted.len() < 4 {
        return None;
    }
    let left = |x: [f64; 4]| -> Vec<f64> {
        let limits = a.limits.changed(change(x.map(f64::exp)));
        let of = |(curve, entry, want, weight): &(usize, usize, f64, f64)| {
            (want - Measured::changed_mps2(&limits, *curve, *entry)) * weight
        };
        wanted.iter().map(of).collect()
    };
    let (x, normal) = least(&left)?;
    let rms = |x: [f64; 4]| {
        let squares: f64 = left(x)
            .iter()
            .zip(&wanted)
            .map(|(r, w)| (r / w.3).powi(2))
            .sum();
        (squares / wanted.len() as f64).sqrt()
    };
    let chi2: f64 = left(x).iter().map(|r| r * r).sum();
    let free = wanted.len().saturating_sub(4).max(1) as f64;
    let chi2_a_value = chi2 / free;
    // What the fit leaves beyond its weights makes the factors less sure.
    let wider = chi2_a_value.max(1.0).sqrt();
    let inverse = inverse(normal)?;
    let sd: [f64; 4] = std::array::from_fn(|k| inverse[k][k].max(0.0).sqrt());
    let together = together(inverse, sd);
    let sd = sd.map(|s| (s * wider).min(PRIOR));
    Some(Fit {
        factor: x.map(f64::exp),
        sd,
        told: sd.map(|s| s < UNTOLD),
        together,
        values: wanted.len(),
        left_mps2: rms(x),
        before_mps2: rms([0.0; 4]),
        chi2_a_value,
    })
}

/// Logarithms of the factors that leave the least, by Gauss and Newton's steps, and the matrix of
/// the last one. `left` is what factors leave, each over its uncertainty.
fn least(left: &impl Fn([f64; 4]) -> Vec<f64>) -> Option<([f64; 4], Matrix)> {
    let mut x = [0.0; 4];
    let mut normal = [[0.0; 4]; 4];
    for _ in 0..STEPS {
        let now = left(x);
        let slopes: Vec<Vec<f64>> = (0..4)
            .map(|k| {
                let mut y = x;
                y[k] += 1e-4;
                let near = left(y);
                near.iter().zip(&now).map(|(n, o)| (o - n) / 1e-4).collect()
            })
            .collect();
        let mut side = [0.0; 4];
        for j in 0..4 {
            for k in 0..4 {
                normal[j][k] = slopes[j].iter().zip(&slopes[k]).map(|(p, q)| p * q).sum();
            }
            normal[j][j] += 1.0 / (PRIOR * PRIOR);
            side[j] = slopes[j].iter().zip(&now).map(|(s, r)| s * r).sum::<f64>()
                - x[j] / (PRIOR * PRIOR);
        }
        let step = solve(normal, side)?;
        for (x, s) in x.iter_mut().zip(step) {
            *x += s.clamp(-STEP_MOST, STEP_MOST);
        }
        if step.iter().all(|s| s.abs() < 1e-7) {
            break;
        }
    }
    Some((x, normal))
}

/// The pairs of factors of which the data tell little more than what they do together.
fn together(covariance: Matrix, sd: [f64; 4]) -> Vec<(usize, usize)> {
    let mut pairs = Vec::new();
    for j in 0..4 {
        for k in j + 1..4 {
            let goes = covariance[j][k] / (sd[j] * sd[k]).max(1e-12);
            if goes.abs() > TOGETHER {
                pairs.push((j, k));
            }
        }
    }
    pairs
}

/// Gauss's elimination with the largest pivot.
fn solve(mut m: Matrix, mut y: [f64; 4]) -> Option<[f64; 4]> {
    for k in 0..4 {
        let pivot = (k..4).max_by(|a, b| m[*a][k].abs().total_cmp(&m[*b][k].abs()))?;
        m.swap(k, pivot);
        y.swap(k, pivot);
        if m[k][k].abs() < 1e-12 {
            return None;
        }
        for j in k + 1..4 {
            let by = m[j][k] / m[k][k];
            let row = m[k];
            for (x, r) in m[j].iter_mut().zip(row) {
                *x -= by * r;
            }
            y[j] -= by * y[k];
        }
    }
    for k in (0..4).rev() {
        for j in k + 1..4 {
            y[k] -= m[k][j] * y[j];
        }
        y[k] /= m[k][k];
    }
    Some(y)
}

fn inverse(m: Matrix) -> Option<Matrix> {
    let mut out = [[0.0; 4]; 4];
    for k in 0..4 {
        let mut unit = [0.0; 4];
        unit[k] = 1.0;
        let column = solve(m, unit)?;
        for j in 0..4 {
            out[j][k] = column[j];
        }
    }
    Some(out)
}

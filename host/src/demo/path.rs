//! Where beside the circuit's line a driver means to be: human scatter from corner to corner, and
//! planted deviations.

use super::circuit::Circuit;

/// A deviation that rises, stays and falls again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bump {
    /// Where it begins, metres along the drive.
    pub from_m: f64,
    /// Where it is whole.
    pub whole_m: f64,
    /// Where it begins to fall.
    pub until_m: f64,
    /// Where it is gone.
    pub to_m: f64,
    /// How far to the left, metres.
    pub left_m: f64,
}

/// A place on the drive and how far to the left of the line the driver means to pass it.
pub type Knot = (f64, f64);

/// Offset meant, with its first and second derivative along the line.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Meant {
    /// Metres left of the line.
    pub offset_m: f64,
    /// Its slope.
    pub slope: f64,
    /// Its bending, 1/m.
    pub bend_pm: f64,
}

/// The whole drive's meant offsets, along unwrapped progress.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Path {
    knots: Vec<Knot>,
    bumps: Vec<Bump>,
}

/// A fifth-degree step from 0 to 1 with no slope and no bending at its ends.
fn step(x: f64, span: f64) -> (f64, f64, f64) {
    let x = x.clamp(0.0, 1.0);
    let y = x * x * x * (10.0 + x * (6.0 * x - 15.0));
    let d = 30.0 * x * x * (1.0 - x) * (1.0 - x);
    let dd = 60.0 * x * (1.0 - x) * (1.0 - 2.0 * x);
    (y, d / span, dd / (span * span))
}

impl Path {
    /// A path through knots (in any order) with bumps on top.
    pub fn new(mut knots: Vec<Knot>, mut bumps: Vec<Bump>) -> Self {
        knots.sort_by(|a, b| a.0.total_cmp(&b.0));
        bumps.sort_by(|a, b| a.from_m.total_cmp(&b.from_m));
        Self { knots, bumps }
    }

    /// What is meant at a progress.
    pub fn at(&self, progress_m: f64) -> Meant {
        let mut m = self.scatter(progress_m);
        for b in &self.bumps {
            if b.from_m > progress_m {
                break;
            }
            if progress_m < b.to_m {
                let (s, span) = if progress_m < b.until_m {
                    (progress_m - b.from_m, b.whole_m - b.from_m)
                } else {
                    (b.to_m - progress_m, b.to_m - b.until_m)
                };
                let sign = if progress_m < b.until_m { 1.0 } else { -1.0 };
                let (y, d, dd) = step(s / span, span);
                m.offset_m += b.left_m * y;
                m.slope += sign * b.left_m * d;
                m.bend_pm += b.left_m * dd;
            }
        }
        m
    }

    fn scatter(&self, progress_m: f64) -> Meant {
        let next = self.knots.partition_point(|k| k.0 <= progress_m);
        let (Some(a), Some(b)) = (
            next.checked_sub(1).and_then(|i| self.knots.get(i)),
            self.knots.get(next),
        ) else {
            let end = if next == 0 {
                self.knots.first()
            } else {
                self.knots.last()
            };
            return Meant {
                offset_m: end.map_or(0.0, |k| k.1),
                ..Meant::default()
            };
        };
        let span = b.0 - a.0;
        let (y, d, dd) = step((progress_m - a.0) / span, span);
        let rise = b.1 - a.1;
        Meant {
            offset_m: a.1 + rise * y,
            slope: rise * d,
            bend_pm: rise * dd,
        }
    }

    /// Curvature of the meant path at a progress, 1/m, left positive.
    ///
    /// Of a curve at offset n beside a line of curvature k; the change of k along the line is left
    /// out, it acts only together with n and n'.
    pub fn curvature_pm(&self, circuit: &Circuit, progress_m: f64) -> f64 {
        curvature_of(&self.at(progress_m), circuit.curvature_pm(progress_m))
    }
}

/// Curvature of a path at a meant offset beside a line of curvature `line_pm`.
pub fn curvature_of(m: &Meant, line_pm: f64) -> f64 {
    let q = 1.0 - m.offset_m * line_pm;
    let norm = (q * q + m.slope * m.slope).sqrt();
    (q * (q * line_pm + m.bend_pm) + 2.0 * m.slope * m.slope * line_pm) / (norm * norm * norm)
}

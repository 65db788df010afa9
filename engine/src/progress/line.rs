//! The reference line as a smooth curve: where a point lies beside it.

use crate::math::sqrt;
use crate::reference::{Node, ReferenceView};

/// A place on the line: metres behind a node. Two small numbers instead of one large one, so that
/// millimetres of progress are not lost on a line of many kilometres.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Mark {
    pub(super) node: usize,
    pub(super) along_m: f32,
}

/// How a point lies as seen from a mark.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sight {
    /// Metres of progress from the mark to the foot of the point.
    pub(super) ahead_m: f32,
    /// Metres left of the line.
    pub(super) left_m: f32,
    /// The line's direction at the mark, a unit vector.
    pub(super) along: (f32, f32),
    /// One minus curvature times offset: how much shorter the line is than the car's path.
    pub(super) shrink: f32,
}

/// The least [`Sight::shrink`] reckoned with: nearer to the centre of a bend the foot is no use.
const SHRINK_LEAST: f32 = 0.3;
/// The most reckoned with, far outside a tight bend.
const SHRINK_MOST: f32 = 10.0;

impl Mark {
    /// The mark moved on along the line, backward when negative. Moves of more than a lap are cut.
    pub(super) fn moved(self, line: &ReferenceView<'_>, by_m: f32) -> Self {
        let count = line.nodes.len() as i32;
        let spacing = line.spacing_m;
        let along_m = self.along_m + by_m;
        if along_m >= 0.0 && along_m < spacing {
            return Self {
                node: self.node,
                along_m,
            };
        }
        let nodes = (libm::floorf(along_m / spacing) as i32)
            .max(-count)
            .min(count);
        let rest_m = crate::math::clamp(along_m - nodes as f32 * spacing, 0.0, spacing);
        let mut node = (self.node as i32).saturating_add(nodes);
        if node < 0 {
            node += count;
        }
        if node >= count {
            node -= count;
        }
        Self {
            node: node.max(0) as usize,
            along_m: rest_m,
        }
    }

    /// Metres from the start line, in `[0, length)`.
    pub(super) fn progress_m(self, line: &ReferenceView<'_>) -> f32 {
        let s = self.node as f32 * line.spacing_m + self.along_m;
        if s < line.length_m() { s } else { 0.0 }
    }

    /// Metres past the start line, negative before it, the shorter way round.
    pub(super) fn past_start_m(self, line: &ReferenceView<'_>) -> f32 {
        let count = line.nodes.len() as i32;
        let node = self.node as i32;
        let node = if node > count / 2 { node - count } else { node };
        node as f32 * line.spacing_m + self.along_m
    }

    /// Metres from another mark to this one, the shorter way round.
    pub(super) fn ahead_of_m(self, line: &ReferenceView<'_>, other: Self) -> f32 {
        let count = line.nodes.len() as i32;
        let mut nodes = self.node as i32 - other.node as i32;
        if nodes > count / 2 {
            nodes -= count;
        } else if nodes < -(count / 2) {
            nodes += count;
        }
        nodes as f32 * line.spacing_m + self.along_m - other.along_m
    }

    /// How a point lies as seen from here; none on a line without nodes.
    pub(super) fn sight(
        self,
        line: &ReferenceView<'_>,
        east_m: f32,
        north_m: f32,
    ) -> Option<Sight> {
        let segment = Segment::behind(line, self.node)?;
        Some(segment.sight(line, self.along_m, east_m, north_m))
    }
}

/// The line from a node to the next one.
#[derive(Clone, Copy, Debug)]
pub(super) struct Segment {
    node: usize,
    /// Where it begins, metres.
    east_m: f32,
    north_m: f32,
    east: Cubic,
    north: Cubic,
    /// Curvature at its begin and what it gains to its end, 1e-5 per metre.
    curvature_e5: f32,
    gain_e5: f32,
}

impl Segment {
    /// The one that begins at a node.
    pub(super) fn behind(line: &ReferenceView<'_>, node: usize) -> Option<Self> {
        let nodes = line.nodes;
        let last = nodes.len().checked_sub(1)?;
        let next = if node >= last { 0 } else { node + 1 };
        let after = if next >= last { 0 } else { next + 1 };
        let before = if node == 0 { last } else { node - 1 };
        let (a, o) = (nodes.get(before)?, nodes.get(node)?);
        let (b, c) = (nodes.get(next)?, nodes.get(after)?);
        let east = |n: &Node| n.east_mm.wrapping_sub(o.east_mm) as f32 * 1e-3;
        let north = |n: &Node| n.north_mm.wrapping_sub(o.north_mm) as f32 * 1e-3;
        let (k0, k1) = (f32::from(o.curvature_e5), f32::from(b.curvature_e5));
        Some(Self {
            node,
            east_m: o.east_mm as f32 * 1e-3,
            north_m: o.north_mm as f32 * 1e-3,
            east: Cubic::through(east(a), east(b), east(c)),
            north: Cubic::through(north(a), north(b), north(c)),
            curvature_e5: k0,
            gain_e5: k1 - k0,
        })
    }

    /// Whether it begins at a node.
    pub(super) fn begins_at(&self, node: usize) -> bool {
        self.node == node
    }

    /// How a point lies as seen from so far along it.
    pub(super) fn sight(
        &self,
        line: &ReferenceView<'_>,
        along_m: f32,
        east_m: f32,
        north_m: f32,
    ) -> Sight {
        let u = along_m / line.spacing_m;
        let ((e, te), (n, tn)) = (self.east.at(u), self.north.at(u));
        let along = unit(te / line.spacing_m, tn / line.spacing_m);
        let (de, dn) = (east_m - self.east_m - e, north_m - self.north_m - n);
        let left_m = dn * along.0 - de * along.1;
        let curvature_pm = (self.curvature_e5 + self.gain_e5 * u) * 1e-5;
        let shrink = (1.0 - curvature_pm * left_m).clamp(SHRINK_LEAST, SHRINK_MOST);
        Sight {
            ahead_m: (de * along.0 + dn * along.1) / shrink,
            left_m,
            along,
            shrink,
        }
    }
}

/// A vector of about unit length brought to unit length.
fn unit(e: f32, n: f32) -> (f32, f32) {
    let q = e * e + n * n;
    let r = if (q - 1.0).abs() < 0.3 {
        // Newton's steps for 1/sqrt(q) from 1: within 2e-5 here, and cheaper than a root.
        let r = 1.5 - 0.5 * q;
        let r = r * (1.5 - 0.5 * q * r * r);
        r * (1.5 - 0.5 * q * r * r)
    } else {
        1.0 / sqrt(q).max(1e-3)
    };
    (e * r, n * r)
}

/// A cubic through 0 at 0.
#[derive(Clone, Copy, Debug)]
struct Cubic {
    slope: f32,
    k2: f32,
    k3: f32,
}

impl Cubic {
    /// Through `b` at 1, with slopes at both ends of half the way between the neighbours, of which
    /// `a` is the one before and `c` the one behind (Catmull-Rom).
    fn through(a: f32, b: f32, c: f32) -> Self {
        let m0 = 0.5 * (b - a);
        let m1 = 0.5 * c;
        Self {
            slope: m0,
            k2: 3.0 * b - 2.0 * m0 - m1,
            k3: m0 + m1 - 2.0 * b,
        }
    }

    /// Value and slope at `u` in `[0, 1]`.
    fn at(self, u: f32) -> (f32, f32) {
        let Self { slope, k2, k3 } = self;
        (
            u * (slope + u * (k2 + u * k3)),
            slope + u * (2.0 * k2 + 3.0 * u * k3),
        )
    }
}

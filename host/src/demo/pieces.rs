//! The pieces a circuit is laid out from, and the stretches of even curvature they consist of.

use super::circuit::BendKind;

/// One piece of a circuit to be laid out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    /// Straight or bend.
    pub shape: Shape,
    /// Rise over run in the middle of the piece, uphill positive; between middles it changes
    /// evenly, and the mean of the lap is taken out so that the road closes in height.
    pub slope: f64,
}

/// The form of a piece.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// A straight whose length may be changed to close the lap.
    Straight {
        /// About how long, metres.
        length_m: f64,
    },
    /// A straight of exactly this length.
    Fixed {
        /// How long, metres.
        length_m: f64,
    },
    /// A bend with one apex.
    Bend {
        /// What it is to a driver.
        kind: BendKind,
        /// How far it turns, degrees, left positive.
        turn_deg: f64,
        /// Radius where it is tightest, metres.
        radius_m: f64,
        /// Share of the turning done in the two clothoids, 0 to 1.
        ease: f64,
    },
    /// A bend that tightens to one radius, opens and tightens to another.
    Double {
        /// How far the whole turns, degrees, left positive.
        turn_deg: f64,
        /// Radius of the first apex, metres.
        first_m: f64,
        /// Radius of the second apex, metres.
        second_m: f64,
    },
}

impl Piece {
    /// A level straight of about this length.
    pub const fn straight(length_m: f64) -> Self {
        Self {
            shape: Shape::Straight { length_m },
            slope: 0.0,
        }
    }

    /// A level straight of exactly this length.
    pub const fn fixed(length_m: f64) -> Self {
        Self {
            shape: Shape::Fixed { length_m },
            slope: 0.0,
        }
    }

    /// A level bend.
    pub const fn bend(kind: BendKind, turn_deg: f64, radius_m: f64, ease: f64) -> Self {
        Self {
            shape: Shape::Bend {
                kind,
                turn_deg,
                radius_m,
                ease,
            },
            slope: 0.0,
        }
    }

    /// A level bend with two apexes.
    pub const fn double(turn_deg: f64, first_m: f64, second_m: f64) -> Self {
        Self {
            shape: Shape::Double {
                turn_deg,
                first_m,
                second_m,
            },
            slope: 0.0,
        }
    }

    /// The same on a slope.
    pub const fn sloping(mut self, slope: f64) -> Self {
        self.slope = slope;
        self
    }

    /// Turns a bend by a little more.
    pub(super) fn turn_by(&mut self, by_deg: f64) {
        if let Shape::Bend { turn_deg, .. } | Shape::Double { turn_deg, .. } = &mut self.shape {
            *turn_deg += by_deg;
        }
    }

    pub(super) fn turn_deg(&self) -> f64 {
        match self.shape {
            Shape::Straight { .. } | Shape::Fixed { .. } => 0.0,
            Shape::Bend { turn_deg, .. } | Shape::Double { turn_deg, .. } => turn_deg,
        }
    }
}

/// A stretch on which curvature changes evenly.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stretch {
    pub length_m: f64,
    pub from_pm: f64,
    pub to_pm: f64,
    /// Which piece it belongs to.
    pub piece: usize,
}

impl Stretch {
    pub fn turning(&self, s: f64) -> f64 {
        self.from_pm * s + 0.5 * (self.to_pm - self.from_pm) / self.length_m * s * s
    }

    pub fn curvature(&self, s: f64) -> f64 {
        self.from_pm + (self.to_pm - self.from_pm) * s / self.length_m
    }
}

/// The ease of a double apex: between its apexes curvature falls to this share of the smaller.
const OPENING: f64 = 0.6;

/// The pieces as stretches of evenly changing curvature, end to end.
pub(super) fn stretches(pieces: &[Piece]) -> Vec<Stretch> {
    let mut out = Vec::new();
    for (piece, p) in pieces.iter().enumerate() {
        let mut add = |length_m: f64, from_pm: f64, to_pm: f64| {
            if length_m > 1e-9 {
                out.push(Stretch {
                    length_m,
                    from_pm,
                    to_pm,
                    piece,
                });
            }
        };
        match p.shape {
            Shape::Straight { length_m } | Shape::Fixed { length_m } => add(length_m, 0.0, 0.0),
            Shape::Bend {
                turn_deg,
                radius_m,
                ease,
                ..
            } => {
                let k = turn_deg.signum() / radius_m;
                let around = turn_deg.to_radians().abs() * radius_m;
                // A clothoid turns half as far as an arc of its length; the way out is longer.
                let eased = 2.0 * around * ease;
                add(eased * 0.45, 0.0, k);
                add(around * (1.0 - ease), k, k);
                add(eased * 0.55, k, 0.0);
            }
            Shape::Double {
                turn_deg,
                first_m,
                second_m,
            } => {
                let (k1, k2) = (turn_deg.signum() / first_m, turn_deg.signum() / second_m);
                let open = OPENING * if k1.abs() < k2.abs() { k1 } else { k2 };
                // Four clothoids of lengths in the ratio 2 : 0.8 : 0.8 : 2.4.
                let per = 2.0 * k1 / 2.0
                    + 0.8 * (k1 + open) / 2.0
                    + 0.8 * (open + k2) / 2.0
                    + 2.4 * k2 / 2.0;
                let unit = turn_deg.to_radians() / per;
                add(2.0 * unit, 0.0, k1);
                add(0.8 * unit, k1, open);
                add(0.8 * unit, open, k2);
                add(2.4 * unit, k2, 0.0);
            }
        }
    }
    out
}

/// Displacement of a stretch that begins with a heading, by Simpson's rule on short steps.
pub(super) fn displacement(s: &Stretch, heading: f64) -> (f64, f64) {
    let steps = (s.length_m / 0.5).ceil().max(2.0) as usize;
    let h = s.length_m / steps as f64;
    let at = |x: f64| (heading + s.turning(x)).sin_cos();
    let mut sum = (0.0, 0.0);
    for i in 0..steps {
        let x = i as f64 * h;
        let (a, m, b) = (at(x), at(x + h / 2.0), at(x + h));
        sum.0 += h / 6.0 * (a.1 + 4.0 * m.1 + b.1);
        sum.1 += h / 6.0 * (a.0 + 4.0 * m.0 + b.0);
    }
    sum
}

//! The closed line a car is driven on: position, direction, curvature and slope at every metre.

use crate::learn::start::StartAt;
use std::f64::consts::TAU;

/// Metres between the nodes of the line; the exact figure differs a little so that they come out
/// even.
pub(super) const SPACING_M: f64 = 0.5;

/// One node of the line.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Node {
    /// Metres east.
    pub east_m: f64,
    /// Metres north.
    pub north_m: f64,
    /// Direction of travel, radians counter-clockwise from east, not wrapped.
    pub heading_rad: f64,
    /// Curvature, 1/m, left positive.
    pub curvature_pm: f64,
    /// Rise over run, uphill positive.
    pub slope: f64,
}

/// What a bend is to a driver.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum BendKind {
    /// Slow and turning back on itself.
    Hairpin,
    /// One apex at middling speed.
    Single,
    /// Long and fast.
    Sweeper,
    /// One half of two bends in quick succession, one to each side.
    Chicane,
    /// One of two apexes of a bend that opens and closes again.
    DoubleApex,
    /// Slight and usually flat.
    Kink,
}

/// One bend of the line, with one place where it is tightest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bend {
    /// What it is to a driver.
    pub kind: BendKind,
    /// Where the line begins to bend, metres from the start line.
    pub begin_m: f64,
    /// The tightest place (the middle of an arc).
    pub apex_m: f64,
    /// Where the line is straight again, or turns over into the next bend.
    pub end_m: f64,
    /// Curvature at the tightest place, 1/m, left positive.
    pub curvature_pm: f64,
}

/// A thing beside the track.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// Metres from the start line.
    pub progress_m: f64,
    /// +1 left, -1 right, 0 across the track.
    pub side: i8,
    /// What people call it.
    pub name: String,
}

/// A closed line with what is known of the road along it.
#[derive(Clone, Debug)]
pub struct Circuit {
    /// Name for people.
    pub name: String,
    /// Metres between nodes.
    pub spacing_m: f64,
    /// The line; node 0 is on the start line.
    pub nodes: Vec<Node>,
    /// The bends in the order met after the start line.
    pub bends: Vec<Bend>,
    /// Things beside the track.
    pub marks: Vec<Mark>,
}

impl Circuit {
    /// Length of the line, metres.
    pub fn length_m(&self) -> f64 {
        self.spacing_m * self.nodes.len() as f64
    }

    /// Progress brought into `[0, length)`.
    pub fn wrap_m(&self, progress_m: f64) -> f64 {
        let length = self.length_m();
        // Truncation instead of `rem_euclid`: this is asked for several times a step.
        let laps = (progress_m / length) as i64;
        let rest = progress_m - laps as f64 * length;
        if rest < 0.0 { rest + length } else { rest }
    }

    /// Signed turning of one lap, radians (a whole turn, or none for a figure of eight).
    pub fn turning_rad(&self) -> f64 {
        let n = self.nodes.len();
        let last = self.nodes[n - 1].heading_rad - self.nodes[0].heading_rad;
        (last / TAU).round() * TAU
    }

    fn between(&self, progress_m: f64) -> (&Node, &Node, f64) {
        let x = self.wrap_m(progress_m) / self.spacing_m;
        let i = (x as usize).min(self.nodes.len() - 1);
        let next = if i + 1 == self.nodes.len() { 0 } else { i + 1 };
        (&self.nodes[i], &self.nodes[next], x - i as f64)
    }

    /// Curvature of the line at a progress, 1/m, left positive.
    pub fn curvature_pm(&self, progress_m: f64) -> f64 {
        let (a, b, f) = self.between(progress_m);
        a.curvature_pm + (b.curvature_pm - a.curvature_pm) * f
    }

    /// Slope of the road at a progress, rise over run, uphill positive.
    pub fn slope(&self, progress_m: f64) -> f64 {
        let (a, b, f) = self.between(progress_m);
        a.slope + (b.slope - a.slope) * f
    }

    /// East, north and direction of travel on the line at a progress.
    pub fn pose(&self, progress_m: f64) -> (f64, f64, f64) {
        let (a, b, f) = self.between(progress_m);
        let d = f * self.spacing_m;
        let mid = a.curvature_pm + (b.curvature_pm - a.curvature_pm) * f * 0.5;
        let heading = a.heading_rad + mid * d;
        // The chord of a short arc points half way between the two directions.
        let (sin, cos) = (a.heading_rad + mid * d * 0.5).sin_cos();
        (a.east_m + d * cos, a.north_m + d * sin, heading)
    }

    /// East and north of a place `offset_m` left of the line.
    pub fn place(&self, progress_m: f64, offset_m: f64) -> (f64, f64) {
        let (east, north, heading) = self.pose(progress_m);
        let (sin, cos) = heading.sin_cos();
        (east - offset_m * sin, north + offset_m * cos)
    }

    /// Start line as people state it: east, north and bearing in degrees clockwise from north.
    pub fn start_line(&self) -> (f64, f64, f64) {
        let (east, north, heading) = self.pose(0.0);
        (east, north, (90.0 - heading.to_degrees()).rem_euclid(360.0))
    }

    /// The same, for whoever learns from laps in this plane.
    pub fn start(&self) -> StartAt {
        let (east_m, north_m, bearing_deg) = self.start_line();
        StartAt::Plane {
            east_m,
            north_m,
            bearing_deg,
        }
    }

    /// The shorter way from `from_m` to `to_m` along the closed line, forward positive.
    pub fn ahead_m(&self, from_m: f64, to_m: f64) -> f64 {
        let length = self.length_m();
        let d = (to_m - from_m).rem_euclid(length);
        if d > length / 2.0 { d - length } else { d }
    }
}

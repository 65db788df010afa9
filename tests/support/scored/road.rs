//! A drive laid along the reference line by its exact positions: where the car was when, without
//! any stage of the engine.

use cuepost_engine::{Frame, Position, ReferenceView, Sample};

/// How far from the place that speed predicts the line is searched, metres.
const REACH_M: f64 = 60.0;

/// A drive along a line. Places count on from lap to lap: `length_m` is a lap on.
pub struct Trace {
    /// Length of the line, metres.
    pub length_m: f64,
    /// Its moments in the order of time.
    pub moments: Vec<Moment>,
}

/// One moment of a drive.
#[derive(Clone, Copy, Debug)]
pub struct Moment {
    /// The simulator's clock, seconds.
    pub time_s: f64,
    /// Metres along the line, counted on from lap to lap.
    pub along_m: f64,
    /// Metres to the left of the line.
    pub left_m: f64,
    /// Speed, m/s.
    pub speed_mps: f64,
    /// Throttle pedal, 0 to 1.
    pub throttle: f64,
    /// Brake pedal, 0 to 1.
    pub brake: f64,
}

impl Trace {
    /// Lays samples of a simulator along the line of a reference; its clock is `clock_s` at the
    /// first one.
    pub fn new(reference: &ReferenceView<'_>, samples: &[Sample], clock_s: f64) -> Self {
        let line = Line::new(reference);
        let first_us = samples.first().map_or(0, |s| s.time_us);
        let mut moments: Vec<Moment> = Vec::new();
        for s in samples {
            let (Some(at), Some(speed)) = (s.position, s.speed_mps) else {
                continue;
            };
            let (time_s, speed_mps) = (
                clock_s + (s.time_us - first_us) as f64 * 1e-6,
                f64::from(speed),
            );
            let last = moments.last();
            let expected = last.map(|m| m.along_m + m.speed_mps * (time_s - m.time_s));
            let (along_m, left_m) = line.project(line.plane(at), expected);
            moments.push(Moment {
                time_s,
                along_m,
                left_m,
                speed_mps,
                throttle: f64::from(s.throttle.unwrap_or(0.0)),
                brake: f64::from(s.brake.unwrap_or(0.0)),
            });
        }
        Self {
            length_m: line.length_m,
            moments,
        }
    }

    /// The moment at a time, interpolated.
    pub fn at_time(&self, time_s: f64) -> Option<Moment> {
        let i = self.moments.partition_point(|m| m.time_s <= time_s);
        let (a, b) = (self.moments.get(i.checked_sub(1)?)?, self.moments.get(i)?);
        Some(between(a, b, (time_s - a.time_s) / (b.time_s - a.time_s)))
    }

    /// The moment of the first passage of a place, interpolated.
    pub fn at_along(&self, along_m: f64) -> Option<Moment> {
        let passed =
            |w: &[Moment]| w[0].along_m <= along_m && along_m < w[1].along_m.max(w[0].along_m);
        let w = self.moments.windows(2).find(|w| passed(w))?;
        let share = (along_m - w[0].along_m) / (w[1].along_m - w[0].along_m);
        Some(between(&w[0], &w[1], share))
    }

    /// The moments from one time to another.
    pub fn span(&self, from_s: f64, to_s: f64) -> &[Moment] {
        let at = |t: f64| self.moments.partition_point(|m| m.time_s < t);
        &self.moments[at(from_s)..at(to_s).max(at(from_s))]
    }
}

fn between(a: &Moment, b: &Moment, share: f64) -> Moment {
    let mix = |x: f64, y: f64| x + (y - x) * share;
    Moment {
        time_s: mix(a.time_s, b.time_s),
        along_m: mix(a.along_m, b.along_m),
        left_m: mix(a.left_m, b.left_m),
        speed_mps: mix(a.speed_mps, b.speed_mps),
        throttle: mix(a.throttle, b.throttle),
        brake: mix(a.brake, b.brake),
    }
}

/// The reference line as a closed polygon.
struct Line {
    origin_mm: (f64, f64),
    points: Vec<(f64, f64)>,
    spacing_m: f64,
    length_m: f64,
}

impl Line {
    fn new(reference: &ReferenceView<'_>) -> Self {
        let Frame::Local { east_mm, north_mm } = reference.frame else {
            panic!("a simulator's line is in a plane");
        };
        let metres = |mm: i32| f64::from(mm) * 1e-3;
        Self {
            origin_mm: (east_mm as f64, north_mm as f64),
            points: reference
                .nodes
                .iter()
                .map(|n| (metres(n.east_mm), metres(n.north_mm)))
                .collect(),
            spacing_m: f64::from(reference.spacing_m),
            length_m: f64::from(reference.length_m()),
        }
    }

    fn plane(&self, at: Position) -> (f64, f64) {
        let Position::Local { east_mm, north_mm } = at else {
            panic!("a simulator's positions are in a plane");
        };
        (
            (east_mm as f64 - self.origin_mm.0) * 1e-3,
            (north_mm as f64 - self.origin_mm.1) * 1e-3,
        )
    }

    /// Metres along and to the left: the nearest place around the one expected, or anywhere.
    fn project(&self, at: (f64, f64), expected: Option<f64>) -> (f64, f64) {
        let count = self.points.len() as i64;
        let (first, last) = match expected {
            Some(m) => (
                ((m - REACH_M) / self.spacing_m).floor() as i64,
                ((m + REACH_M) / self.spacing_m).ceil() as i64,
            ),
            None => (0, count - 1),
        };
        let mut best = (f64::MAX, 0.0, 0.0);
        for i in first..=last {
            let a = self.points[i.rem_euclid(count) as usize];
            let b = self.points[(i + 1).rem_euclid(count) as usize];
            let (ex, ey) = (b.0 - a.0, b.1 - a.1);
            let (px, py) = (at.0 - a.0, at.1 - a.1);
            let long = ex.hypot(ey);
            let share = ((px * ex + py * ey) / (long * long)).clamp(0.0, 1.0);
            let away = (px - share * ex).hypot(py - share * ey);
            if away < best.0 {
                let left = (ex * py - ey * px) / long;
                best = (away, (i as f64 + share) * self.spacing_m, left);
            }
        }
        (best.1, best.2)
    }
}

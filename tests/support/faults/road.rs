//! Metres along a stretch of samples, for drives that take it at another speed.

use cuepost_engine::{Position, Sample};

/// Metres along a stretch of samples.
pub(super) struct Road {
    from: usize,
    along_m: Vec<f64>,
    speed_mps: Vec<f64>,
    direction_rad: Vec<f64>,
}

/// The curvature is taken over this much of the road to either side, metres.
const BEND_M: f64 = 6.0;
/// Where no direction is stated it is taken from this many samples before and behind,
const CHORD: usize = 4;
/// when they are farther apart than this, millimetres.
const CHORD_LEAST_MM: f64 = 1_000.0;

impl Road {
    pub(super) fn over(clean: &[Sample], from: usize, to: usize) -> Self {
        let speed = |at: usize| f64::from(clean[at].speed_mps.unwrap_or(0.0));
        let mut along_m = vec![0.0];
        for at in from..to {
            let s = (clean[at + 1].time_us - clean[at].time_us) as f64 * 1e-6;
            along_m.push(along_m[at - from] + 0.5 * (speed(at) + speed(at + 1)) * s);
        }
        Self {
            from,
            along_m,
            speed_mps: (from..=to).map(speed).collect(),
            direction_rad: directions(clean, from, to),
        }
    }

    /// Metres to a sample.
    pub(super) fn length_m(&self, at: usize) -> f64 {
        self.along_m[at - self.from]
    }

    /// The sample before a place, and how far on to the next.
    pub(super) fn at(&self, along_m: f64) -> (usize, f64) {
        let i = self
            .along_m
            .partition_point(|m| *m <= along_m)
            .clamp(1, self.along_m.len() - 1);
        let (a, b) = (self.along_m[i - 1], self.along_m[i]);
        (
            self.from + i - 1,
            ((along_m - a) / (b - a).max(1e-6)).clamp(0.0, 1.0),
        )
    }

    /// The direction of the road, radians counter-clockwise from east.
    pub(super) fn direction_rad(&self, along_m: f64) -> f64 {
        self.direction_rad[self.at(along_m).0 - self.from]
    }

    /// How much the road turns a metre, radians, left positive.
    pub(super) fn curvature(&self, along_m: f64) -> f64 {
        let at = |m: f64| self.at(m).0 - self.from;
        let (a, b) = (at(along_m - BEND_M), at(along_m + BEND_M));
        let way_m = self.along_m[b] - self.along_m[a];
        if way_m < 1.0 {
            return 0.0;
        }
        let turned = self.direction_rad[b] - self.direction_rad[a];
        turned.sin().atan2(turned.cos()) / way_m
    }

    pub(super) fn speed(&self, along_m: f64) -> f64 {
        let (at, _) = self.at(along_m);
        self.speed_mps[at - self.from]
    }
}

/// The directions that the samples state, or else those of the chords around them.
fn directions(clean: &[Sample], from: usize, to: usize) -> Vec<f64> {
    let place = |at: usize| match clean[at].position {
        Some(Position::Local { east_mm, north_mm }) => Some((east_mm as f64, north_mm as f64)),
        _ => None,
    };
    let mut last = 0.0;
    let of = |at: usize| {
        if let Some(d) = clean[at].direction_rad {
            last = f64::from(d);
            return last;
        }
        let (a, b) = (at.saturating_sub(CHORD), (at + CHORD).min(clean.len() - 1));
        if let (Some(a), Some(b)) = (place(a), place(b)) {
            let (e, n) = (b.0 - a.0, b.1 - a.1);
            if e.hypot(n) > CHORD_LEAST_MM {
                last = n.atan2(e);
            }
        }
        last
    };
    (from..=to).map(of).collect()
}

pub(super) fn mix(a: &Sample, b: &Sample, u: f64) -> Sample {
    let mut sample = *a;
    if let (
        Some(Position::Local { east_mm, north_mm }),
        Some(Position::Local {
            east_mm: e,
            north_mm: n,
        }),
    ) = (a.position, b.position)
    {
        let between = |x: i64, y: i64| x + ((y - x) as f64 * u) as i64;
        sample.position = Some(Position::Local {
            east_mm: between(east_mm, e),
            north_mm: between(north_mm, n),
        });
    }
    sample
}

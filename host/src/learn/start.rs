//! The start line: where it is, who crosses it, and a place for it when none is given.

use super::track::{Point, STANDING_MPS, Track, quantile};
use cuepost_engine::{Frame, Position};
use std::collections::HashMap;

/// Half the width of the start line, metres: a pit lane beside it counts.
pub const HALF_WIDTH_M: f64 = 30.0;

/// A start line in the plane of the reference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StartLine {
    /// Metres east of the frame's origin.
    pub east_m: f64,
    /// Metres north of the frame's origin.
    pub north_m: f64,
    /// Unit vector of the direction of travel, at a right angle to the line.
    pub direction: [f64; 2],
}

/// A start line as a user states it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum StartAt {
    /// In the source's own plane.
    Plane {
        /// Metres east.
        east_m: f64,
        /// Metres north.
        north_m: f64,
        /// Direction of travel, degrees clockwise from north.
        bearing_deg: f64,
    },
    /// On the globe.
    Globe {
        /// Latitude, degrees.
        lat_deg: f64,
        /// Longitude, degrees.
        lon_deg: f64,
        /// Direction of travel, degrees clockwise from north.
        bearing_deg: f64,
    },
}

impl StartAt {
    /// Reads `A,B,BEARING`; whether A and B are metres or degrees follows from the recording.
    pub fn parse(text: &str, geodetic: bool) -> Result<Self, String> {
        let parts: Vec<f64> = text
            .split(',')
            .map(|p| p.trim().parse::<f64>().ok().filter(|v| v.is_finite()))
            .collect::<Option<_>>()
            .ok_or_else(|| format!("--start {text}: not three numbers parted by commas"))?;
        let [a, b, bearing_deg] = parts[..] else {
            return Err(format!(
                "--start {text}: three numbers are needed, EAST_M,NORTH_M,BEARING_DEG or LAT,LON,BEARING_DEG"
            ));
        };
        if !(-360.0..=360.0).contains(&bearing_deg) {
            return Err(format!(
                "--start {text}: the bearing is not between 0 and 360 degrees"
            ));
        }
        if !geodetic {
            return Ok(Self::Plane {
                east_m: a,
                north_m: b,
                bearing_deg,
            });
        }
        if !(-90.0..=90.0).contains(&a) || !(-180.0..=180.0).contains(&b) {
            return Err(format!(
                "--start {text}: this recording has latitudes and longitudes, and these are not"
            ));
        }
        Ok(Self::Globe {
            lat_deg: a,
            lon_deg: b,
            bearing_deg,
        })
    }

    /// Where it is in a frame's plane; `None` when it is nowhere near or of the other kind.
    pub fn locate(&self, frame: &Frame) -> Option<StartLine> {
        let (position, bearing_deg) = match *self {
            Self::Plane {
                east_m,
                north_m,
                bearing_deg,
            } => (
                Position::Local {
                    east_mm: (east_m * 1e3).round() as i64,
                    north_mm: (north_m * 1e3).round() as i64,
                },
                bearing_deg,
            ),
            Self::Globe {
                lat_deg,
                lon_deg,
                bearing_deg,
            } => (
                Position::Geodetic {
                    lat_e7: (lat_deg * 1e7).round() as i32,
                    lon_e7: (lon_deg * 1e7).round() as i32,
                },
                bearing_deg,
            ),
        };
        let (east, north) = frame.locate(position)?;
        let bearing = bearing_deg.to_radians();
        Some(StartLine {
            east_m: f64::from(east),
            north_m: f64::from(north),
            direction: [bearing.sin(), bearing.cos()],
        })
    }
}

impl StartLine {
    /// Signed distance past the line, in the direction of travel.
    pub fn along(&self, east_m: f64, north_m: f64) -> f64 {
        (east_m - self.east_m) * self.direction[0] + (north_m - self.north_m) * self.direction[1]
    }

    /// Distance left of the line's middle.
    pub fn across(&self, east_m: f64, north_m: f64) -> f64 {
        (north_m - self.north_m) * self.direction[0] - (east_m - self.east_m) * self.direction[1]
    }

    /// Bearing of the direction of travel, degrees clockwise from north.
    pub fn bearing_deg(&self) -> f64 {
        self.direction[0]
            .atan2(self.direction[1])
            .to_degrees()
            .rem_euclid(360.0)
    }

    /// The share of the time from `a` to `b` after which the line is crossed forward.
    ///
    /// Position and speed at both ends give a cubic, exact for constant jerk.
    pub fn crossing(&self, a: &Point, b: &Point) -> Option<f64> {
        let (pa, pb) = (
            self.along(a.east_m, a.north_m),
            self.along(b.east_m, b.north_m),
        );
        if pa > 0.0 || pb <= 0.0 || b.gap_s > 0.0 {
            return None;
        }
        if a.speed_mps.min(b.speed_mps) < STANDING_MPS {
            return None;
        }
        let (de, dn) = (b.east_m - a.east_m, b.north_m - a.north_m);
        let linear = -pa / (pb - pa);
        let across = self.across(a.east_m + linear * de, a.north_m + linear * dn);
        let forward = de * self.direction[0] + dn * self.direction[1];
        let length = de.hypot(dn);
        if across.abs() > HALF_WIDTH_M || forward < 0.5 * length {
            return None;
        }
        let dt = b.time_s - a.time_s;
        let slope = |p: &Point| p.speed_mps * dt * forward / length.max(1e-9);
        Some(root(pa, pb, slope(a), slope(b)))
    }
}

/// Root in [0, 1] of the cubic with these values and slopes at its ends, one below and one above 0.
pub fn root(pa: f64, pb: f64, ma: f64, mb: f64) -> f64 {
    let value = |x: f64| {
        let (x2, y) = (x * x, 1.0 - x);
        pa * (1.0 + 2.0 * x) * y * y + ma * x * y * y + pb * x2 * (3.0 - 2.0 * x) - mb * x2 * y
    };
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..48 {
        let middle = 0.5 * (low + high);
        if value(middle) <= 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Metres between the points of the thinned path the search runs on.
const THIN_M: f64 = 5.0;
/// Candidates tried at most.
const CANDIDATES: usize = 600;
/// Less calm road than this before and after the line is worth giving up a lap for, metres.
const MARGIN_MIN_M: f64 = 80.0;

/// A crossing this soon after a recording's begin is missed by an engine that still looks for its
/// place, seconds.
const LEAD_S: f64 = 1.2;

struct Step {
    track: usize,
    point: Point,
    direction: [f64; 2],
    accel_mps2: f64,
    lateral_mps2: f64,
}

struct Candidate {
    line: StartLine,
    margin_m: f64,
}

/// A place that the car crosses once a lap, fast, straight on and far from any braking.
///
/// Of all such places the one with the most laps is taken, then the one with most calm road
/// before and after it. `None` when no place is crossed twice.
pub fn find(tracks: &[Track]) -> Option<StartLine> {
    let path: Vec<Step> = tracks
        .iter()
        .enumerate()
        .flat_map(|(k, t)| thin(k, t))
        .collect();
    if path.len() < 10 {
        return None;
    }
    let mut speeds: Vec<f64> = path.iter().map(|s| s.point.speed_mps).collect();
    let fast = quantile(&mut speeds, 0.95)?;
    let mut laterals: Vec<f64> = path.iter().map(|s| s.lateral_mps2).collect();
    let lateral = quantile(&mut laterals, 0.98)?.max(1.0);
    // Strict first: the places of a circuit without any straight are found by the last try.
    for (share, load, braking) in [(0.6, 0.25, -1.0), (0.4, 0.6, -3.0), (0.2, 9.0, -99.0)] {
        let calm = |s: &Step| {
            s.point.speed_mps > (share * fast).max(STANDING_MPS)
                && s.lateral_mps2 < load * lateral
                && s.accel_mps2 > braking
        };
        let candidates = candidates(&path, calm);
        let best = candidates
            .into_iter()
            .map(|c| (laps(&path, &c.line), c))
            .filter(|(laps, _)| *laps > 0.0)
            .map(|(laps, c)| (laps - 1.5 * (1.0 - c.margin_m / MARGIN_MIN_M).max(0.0), c))
            .max_by(|a, b| {
                a.0.total_cmp(&b.0)
                    .then(a.1.margin_m.total_cmp(&b.1.margin_m))
            });
        if let Some((_, best)) = best {
            return Some(best.line);
        }
    }
    None
}

fn thin(index: usize, track: &Track) -> Vec<Step> {
    let mut kept: Vec<Point> = Vec::new();
    for p in &track.points {
        if kept
            .last()
            .is_none_or(|l| p.driven_m - l.driven_m >= THIN_M)
        {
            kept.push(*p);
        }
    }
    let n = kept.len();
    let direction = |i: usize| {
        let (a, b) = (&kept[i.saturating_sub(2)], &kept[(i + 2).min(n - 1)]);
        let (e, n) = (b.east_m - a.east_m, b.north_m - a.north_m);
        let length = e.hypot(n).max(1e-9);
        [e / length, n / length]
    };
    (0..n)
        .map(|i| {
            let (a, b) = (i.saturating_sub(4), (i + 4).min(n - 1));
            let road = (kept[b].driven_m - kept[a].driven_m).max(1.0);
            let (da, db) = (direction(a), direction(b));
            let turned = (da[0] * db[1] - da[1] * db[0]).atan2(da[0] * db[0] + da[1] * db[1]);
            let v = kept[i].speed_mps;
            Step {
                track: index,
                point: kept[i],
                direction: direction(i),
                accel_mps2: (kept[b].speed_mps.powi(2) - kept[a].speed_mps.powi(2)) / (2.0 * road),
                lateral_mps2: v * v * turned.abs() / road,
            }
        })
        .collect()
}

fn candidates(path: &[Step], calm: impl Fn(&Step) -> bool) -> Vec<Candidate> {
    // Of each cell of 10 m and each eighth of the full circle only the place with most margin.
    let mut cells: HashMap<(i64, i64, i64), (usize, f64)> = HashMap::new();
    let mut i = 0;
    while i < path.len() {
        let mut j = i;
        while j < path.len()
            && path[j].track == path[i].track
            && calm(&path[j])
            && (j == i || path[j].point.gap_s == 0.0)
        {
            j += 1;
        }
        for k in i..j {
            let p = &path[k];
            let margin = (p.point.driven_m - path[i].point.driven_m)
                .min(path[j - 1].point.driven_m - p.point.driven_m);
            let sector = p.direction[1].atan2(p.direction[0]) / std::f64::consts::FRAC_PI_4;
            let cell = (
                (p.point.east_m / 10.0).floor() as i64,
                (p.point.north_m / 10.0).floor() as i64,
                sector.round() as i64,
            );
            let best = cells.entry(cell).or_insert((k, margin));
            if margin > best.1 {
                *best = (k, margin);
            }
        }
        i = j.max(i + 1);
    }
    let mut all: Vec<(usize, f64)> = cells.into_values().collect();
    all.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let keep = all.len().div_ceil(CANDIDATES).max(1);
    all.iter()
        .step_by(keep)
        .map(|&(k, margin)| Candidate {
            line: StartLine {
                east_m: path[k].point.east_m,
                north_m: path[k].point.north_m,
                direction: path[k].direction,
            },
            margin_m: margin,
        })
        .collect()
}

/// Rounds of one length that a line would cut, less half of those of another length.
fn laps(path: &[Step], line: &StartLine) -> f64 {
    let mut rounds: Vec<f64> = Vec::new();
    let mut last: Option<(usize, f64)> = None;
    for w in path.windows(2) {
        if w[0].track != w[1].track || line.crossing(&w[0].point, &w[1].point).is_none() {
            continue;
        }
        if w[1].point.time_s < LEAD_S {
            continue;
        }
        let (track, driven) = (w[1].track, w[1].point.driven_m);
        if let Some((t, d)) = last
            && t == track
        {
            rounds.push(driven - d);
        }
        last = Some((track, driven));
    }
    let all = rounds.len() as f64;
    let Some(usual) = quantile(&mut rounds, 0.5) else {
        return 0.0;
    };
    if usual < 100.0 {
        return 0.0;
    }
    let alike = rounds
        .iter()
        .filter(|r| (*r - usual).abs() < 0.04 * usual)
        .count() as f64;
    alike - 0.5 * (all - alike)
}

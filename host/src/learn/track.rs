//! A recording as points in the plane: what the later steps work on.

use cuepost_engine::{Frame, Sample};

/// Slower than this a car is standing and has no course, m/s.
pub const STANDING_MPS: f64 = 3.0;
/// Longer than this without a sample is a gap, seconds.
pub const GAP_S: f64 = 0.5;

/// One instant of a recording, in the plane of the reference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Source time, microseconds.
    pub time_us: u64,
    /// Seconds from the recording's first sample.
    pub time_s: f64,
    /// Metres east of the frame's origin.
    pub east_m: f64,
    /// Metres north of the frame's origin.
    pub north_m: f64,
    /// Ground speed, m/s.
    pub speed_mps: f64,
    /// Metres driven since the first point: the integral of speed.
    pub driven_m: f64,
    /// Brake pedal 0..1.
    pub brake: Option<f32>,
    /// Throttle pedal 0..1.
    pub throttle: Option<f32>,
    /// Gear.
    pub gear: Option<i8>,
    /// Seconds of missing samples before this point when they are more than [`GAP_S`], else 0.
    pub gap_s: f64,
}

/// One recording.
#[derive(Clone, Debug, Default)]
pub struct Track {
    /// Its points in time order.
    pub points: Vec<Point>,
    /// Samples that were not used: no fix, not finite, time not rising, leaps.
    pub refused: usize,
}

impl Track {
    /// Takes what can be believed of the samples.
    pub fn new(frame: &Frame, samples: &[Sample]) -> Self {
        let mut track = Self::default();
        let first_us = samples.first().map_or(0, |s| s.time_us);
        // A leap that stays is a new place, not an outlier: count how long it lasts.
        let mut away = 0_usize;
        for sample in samples {
            let Some(mut point) = place(frame, sample, first_us) else {
                track.refused += 1;
                continue;
            };
            if let Some(last) = track.points.last() {
                if point.time_us <= last.time_us {
                    track.refused += 1;
                    continue;
                }
                let dt = point.time_s - last.time_s;
                let step = (point.east_m - last.east_m).hypot(point.north_m - last.north_m);
                let fast = last.speed_mps.max(point.speed_mps);
                // Farther than any car could have driven: braking and accelerating at 40 m/s²
                // at most, and a few metres of receiver wander.
                if step > fast * dt + 20.0 * dt * dt + 8.0 && away < 10 {
                    away += 1;
                    track.refused += 1;
                    continue;
                }
                let missing = dt > GAP_S || away >= 10;
                point.gap_s = if missing { dt } else { 0.0 };
                let driven = 0.5 * (last.speed_mps + point.speed_mps) * dt;
                point.driven_m = last.driven_m + if missing { step.max(driven) } else { driven };
            }
            away = 0;
            track.points.push(point);
        }
        track
    }

    /// Mean spacing of the samples in time, gaps left out, seconds; 0 with fewer than two points.
    pub fn step_s(&self) -> f64 {
        let steps = self
            .points
            .windows(2)
            .map(|w| w[1].time_s - w[0].time_s)
            .filter(|dt| *dt <= GAP_S);
        let (sum, count) = steps.fold((0.0, 0.0), |(s, n), dt| (s + dt, n + 1.0));
        if count > 0.0 { sum / count } else { 0.0 }
    }

    /// Standard deviation of the speed noise: from third differences, which no driving reaches
    /// (their variance is 20 times that of white noise), by their median so that jolts don't count.
    pub fn speed_noise_mps(&self) -> f64 {
        self.third_differences(|w| {
            Some(w[0].speed_mps - 3.0 * w[1].speed_mps + 3.0 * w[2].speed_mps - w[3].speed_mps)
        })
    }

    /// Standard deviation of the quick part of the position noise across the direction of travel,
    /// metres. Slow wander, common to a whole lap, is not in it.
    pub fn position_noise_m(&self) -> f64 {
        self.third_differences(|w| {
            let (e, n) = (w[3].east_m - w[0].east_m, w[3].north_m - w[0].north_m);
            let length = e.hypot(n);
            if length < 0.3 {
                return None;
            }
            let third =
                |f: fn(&Point) -> f64| f(&w[0]) - 3.0 * f(&w[1]) + 3.0 * f(&w[2]) - f(&w[3]);
            let (de, dn) = (third(|p| p.east_m), third(|p| p.north_m));
            Some((dn * e - de * n) / length)
        })
    }

    fn third_differences(&self, of: impl Fn(&[Point]) -> Option<f64>) -> f64 {
        let mut all: Vec<f64> = self
            .points
            .windows(4)
            .filter(|w| {
                w.iter()
                    .all(|p| p.gap_s == 0.0 && p.speed_mps > STANDING_MPS)
            })
            .filter_map(of)
            .map(f64::abs)
            .collect();
        // 0.6745 is the median of the absolute value of a unit normal variable.
        median(&mut all).map_or(0.0, |m| m / 0.6745 / 20.0_f64.sqrt())
    }
}

/// The sample as a point, `None` when it has no place or speed that can be believed.
fn place(frame: &Frame, sample: &Sample, first_us: u64) -> Option<Point> {
    let (east, north) = frame.locate(sample.position?)?;
    let speed = sample.speed_mps.filter(|v| (0.0..150.0).contains(v))?;
    let unit = |p: Option<f32>| p.filter(|v| (-0.01..=1.01).contains(v));
    Some(Point {
        time_us: sample.time_us,
        time_s: sample.time_us.checked_sub(first_us)? as f64 * 1e-6,
        east_m: f64::from(east),
        north_m: f64::from(north),
        speed_mps: f64::from(speed),
        driven_m: 0.0,
        brake: unit(sample.brake),
        throttle: unit(sample.throttle),
        gear: sample.gear,
        gap_s: 0.0,
    })
}

/// The middle value; `None` of nothing. Not-a-number never gets here.
pub fn median(values: &mut [f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// The value below which a share of the values lies, between neighbours linearly.
pub fn quantile(values: &mut [f64], share: f64) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    values.sort_by(f64::total_cmp);
    let x = share.clamp(0.0, 1.0) * (values.len() - 1) as f64;
    let i = x as usize;
    let next = values[(i + 1).min(values.len() - 1)];
    Some(values[i] + (next - values[i]) * (x - i as f64))
}

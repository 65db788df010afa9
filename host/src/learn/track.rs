//! A recording as points in the plane: what the later steps work on.

use cuepost_engine::gate::{Admitted, Gate, REFUSALS};
use cuepost_engine::{Frame, Sample, Why};

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
    /// Admitted but not to be trusted: position, speed and direction contradict one another.
    pub doubtful: bool,
}

/// One recording, or what lies between two restarts of its clock.
#[derive(Clone, Debug, Default)]
pub struct Track {
    /// Index of the recording.
    pub take: usize,
    /// Source time that the points' seconds count from, microseconds.
    pub begin_us: u64,
    /// Its points in time order.
    pub points: Vec<Point>,
}

/// The tracks of a recording, and what was refused of it, in the order of
/// [`cuepost_engine::gate::Refusal`].
pub fn tracks(frame: &Frame, take: usize, samples: &[Sample]) -> (Vec<Track>, [u32; REFUSALS]) {
    let mut gate = Gate::default();
    let mut all: Vec<Track> = Vec::new();
    for sample in samples {
        // What the engine refuses when it drives along is refused here.
        let Ok(at) = gate.admit(frame, sample) else {
            continue;
        };
        if at.dt_s <= 0.0 || all.is_empty() {
            all.push(Track {
                take,
                begin_us: at.time_us,
                points: Vec::new(),
            });
        }
        // A place bridged on speed says nothing about the line.
        if let (true, Some(track)) = (at.located, all.last_mut()) {
            track.push(&at, sample.gear);
        }
    }
    (all, gate.refused)
}

impl Track {
    fn push(&mut self, at: &Admitted, gear: Option<i8>) {
        let mut point = Point {
            time_us: at.time_us,
            time_s: at.time_us.saturating_sub(self.begin_us) as f64 * 1e-6,
            east_m: f64::from(at.east_m),
            north_m: f64::from(at.north_m),
            speed_mps: f64::from(at.speed_mps),
            driven_m: 0.0,
            brake: at.brake,
            throttle: at.throttle,
            gear,
            gap_s: 0.0,
            doubtful: at.trust != Why::Good,
        };
        if let Some(last) = self.points.last() {
            let dt = point.time_s - last.time_s;
            if dt <= 0.0 {
                return;
            }
            let step = (point.east_m - last.east_m).hypot(point.north_m - last.north_m);
            let driven = 0.5 * (last.speed_mps + point.speed_mps) * dt;
            let missing = at.broken || dt > GAP_S;
            point.gap_s = if missing { dt } else { 0.0 };
            point.driven_m = last.driven_m + if missing { step.max(driven) } else { driven };
        }
        self.points.push(point);
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

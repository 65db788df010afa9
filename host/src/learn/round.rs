//! A lap turned so that its ends lie in calm road: nothing of interest wraps around.

use super::corners::Found;
use super::curves::Curves;
use super::profile::Profile;
use super::spans::on_lap_m;

/// The lap from one calm place to itself.
pub struct Round {
    /// Seconds since the calm place.
    pub time: Vec<f64>,
    /// Speed, m/s.
    pub speed: Vec<f64>,
    /// Longitudinal acceleration, m/s².
    pub accel: Vec<f64>,
    /// Curvature, lightly smoothed, 1/m.
    pub curvature: Vec<f64>,
    /// Brake pedal.
    pub brake: Option<Vec<f64>>,
    /// Gear.
    pub gear: Option<Vec<i8>>,
    /// Metres between entries.
    pub step_m: f64,
    /// Length of the lap, metres.
    pub length_m: f64,
    /// Progress of entry 0.
    from_m: f64,
}

/// Curvature is averaged over this much road either way, metres.
const SMOOTH_M: f64 = 6.0;

impl Round {
    /// Turns a lap.
    pub fn new(lap: &Profile, curves: &Curves) -> Self {
        let n = lap.entries();
        let calm = |i: usize| {
            let grip = Curves::at(&curves.lateral, lap.speed_mps[i]).max(1.0);
            lap.accel_mps2[i] > -0.5 && lap.lateral_mps2(i).abs() < 0.25 * grip
        };
        let from = middle_of_longest(n, calm);
        let turned =
            |v: &[f64]| -> Vec<f64> { v[from..].iter().chain(&v[..from]).copied().collect() };
        let reach = (SMOOTH_M / lap.step_m).round().max(0.0) as usize;
        let smooth: Vec<f64> = (0..n)
            .map(|i| {
                let window = (n + i - reach)..=(n + i + reach);
                window.map(|k| lap.curvature_pm[k % n]).sum::<f64>() / (2 * reach + 1) as f64
            })
            .collect();
        let time = (0..n)
            .map(|i| {
                let k = (i + from) % n;
                let t = lap.time_s[k] - lap.time_s[from];
                if k < from { t + lap.lap_s } else { t }
            })
            .collect();
        Self {
            time,
            speed: turned(&lap.speed_mps),
            accel: turned(&lap.accel_mps2),
            curvature: turned(&smooth),
            brake: lap.brake.as_ref().map(|b| turned(b)),
            gear: lap
                .gear
                .as_ref()
                .map(|g| g[from..].iter().chain(&g[..from]).copied().collect()),
            step_m: lap.step_m,
            length_m: lap.step_m * n as f64,
            from_m: lap.step_m * from as f64,
        }
    }

    /// How many entries there are.
    pub fn entries(&self) -> usize {
        self.time.len()
    }

    /// Metres of the round at an entry.
    pub fn at_m(&self, i: usize) -> f64 {
        i as f64 * self.step_m
    }

    /// Progress from the start line of a place on the round.
    pub fn progress_m(&self, at_m: f64) -> f32 {
        on_lap_m(at_m + self.from_m, self.length_m)
    }

    /// Lateral acceleration at an entry, m/s², left positive.
    pub fn lateral(&self, i: usize) -> f64 {
        self.speed[i].powi(2) * self.curvature[i]
    }

    /// Which way a corner turns: +1 left, -1 right.
    pub fn turn(&self, corner: &Found) -> i8 {
        let (from, to) = match corner.bend {
            // Of a bend with two hands the one at the slowest point counts.
            Some(_) => (
                corner.apex.saturating_sub(10),
                (corner.apex + 10).min(self.entries() - 1),
            ),
            None => (corner.onset, (corner.apex + 30).min(self.entries() - 1)),
        };
        let turned: f64 = self.curvature[from..=to].iter().sum();
        if turned >= 0.0 { 1 } else { -1 }
    }

    /// Angle turned between two entries, degrees, left positive.
    pub fn turned_deg(&self, from: usize, to: usize) -> f64 {
        (self.curvature[from..=to].iter().sum::<f64>() * self.step_m).to_degrees()
    }
}

/// The middle of the longest run around a loop, 0 when there is none.
fn middle_of_longest(n: usize, holds: impl Fn(usize) -> bool) -> usize {
    let (mut best, mut run) = ((0, 0), 0);
    for i in 0..2 * n {
        run = if holds(i % n) { (run + 1).min(n) } else { 0 };
        if run > best.0 {
            best = (run, i);
        }
    }
    (best.1 + 2 * n - best.0 / 2) % n
}

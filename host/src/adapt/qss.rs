//! The fastest speed around a closed line that a car's limits allow at each place, as if it were
//! in balance everywhere: the speed of each bend, then as much drive as there is forward from
//! them, then as much braking as there is backward from them (quasi-steady state; Lenzo and Rossi
//! 2020, doi 10.3390/app10041498, describe the method).

/// What a car can do at a place of a line. Nodes are numbered around the line; a segment has the
/// number of the node it begins at.
pub trait Car {
    /// The fastest it gets round at a node, m/s.
    fn corner_mps(&self, node: usize) -> f64;
    /// The most acceleration on a segment at a speed, m/s²; negative where drag wins.
    fn drive_mps2(&self, segment: usize, speed_mps: f64) -> f64;
    /// The most deceleration on a segment at a speed, m/s², positive.
    fn brake_mps2(&self, segment: usize, speed_mps: f64) -> f64;
}

/// Slower than this nothing is computed, m/s.
const SPEED_MIN_MPS: f64 = 1.0;
/// Rounds after which a line without a slow place must have settled.
const ROUNDS_MAX: usize = 12;
/// A round that changes no speed by more than this is the last, m/s.
const SETTLED_MPS: f64 = 1e-9;

/// A speed this near to what drive gives is driven, m/s.
const DRIVEN_MPS: f64 = 1e-6;

/// The speed around the line.
#[derive(Clone, Debug, PartialEq)]
pub struct Solution {
    /// Metres between nodes.
    pub step_m: f64,
    /// Speed at each node, m/s.
    pub speed_mps: Vec<f64>,
}

/// Where slowing down begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Onset {
    /// Metres before the node that is slowed down for.
    pub before_m: f64,
    /// The speed there, m/s.
    pub speed_mps: f64,
}

impl Solution {
    /// Seconds on a segment, its acceleration taken as constant.
    pub fn segment_s(&self, segment: usize) -> f64 {
        let n = self.speed_mps.len();
        2.0 * self.step_m / (self.speed_mps[segment] + self.speed_mps[(segment + 1) % n])
    }

    /// Seconds of the whole lap.
    pub fn lap_s(&self) -> f64 {
        (0..self.speed_mps.len()).map(|i| self.segment_s(i)).sum()
    }

    /// Speed at a place, m/s: acceleration constant between nodes.
    pub fn speed_at(&self, place_m: f64) -> f64 {
        let n = self.speed_mps.len();
        let x = (place_m / self.step_m).rem_euclid(n as f64);
        let i = (x as usize).min(n - 1);
        let (u, w) = (
            self.speed_mps[i].powi(2),
            self.speed_mps[(i + 1) % n].powi(2),
        );
        (u + (w - u) * (x - i as f64)).sqrt()
    }

    /// Where the slowing down for a node begins: behind the fastest place of
    /// the last `reach` segments, where the speed that drive gives and the speed that is needed
    /// meet. `None` when the node is reached on the drive.
    pub fn onset_before(&self, car: &impl Car, node: usize, reach: usize) -> Option<Onset> {
        let n = self.speed_mps.len();
        let back = |k: usize| (node + n - k % n) % n;
        let driven = |k: usize| {
            let i = back(k);
            let far = across(self.step_m, self.speed_mps[i], |v| car.drive_mps2(i, v));
            far <= self.speed_mps[back(k - 1)] + DRIVEN_MPS
        };
        let fastest = (1..=reach)
            .max_by(|a, b| self.speed_mps[back(*a)].total_cmp(&self.speed_mps[back(*b)]))?;
        let k = (1..=fastest).rev().find(|k| !driven(*k))?;
        let (i, j) = (back(k), back(k - 1));
        let (v, w) = (self.speed_mps[i], self.speed_mps[j]);
        let drive = car.drive_mps2(i, v);
        let brake = car.brake_mps2(i, 0.5 * (v + w));
        let gap = w * w + 2.0 * brake * self.step_m - v * v;
        let into = (gap / (2.0 * (drive + brake)).max(1e-9)).clamp(0.0, self.step_m);
        Some(Onset {
            before_m: k as f64 * self.step_m - into,
            speed_mps: (v * v + 2.0 * drive * into).max(0.0).sqrt(),
        })
    }
}

/// Speed at the other end of a segment, the acceleration taken at the segment's mean speed.
fn across(step_m: f64, speed_mps: f64, accel: impl Fn(f64) -> f64) -> f64 {
    let end = |a: f64| {
        let square = speed_mps * speed_mps + 2.0 * a * step_m;
        square.max(SPEED_MIN_MPS * SPEED_MIN_MPS).sqrt()
    };
    let mut far = end(accel(speed_mps));
    for _ in 0..4 {
        far = end(accel(0.5 * (speed_mps + far)));
    }
    far
}

/// Runs the speed around a closed line of `nodes` nodes, `step_m` apart. `None` for fewer than
/// three.
pub fn solve(car: &impl Car, nodes: usize, step_m: f64) -> Option<Solution> {
    if nodes < 3 || step_m.is_nan() || step_m <= 0.0 {
        return None;
    }
    let mut speed: Vec<f64> = (0..nodes)
        .map(|i| car.corner_mps(i).max(SPEED_MIN_MPS))
        .collect();
    let slowest = (0..nodes).min_by(|a, b| speed[*a].total_cmp(&speed[*b]))?;
    let around = |k: usize| (slowest + k) % nodes;
    // The slowest bend is driven at its limit, so one round is enough but where drag wins.
    settle(&mut speed, |speed| {
        for k in 0..nodes {
            let (i, j) = (around(k), around(k + 1));
            let far = across(step_m, speed[i], |v| car.drive_mps2(i, v));
            speed[j] = speed[j].min(far);
        }
    });
    settle(&mut speed, |speed| {
        for k in (0..nodes).rev() {
            let (i, j) = (around(k), around(k + 1));
            let near = across(step_m, speed[j], |v| car.brake_mps2(i, v));
            speed[i] = speed[i].min(near);
        }
    });
    Some(Solution {
        step_m,
        speed_mps: speed,
    })
}

fn settle(speed: &mut [f64], mut round: impl FnMut(&mut [f64])) {
    for _ in 0..ROUNDS_MAX {
        let before = speed.to_vec();
        round(speed);
        let apart = before.iter().zip(speed.iter()).map(|(a, b)| (a - b).abs());
        if apart.fold(0.0, f64::max) <= SETTLED_MPS {
            break;
        }
    }
}

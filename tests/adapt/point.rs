//! A point mass with tyres, an engine and drag: the car of the closed forms and of the oracle.

use cuepost_host::adapt::qss::{Car, Solution, solve};

/// Gravity as the published figures were made with, m/s².
pub const G: f64 = 9.81;
/// The fastest that anything is, m/s.
const SPEED_MOST_MPS: f64 = 200.0;

/// The car.
#[derive(Clone, Copy, Debug)]
pub struct Point {
    /// Friction.
    pub mu: f64,
    /// Largest acceleration of the drive, m/s².
    pub drive_mps2: f64,
    /// Engine power, W.
    pub power_w: f64,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Half of density times drag area, kg/m.
    pub drag: f64,
    /// Half of density times downforce area, kg/m.
    pub downforce: f64,
}

impl Default for Point {
    fn default() -> Self {
        Self {
            mu: 1.2,
            drive_mps2: 4.0,
            power_w: f64::INFINITY,
            mass_kg: 1200.0,
            drag: 0.0,
            downforce: 0.0,
        }
    }
}

/// A car on a line: curvature at each node, 1/m, not negative.
pub struct OnLine<'a> {
    /// The car.
    pub car: Point,
    /// Curvature at the nodes.
    pub bend_pm: &'a [f64],
}

impl OnLine<'_> {
    fn grip_mps2(&self, v: f64) -> f64 {
        self.car.mu * (G + self.car.downforce * v * v / self.car.mass_kg)
    }

    /// What a circle of friction leaves for the direction of travel.
    fn left_mps2(&self, segment: usize, v: f64) -> f64 {
        let next = (segment + 1) % self.bend_pm.len();
        let lateral = v * v * 0.5 * (self.bend_pm[segment] + self.bend_pm[next]);
        let grip = self.grip_mps2(v);
        (grip * grip - lateral * lateral).max(0.0).sqrt()
    }

    fn drag_mps2(&self, v: f64) -> f64 {
        self.car.drag * v * v / self.car.mass_kg
    }
}

impl Car for OnLine<'_> {
    fn corner_mps(&self, node: usize) -> f64 {
        let c = &self.car;
        let left = self.bend_pm[node] - c.mu * c.downforce / c.mass_kg;
        if left <= 1e-9 {
            return SPEED_MOST_MPS;
        }
        (c.mu * G / left).sqrt().min(SPEED_MOST_MPS)
    }

    fn drive_mps2(&self, segment: usize, v: f64) -> f64 {
        let engine = self.car.power_w / (self.car.mass_kg * v);
        let drive = self.car.drive_mps2.min(engine);
        drive.min(self.left_mps2(segment, v)) - self.drag_mps2(v)
    }

    fn brake_mps2(&self, segment: usize, v: f64) -> f64 {
        self.left_mps2(segment, v) + self.drag_mps2(v)
    }
}

/// The car's lap.
pub fn lap(car: Point, bend_pm: &[f64], step_m: f64) -> Solution {
    let on = OnLine { car, bend_pm };
    solve(&on, bend_pm.len(), step_m).expect("a closed line")
}

/// Two straights and two half circles: curvature at nodes about `step_m` apart, and the step.
pub fn stadium(straight_m: f64, radius_m: f64, step_m: f64) -> (Vec<f64>, f64) {
    let arc = std::f64::consts::PI * radius_m;
    let length = 2.0 * (straight_m + arc);
    let n = (length / step_m).round();
    let step = length / n;
    let bends = (0..n as usize).map(|i| {
        let s = (i as f64 * step).rem_euclid(straight_m + arc);
        // The nodes nearest to both ends of the arc belong to it.
        let into = s - straight_m;
        if (into >= -0.5 * step && into <= arc + 0.5 * step) || s < 0.5 * step {
            1.0 / radius_m
        } else {
            0.0
        }
    });
    (bends.collect(), step)
}

//! What a driver aims at in a corner, and the speeds on the way there.

use super::car::{Car, GRAVITY_MPS2};
use super::circuit::Circuit;
use super::path::Path;

/// Metres between entries of a [`Curve`].
const STEP_M: f64 = 0.5;
/// No approach is longer, metres.
const REACH_M: f64 = 700.0;

/// What the driver aims at. Places are metres along the drive, not wrapped.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Target {
    /// Where the corner's first bend begins.
    pub turn_m: f64,
    /// Where the throttle is to be taken up.
    pub throttle_m: f64,
    /// How fast to be there, m/s.
    pub speed_mps: f64,
    /// Where to be off the brake.
    pub release_m: f64,
    /// Where to begin easing the brake.
    pub trail_m: f64,
    /// Share of the tyres' grip used by the brake before that.
    pub brake_share: f64,
    /// Share of the friction ellipse that the plan never exceeds.
    pub grip_share: f64,
}

impl Target {
    /// The share of the grip for the brake to use at a place.
    pub fn share(&self, progress_m: f64) -> f64 {
        if progress_m >= self.release_m {
            0.0
        } else if progress_m <= self.trail_m {
            self.brake_share
        } else {
            self.brake_share * (self.release_m - progress_m)
                / (self.release_m - self.trail_m).max(1.0)
        }
    }

    /// The same moved along the drive, by whole laps.
    pub fn moved(mut self, by_m: f64) -> Self {
        self.turn_m += by_m;
        self.throttle_m += by_m;
        self.release_m += by_m;
        self.trail_m += by_m;
        self
    }
}

/// Speeds from which a target is just reached, against the way left to it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curve {
    speeds_mps: Vec<f64>,
}

impl Curve {
    /// Integrates backward from the target: rolling, easing brake, whole brake.
    pub fn braking(circuit: &Circuit, car: &Car, path: &Path, target: &Target) -> Self {
        Self::back(circuit, car, path, target, |s| target.share(s))
    }

    /// Integrates backward from the target with both pedals off.
    pub fn rolling(circuit: &Circuit, car: &Car, path: &Path, target: &Target) -> Self {
        Self::back(circuit, car, path, target, |_| 0.0)
    }

    fn back(
        circuit: &Circuit,
        car: &Car,
        path: &Path,
        target: &Target,
        share: impl Fn(f64) -> f64,
    ) -> Self {
        let grip = target.grip_share;
        let mut v = target.speed_mps;
        let mut speeds_mps = vec![v];
        let top = car.gear_mps[car.gear_mps.len() - 1] + 10.0;
        let mut s = target.throttle_m;
        while v < top && target.throttle_m - s < REACH_M {
            s -= STEP_M;
            let curvature = path.curvature_pm(circuit, s);
            let across = car.mass_kg * v * v * curvature.abs() / car.grip_lat_n(v);
            let room = (grip * grip - across * across).max(0.0).sqrt();
            let engine = car.engine_brake_n(v) / car.grip_long_n(v);
            let brake = share(s).min((room - engine).max(0.0));
            let force = (brake + engine) * car.grip_long_n(v) + car.resistance_n(v);
            let decel = force / car.mass_kg + GRAVITY_MPS2 * circuit.slope(s);
            v = (v * v + 2.0 * STEP_M * decel).max(1.0).sqrt();
            if s > target.turn_m {
                v = v.min(car.corner_mps(curvature, grip, f64::MAX));
            }
            speeds_mps.push(v);
        }
        Self { speeds_mps }
    }

    /// The speed to have `left_m` before the target; beyond the table any speed will do.
    pub fn at(&self, left_m: f64) -> f64 {
        let x = (left_m / STEP_M).max(0.0);
        let i = x as usize;
        match (self.speeds_mps.get(i), self.speeds_mps.get(i + 1)) {
            (Some(a), Some(b)) => a + (b - a) * (x - i as f64),
            _ => f64::MAX,
        }
    }

    /// Seconds from `left_m` before the target to it.
    pub fn time_s(&self, left_m: f64) -> f64 {
        let steps = ((left_m / STEP_M) as usize).min(self.speeds_mps.len());
        self.speeds_mps[..steps].iter().map(|v| STEP_M / v).sum()
    }
}

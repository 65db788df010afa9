//! A car with other limits, driven in the manner of a reference lap.

use super::limits::Limits;
use super::manner::{Manner, acceleration};
use super::qss::Car;

/// A corner that must be slower by more than this is no longer only lifted for, m/s.
const LIFT_MOST_MPS: f64 = 3.0;
/// The share of braking that is taken then.
const LIGHT_BRAKING: f64 = -0.5;
/// A speed this near to what the bend allows is held by it, m/s.
const HELD_MPS: f64 = 0.02;

impl Manner {
    /// The car with these limits, driven in this manner. `base` are those it was read with.
    pub fn car(&self, base: &Limits, limits: Limits) -> Driven<'_> {
        let corner_mps: Vec<f64> = (0..self.nodes())
            .map(|i| self.corner_mps(i, base, &limits))
            .collect();
        let mut brake = self.brake.clone();
        let mut braked = Vec::new();
        for way in self.ways.iter().filter(|w| w.lifted) {
            let node = (way.first + way.segments) % self.nodes();
            if self.speed_mps[node] - corner_mps[node] > LIFT_MOST_MPS {
                braked.push(way.into);
                for k in 0..way.segments {
                    let share = &mut brake[(way.first + k) % self.nodes()];
                    *share = share.min(LIGHT_BRAKING);
                }
            }
        }
        Driven {
            manner: self,
            limits,
            corner_mps,
            brake,
            braked,
        }
    }
}

/// A car driven in the manner of a reference lap.
#[derive(Clone, Debug)]
pub struct Driven<'a> {
    manner: &'a Manner,
    /// Its limits.
    pub limits: Limits,
    corner_mps: Vec<f64>,
    /// As the manner's, with braking where a lift is not enough any more.
    brake: Vec<f64>,
    /// Corners that were lifted for and must be braked for.
    pub braked: Vec<usize>,
}

impl Driven<'_> {
    /// Whether the bend itself holds the car back somewhere in a corner's middle, which begins at
    /// a node.
    pub fn is_held(&self, node: usize, speed_mps: &[f64]) -> bool {
        let n = self.corner_mps.len();
        let middle = (0..n).map(|k| (node + k) % n);
        let mut middle = middle.take_while(|i| self.manner.middle[*i]);
        middle.any(|i| speed_mps[i] > self.corner_mps[i] - HELD_MPS)
    }
}

impl Car for Driven<'_> {
    fn corner_mps(&self, node: usize) -> f64 {
        self.corner_mps[node]
    }

    fn drive_mps2(&self, i: usize, speed_mps: f64) -> f64 {
        let m = self.manner;
        let wanted = acceleration(&self.limits, m.drive[i], speed_mps);
        let traction = m.traction_mps2[i];
        if !traction.is_finite() {
            return wanted;
        }
        let held = traction * self.limits.grip(speed_mps);
        wanted.min(held - self.limits.resistance_mps2(speed_mps))
    }

    fn brake_mps2(&self, i: usize, speed_mps: f64) -> f64 {
        let m = self.manner;
        let wanted = -acceleration(&self.limits, self.brake[i], speed_mps);
        if !m.beyond[i] {
            return wanted;
        }
        let resistance = self.limits.resistance_mps2(speed_mps);
        let tyre = self.limits.brake_mps2(speed_mps) - resistance;
        let used = speed_mps * speed_mps * m.bend_pm(i) / self.limits.lateral_mps2(speed_mps);
        let left = (1.0 - used.min(1.0).powi(2)).sqrt();
        wanted.min(tyre * left + resistance)
    }
}

//! A car's curves from its laps, each value with its uncertainty.
//!
//! The uncertainty is that of leaving out a tenth of the road, the same in all laps, in turn
//! (delete-a-group jackknife: Quenouille 1956, Tukey 1958, from memory): it holds how much one
//! corner or straight differs from another, which is more than the noise of the source.

use crate::adapt::limits::{Limits, speed_of};
use crate::learn::curves::{Curves, Table};
use crate::learn::profile::Profile;
use cuepost_engine::reference::{CURVE_POINTS, CURVE_STEP_MPS};

/// Parts of the road left out in turn.
const GROUPS: usize = 10;
/// A speed counts as seen with so many metres driven near the limit at it.
const SEEN_M: f64 = 12.0;
/// Near the limit, as a share of it.
const NEAR: f64 = 0.7;
/// A foot off the pedal, and flat on it.
const OFF: f64 = 0.02;
/// Nothing is known better than this, m/s²: what a slope of the road of 1 % is worth.
pub const SURE_MPS2: f64 = 0.1;

/// The curves that are compared.
pub const CURVES: [&str; 4] = ["cornering", "braking", "full throttle", "coasting"];

/// A car's curves, in the order of [`CURVES`].
#[derive(Clone, Debug)]
pub struct Measured {
    /// Values, m/s².
    pub value: [Table; 4],
    /// One standard deviation of each, m/s².
    pub sd: [Table; 4],
    /// Whether the car was seen near that limit at that speed.
    pub seen: [[bool; CURVE_POINTS]; 4],
    /// The curves taken apart.
    pub limits: Limits,
    /// Laps they were learned from.
    pub laps: usize,
}

fn tables(curves: &Curves) -> [Table; 4] {
    [curves.lateral, curves.brake, curves.full, curves.coast]
}

/// Learns a car from its good laps.
pub fn measure(laps: &[Profile]) -> Measured {
    let curves = Curves::learn(laps);
    let value = tables(&curves);
    let without: Vec<[Table; 4]> = (0..GROUPS)
        .map(|group| {
            let rest: Vec<Profile> = laps.iter().flat_map(|lap| leave_out(lap, group)).collect();
            tables(&Curves::learn(&rest))
        })
        .collect();
    let sd = std::array::from_fn(|c| {
        std::array::from_fn(|i| {
            let mean = without.iter().map(|t| t[c][i]).sum::<f64>() / GROUPS as f64;
            let squares: f64 = without.iter().map(|t| (t[c][i] - mean).powi(2)).sum();
            let groups = GROUPS as f64;
            ((groups - 1.0) / groups * squares).sqrt().max(SURE_MPS2)
        })
    });
    let speeds = || laps.iter().flat_map(|l| l.speed_mps.iter().copied());
    let range = (
        speeds().fold(f64::INFINITY, f64::min),
        speeds().fold(0.0, f64::max),
    );
    Measured {
        value,
        sd,
        seen: seen(laps, &curves),
        limits: Limits::new(&curves.rounded(), range),
        laps: laps.len(),
    }
}

/// The two pieces of a lap around a tenth of its road.
fn leave_out(lap: &Profile, group: usize) -> Vec<Profile> {
    let n = lap.entries();
    let (from, to) = (n * group / GROUPS, n * (group + 1) / GROUPS);
    [(0, from), (to, n)]
        .into_iter()
        .filter(|(a, b)| b > a)
        .map(|(a, b)| piece(lap, a, b))
        .collect()
}

fn piece(lap: &Profile, from: usize, to: usize) -> Profile {
    let cut = |v: &Vec<f64>| v[from..to].to_vec();
    Profile {
        step_m: lap.step_m,
        time_s: cut(&lap.time_s),
        speed_mps: cut(&lap.speed_mps),
        accel_mps2: cut(&lap.accel_mps2),
        curvature_pm: cut(&lap.curvature_pm),
        offset_m: cut(&lap.offset_m),
        brake: lap.brake.as_ref().map(cut),
        throttle: lap.throttle.as_ref().map(cut),
        gear: lap.gear.as_ref().map(|v| v[from..to].to_vec()),
        lap_s: lap.lap_s,
        begin_s: lap.begin_s,
    }
}

/// Speeds at which the car was near each limit for long enough.
fn seen(laps: &[Profile], curves: &Curves) -> [[bool; CURVE_POINTS]; 4] {
    let mut metres = [[0.0_f64; CURVE_POINTS]; 4];
    for lap in laps {
        for i in 0..lap.entries() {
            let v = lap.speed_mps[i];
            let bin = (v / f64::from(CURVE_STEP_MPS)).round() as usize;
            if bin >= CURVE_POINTS {
                continue;
            }
            let (accel, lateral) = (lap.accel_mps2[i], lap.lateral_mps2(i).abs());
            let side = Curves::at(&curves.lateral, v);
            let straight = lateral < 0.4 * side;
            let foot = |pedal: &Option<Vec<f64>>| pedal.as_ref().map(|p| p[i]);
            let off = foot(&lap.brake).is_some_and(|b| b < OFF)
                && foot(&lap.throttle).is_some_and(|t| t < OFF);
            let near = [
                lateral > NEAR * side,
                -accel > NEAR * Curves::at(&curves.brake, v),
                straight && accel > NEAR * Curves::at(&curves.full, v).max(0.3),
                straight && off,
            ];
            for (sum, near) in metres.iter_mut().zip(near) {
                if near {
                    sum[bin] += lap.step_m;
                }
            }
        }
    }
    metres.map(|c| c.map(|m| m >= SEEN_M))
}

impl Measured {
    /// Entries of a curve that were seen in both cars.
    pub fn common(&self, other: &Self, curve: usize) -> Vec<usize> {
        (1..CURVE_POINTS)
            .filter(|i| self.seen[curve][*i] && other.seen[curve][*i])
            .collect()
    }

    /// A curve of its limits under a change, m/s².
    pub fn changed_mps2(limits: &Limits, curve: usize, entry: usize) -> f64 {
        let v = speed_of(entry);
        match curve {
            0 => limits.lateral_mps2(v),
            1 => limits.brake_mps2(v),
            2 => limits.full_mps2(v),
            _ => limits.coast_mps2(v),
        }
    }
}

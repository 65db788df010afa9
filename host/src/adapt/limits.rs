//! A car's limits against speed, taken apart so that one of its properties can be changed.
//!
//! | curve of the reference | is taken for |
//! |---|---|
//! | coasting | rolling resistance, engine braking, drag times the square of the speed |
//! | full throttle | engine force, less rolling resistance and drag |
//! | braking | tyre force, plus rolling resistance and drag |
//! | cornering | tyre force: a part that is always there, and downforce times the square of speed |
//!
//! All over mass. The tyre's friction is taken not to depend on its load, so that mass alone does
//! not change the grip (a real tyre loses a little with load: say so with the grip).

use super::change::Change;
use cuepost_engine::CarCurves;
use cuepost_engine::reference::{CURVE_POINTS, CURVE_STEP_MPS};

/// Rolling resistance, m/s²: 1.5 % of the weight (common practice, no source).
pub const ROLLING_MPS2: f64 = 0.15;

/// A car's limits.
#[derive(Clone, Debug, PartialEq)]
pub struct Limits {
    /// Tyre force sideways over mass at each speed of the tables, m/s².
    lateral: [f64; CURVE_POINTS],
    /// Tyre force of braking over mass.
    brake: [f64; CURVE_POINTS],
    /// Engine force at full throttle over mass.
    engine: [f64; CURVE_POINTS],
    /// Engine braking over mass, m/s².
    engine_brake_mps2: f64,
    /// Drag over mass, 1/m.
    drag_pm: f64,
    /// Tyre force sideways over mass without downforce, m/s².
    plain_mps2: f64,
    /// What downforce adds to it, 1/m.
    downforce_pm: f64,
    change: Change,
}

impl Limits {
    /// Takes the curves apart. `speeds_mps` are the slowest and fastest speed they were learned
    /// from: beyond them they are only extended and say nothing of drag and downforce.
    pub fn new(curves: &CarCurves, speeds_mps: (f64, f64)) -> Self {
        let table = |t: &[i16; CURVE_POINTS]| t.map(|x| f64::from(x) * 0.01);
        let coast = table(&curves.coast_cmps2);
        let lateral = table(&curves.lateral_cmps2).map(|x| x.max(0.5));
        let known: Vec<usize> = (0..CURVE_POINTS)
            .filter(|i| (speeds_mps.0..=speeds_mps.1).contains(&speed_of(*i)))
            .collect();
        let (coast_mps2, drag_pm) = line(&known, &coast);
        let (drag_pm, coast_mps2) = ((-drag_pm).max(0.0), -coast_mps2);
        let (plain_mps2, downforce_pm) = line(&known, &lateral);
        let slip = |i: usize| drag_pm * speed_of(i).powi(2) + ROLLING_MPS2;
        let full = table(&curves.full_cmps2);
        let brake = table(&curves.brake_cmps2);
        Self {
            lateral,
            brake: std::array::from_fn(|i| (brake[i] - slip(i)).max(0.5)),
            engine: std::array::from_fn(|i| (full[i] + slip(i)).max(0.05)),
            engine_brake_mps2: (coast_mps2 - ROLLING_MPS2).max(0.0),
            drag_pm,
            plain_mps2: plain_mps2.max(0.5),
            downforce_pm: downforce_pm.max(0.0),
            change: Change::default(),
        }
    }

    /// The same car, changed.
    pub fn changed(&self, change: Change) -> Self {
        Self {
            change,
            ..self.clone()
        }
    }

    /// What the tyres can take compared with the car as it was, at a speed.
    pub fn grip(&self, speed_mps: f64) -> f64 {
        let aero = self.downforce_pm * speed_mps * speed_mps;
        let share = aero / (self.plain_mps2 + aero);
        let c = &self.change;
        c.grip * ((1.0 - share) + share * c.downforce / c.mass)
    }

    /// Drag and rolling resistance over mass, m/s².
    pub fn resistance_mps2(&self, speed_mps: f64) -> f64 {
        let drag = self.drag_pm * self.change.drag / self.change.mass;
        drag * speed_mps * speed_mps + ROLLING_MPS2
    }

    /// Engine force at full throttle over mass, m/s².
    pub fn engine_mps2(&self, speed_mps: f64) -> f64 {
        at(&self.engine, speed_mps) * self.change.power / self.change.mass
    }

    /// Largest lateral acceleration, m/s².
    pub fn lateral_mps2(&self, speed_mps: f64) -> f64 {
        at(&self.lateral, speed_mps) * self.grip(speed_mps)
    }

    /// Largest deceleration, m/s², positive.
    pub fn brake_mps2(&self, speed_mps: f64) -> f64 {
        at(&self.brake, speed_mps) * self.grip(speed_mps) + self.resistance_mps2(speed_mps)
    }

    /// Acceleration at full throttle, m/s².
    pub fn full_mps2(&self, speed_mps: f64) -> f64 {
        self.engine_mps2(speed_mps) - self.resistance_mps2(speed_mps)
    }

    /// Acceleration off both pedals, m/s², negative.
    pub fn coast_mps2(&self, speed_mps: f64) -> f64 {
        -self.engine_brake_mps2 / self.change.mass - self.resistance_mps2(speed_mps)
    }

    /// Drag over mass, 1/m.
    pub fn drag_pm(&self) -> f64 {
        self.drag_pm * self.change.drag / self.change.mass
    }

    /// The curves for a reference. Where nothing is changed they are those they were made of.
    pub fn curves(&self, before: &CarCurves) -> CarCurves {
        let plain = self.changed(Change::default());
        let moved = |old: &[i16; CURVE_POINTS], f: fn(&Self, f64) -> f64| {
            std::array::from_fn(|i| {
                let v = speed_of(i);
                let by = (f(self, v) - f(&plain, v)) * 100.0;
                (f64::from(old[i]) + by).round().clamp(-20_000.0, 20_000.0) as i16
            })
        };
        CarCurves {
            coast_cmps2: moved(&before.coast_cmps2, Self::coast_mps2),
            full_cmps2: moved(&before.full_cmps2, Self::full_mps2),
            brake_cmps2: moved(&before.brake_cmps2, Self::brake_mps2).map(|x: i16| x.max(0)),
            lateral_cmps2: moved(&before.lateral_cmps2, Self::lateral_mps2).map(|x: i16| x.max(0)),
        }
    }
}

/// The speed of a table's entry, m/s.
pub fn speed_of(i: usize) -> f64 {
    i as f64 * f64::from(CURVE_STEP_MPS)
}

/// A table's value at a speed; constant beyond its ends.
fn at(table: &[f64; CURVE_POINTS], speed_mps: f64) -> f64 {
    let x = (speed_mps / f64::from(CURVE_STEP_MPS)).clamp(0.0, (CURVE_POINTS - 1) as f64);
    let i = (x as usize).min(CURVE_POINTS - 2);
    table[i] + (table[i + 1] - table[i]) * (x - i as f64)
}

/// Least squares of `a + b v²` over some entries: `(a, b)`.
fn line(known: &[usize], table: &[f64; CURVE_POINTS]) -> (f64, f64) {
    let count = known.len() as f64;
    let x = |i: usize| speed_of(i).powi(2);
    let mean_x = known.iter().map(|i| x(*i)).sum::<f64>() / count.max(1.0);
    let mean_y = known.iter().map(|i| table[*i]).sum::<f64>() / count.max(1.0);
    let square: f64 = known.iter().map(|i| (x(*i) - mean_x).powi(2)).sum();
    if known.len() < 2 || square <= 0.0 {
        let middle = known.first().map_or(table[CURVE_POINTS / 2], |i| table[*i]);
        return (middle, 0.0);
    }
    let product: f64 = known
        .iter()
        .map(|i| (x(*i) - mean_x) * (table[*i] - mean_y))
        .sum();
    let b = product / square;
    (mean_y - b * mean_x, b)
}

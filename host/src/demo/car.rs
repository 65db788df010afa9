//! A car as a point mass: what its tyres, engine, brakes and the air do to it.
//!
//! Tyres: a friction ellipse that grows with the load, and the load with the square of the speed
//! (downforce). Whatever pedals and steering ask for beyond it is scaled back in proportion, so
//! the ellipse is never left: a car that brakes and turns too hard does less of both and runs
//! wide. Air, rolling and slope act beside the tyres.

use super::circuit::Circuit;

/// Gravity, m/s².
pub const GRAVITY_MPS2: f64 = 9.81;

/// Number of forward gears.
pub const GEARS: usize = 6;

/// What a car is made of. SI units.
#[derive(Clone, Debug, PartialEq)]
pub struct Car {
    /// Mass with driver and fuel, kg.
    pub mass_kg: f64,
    /// Greatest power at the wheels, W.
    pub power_w: f64,
    /// Air drag over speed squared, kg/m (half of air density times drag area).
    pub drag_kgpm: f64,
    /// Downforce over speed squared, kg/m.
    pub downforce_kgpm: f64,
    /// Rolling resistance over load.
    pub rolling: f64,
    /// Grip along the car over load.
    pub grip_long: f64,
    /// Grip across the car over load.
    pub grip_lat: f64,
    /// Share of the load on the driven wheels.
    pub driven: f64,
    /// Braking force of the pedal pressed fully, N.
    pub brake_n: f64,
    /// Time constant between pedal and braking force, s.
    pub brake_lag_s: f64,
    /// Engine braking at full revs in the highest gear, N.
    pub engine_brake_n: f64,
    /// Speed at which each gear is left for the next, m/s.
    pub gear_mps: [f64; GEARS],
    /// How long the drive is off while a gear is changed up, s.
    pub shift_s: f64,
    /// Time constant between steering and the path's curvature, s.
    pub steer_lag_s: f64,
}

impl Car {
    /// A closed-roof race car of the usual sort: 1,250 kg, 330 kW, some downforce.
    pub fn touring() -> Self {
        Self {
            mass_kg: 1250.0,
            power_w: 330e3,
            drag_kgpm: 0.62,
            downforce_kgpm: 0.9,
            rolling: 0.014,
            grip_long: 1.45,
            grip_lat: 1.40,
            driven: 0.62,
            brake_n: 27e3,
            brake_lag_s: 0.02,
            engine_brake_n: 850.0,
            gear_mps: [22.0, 32.0, 43.0, 55.0, 68.0, 95.0],
            shift_s: 0.05,
            steer_lag_s: 0.08,
        }
    }

    /// A road car on sporting tyres: no downforce, a slow gearbox.
    pub fn road() -> Self {
        Self {
            mass_kg: 1450.0,
            power_w: 190e3,
            drag_kgpm: 0.40,
            downforce_kgpm: 0.0,
            grip_long: 1.10,
            grip_lat: 1.05,
            driven: 0.58,
            brake_n: 22e3,
            engine_brake_n: 900.0,
            shift_s: 0.12,
            steer_lag_s: 0.10,
            ..Self::touring()
        }
    }

    /// A light single-seater with wings.
    pub fn winged() -> Self {
        Self {
            mass_kg: 720.0,
            power_w: 300e3,
            drag_kgpm: 0.70,
            downforce_kgpm: 1.9,
            grip_long: 1.60,
            grip_lat: 1.65,
            driven: 0.60,
            brake_n: 26e3,
            engine_brake_n: 620.0,
            shift_s: 0.03,
            steer_lag_s: 0.06,
            ..Self::touring()
        }
    }

    /// The same car when every force of tyres and engine is `share` of what it was: worn or cold
    /// tyres, heat, fuel. Cornering speeds then change with its square root.
    pub fn with_pace(&self, share: f64) -> Self {
        Self {
            power_w: self.power_w * share.powf(1.5),
            grip_long: self.grip_long * share,
            grip_lat: self.grip_lat * share,
            ..self.clone()
        }
    }

    /// Load on the road, N.
    pub fn load_n(&self, speed_mps: f64) -> f64 {
        self.mass_kg * GRAVITY_MPS2 + self.downforce_kgpm * speed_mps * speed_mps
    }

    /// Greatest force of the tyres along the car, N.
    pub fn grip_long_n(&self, speed_mps: f64) -> f64 {
        self.grip_long * self.load_n(speed_mps)
    }

    /// Greatest force of the tyres across the car, N.
    pub fn grip_lat_n(&self, speed_mps: f64) -> f64 {
        self.grip_lat * self.load_n(speed_mps)
    }

    /// Air and rolling resistance, N.
    pub fn resistance_n(&self, speed_mps: f64) -> f64 {
        self.drag_kgpm * speed_mps * speed_mps + self.rolling * self.load_n(speed_mps)
    }

    /// The gear the driver is in at a speed, from 1.
    pub fn gear(&self, speed_mps: f64) -> usize {
        let below = self.gear_mps[..GEARS - 1]
            .iter()
            .filter(|&&top| speed_mps >= top);
        1 + below.count()
    }

    /// Revs over the greatest, 0 to 1.
    fn revs(&self, speed_mps: f64) -> f64 {
        speed_mps / self.gear_mps[self.gear(speed_mps) - 1]
    }

    /// Drive at full throttle, N: power over speed, less away from full revs in the gear, and
    /// never more than the driven wheels carry.
    pub fn drive_n(&self, speed_mps: f64) -> f64 {
        let slack = 1.0 - self.revs(speed_mps);
        let power = self.power_w * (1.0 - 0.9 * slack * slack).max(0.2);
        (power / speed_mps.max(5.0)).min(self.driven * self.grip_long_n(speed_mps))
    }

    /// Engine braking off the throttle, N: grows with revs and with the gear's shortness.
    pub fn engine_brake_n(&self, speed_mps: f64) -> f64 {
        let top = self.gear_mps[self.gear(speed_mps) - 1];
        self.engine_brake_n * self.revs(speed_mps) * (self.gear_mps[GEARS - 1] / top).sqrt()
    }

    /// Acceleration off both pedals on a slope, m/s² (negative on the level).
    pub fn coast_mps2(&self, speed_mps: f64, slope: f64) -> f64 {
        -(self.resistance_n(speed_mps) + self.engine_brake_n(speed_mps)) / self.mass_kg
            - GRAVITY_MPS2 * slope
    }

    /// The fastest a curvature can be driven, m/s, using a share of the grip; `cap` when there is
    /// no limit.
    pub fn corner_mps(&self, curvature_pm: f64, share: f64, cap: f64) -> f64 {
        let grip = share * self.grip_lat;
        let left = curvature_pm.abs() - grip * self.downforce_kgpm / self.mass_kg;
        if left <= 1e-9 {
            return cap;
        }
        (grip * GRAVITY_MPS2 / left).sqrt().min(cap)
    }
}

/// Where the car is and how it moves, relative to the circuit's line.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Motion {
    /// Progress from the start line, metres, not wrapped.
    pub progress_m: f64,
    /// Metres left of the line.
    pub offset_m: f64,
    /// Direction of travel relative to the line, radians, left positive.
    pub aslant_rad: f64,
    /// Speed, m/s.
    pub speed_mps: f64,
    /// Braking force that has built up, N.
    pub braking_n: f64,
    /// Curvature the steering has taken up, 1/m.
    pub steered_pm: f64,
}

/// What the driver asks of the car.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Controls {
    /// Brake pedal, 0 to 1.
    pub brake: f64,
    /// Throttle pedal, 0 to 1.
    pub throttle: f64,
    /// Curvature of the path steered for, 1/m, left positive.
    pub curvature_pm: f64,
    /// True while the drive is off for a change of gear.
    pub shifting: bool,
}

/// What came of it over one step.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Felt {
    /// Acceleration along the path, m/s².
    pub long_mps2: f64,
    /// Acceleration across the path, m/s², left positive.
    pub lat_mps2: f64,
    /// How much of the friction ellipse was asked for; above 1 the car slides.
    pub asked: f64,
    /// How much was used, at most 1.
    pub used: f64,
}

impl Car {
    /// Moves the car by `dt_s`. Second-order in the step: speeds are averaged over it.
    pub fn step(&self, circuit: &Circuit, m: &mut Motion, c: &Controls, dt_s: f64) -> Felt {
        let v = m.speed_mps;
        m.braking_n = lagged(m.braking_n, c.brake * self.brake_n, self.brake_lag_s, dt_s);
        m.steered_pm = lagged(m.steered_pm, c.curvature_pm, self.steer_lag_s, dt_s);
        let drive = if c.shifting {
            0.0
        } else {
            c.throttle * self.drive_n(v)
        };
        let engine_brake = (1.0 - c.throttle).max(0.0) * self.engine_brake_n(v);
        let along = drive - engine_brake - m.braking_n;
        let across = self.mass_kg * v * v * m.steered_pm;
        let (x, y) = (along / self.grip_long_n(v), across / self.grip_lat_n(v));
        let asked = (x * x + y * y).sqrt();
        let scale = if asked > 1.0 { 1.0 / asked } else { 1.0 };
        let slope = circuit.slope(m.progress_m);
        let long_mps2 =
            (along * scale - self.resistance_n(v)) / self.mass_kg - GRAVITY_MPS2 * slope;
        // Over the step drag changes with the speed; half of that change makes it second-order.
        let long_mps2 = long_mps2 / (1.0 + self.drag_kgpm * v * dt_s / self.mass_kg);
        let lat_mps2 = across * scale / self.mass_kg;
        let next = (v + long_mps2 * dt_s).max(0.5);
        let mean = 0.5 * (v + next);
        let line_pm = circuit.curvature_pm(m.progress_m);
        let rate = mean * m.aslant_rad.cos() / (1.0 - m.offset_m * line_pm).max(0.2);
        let turned = (lat_mps2 / mean - rate * line_pm) * dt_s;
        m.offset_m += mean * (m.aslant_rad + turned / 2.0).sin() * dt_s;
        m.aslant_rad += turned;
        m.progress_m += rate * dt_s;
        m.speed_mps = next;
        Felt {
            long_mps2,
            lat_mps2,
            asked,
            used: asked.min(1.0),
        }
    }
}

/// A first-order lag over one step: of a ramp it gives a ramp, `lag_s` later.
fn lagged(now: f64, to: f64, lag_s: f64, dt_s: f64) -> f64 {
    // Trapezoidal rule: the delay of a ramp comes out exact.
    let f = (lag_s / dt_s - 0.5).max(0.0);
    to + (now - to) * f / (f + 1.0)
}

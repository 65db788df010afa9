//! What a receiver makes of a drive: samples at its rate, with its errors.

use super::drive::Drive;
use cuepost_engine::sample::{Position, Sample};
use rand::{Rng, RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;

/// Errors and habits of a receiver.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReceiverModel {
    /// Samples a second.
    pub rate_hz: f64,
    /// Standard deviation of the speed's noise, m/s.
    pub speed_sd_mps: f64,
    /// Time constant of that noise; 0 when each sample has its own (white).
    pub speed_tau_s: f64,
    /// Standard deviation of the position's slow wander on each axis, metres.
    pub wander_sd_m: f64,
    /// Time constant of the wander, seconds.
    pub wander_tau_s: f64,
    /// Standard deviation of the position's white noise on each axis, metres.
    pub position_sd_m: f64,
    /// How far speed and course are behind the position, seconds.
    pub speed_lag_s: f64,
    /// Whether the direction of travel is told.
    pub course: bool,
    /// Whether pedals, steering and gear are told (a car's bus or a simulator).
    pub pedals: bool,
    /// Gaps a minute on average.
    pub gaps_per_min: f64,
    /// How long each gap is, seconds.
    pub gap_s: f64,
    /// What positions are given in.
    pub plane: Plane,
}

/// What positions are given in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Plane {
    /// Millimetres in the circuit's own plane.
    Local,
    /// Degrees, with the circuit's origin at this place.
    Geodetic {
        /// Latitude, degrees.
        lat_deg: f64,
        /// Longitude, degrees.
        lon_deg: f64,
    },
}

impl ReceiverModel {
    /// A good receiver without errors.
    pub const fn perfect(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            speed_sd_mps: 0.0,
            speed_tau_s: 0.0,
            wander_sd_m: 0.0,
            wander_tau_s: 300.0,
            position_sd_m: 0.0,
            speed_lag_s: 0.0,
            course: true,
            pedals: false,
            gaps_per_min: 0.0,
            gap_s: 0.0,
            plane: Plane::Local,
        }
    }

    /// A usual receiver: 0.05 m/s of speed noise, a metre of slow wander, centimetres of noise.
    pub const fn usual(rate_hz: f64) -> Self {
        Self {
            speed_sd_mps: 0.05,
            wander_sd_m: 1.0,
            position_sd_m: 0.03,
            ..Self::perfect(rate_hz)
        }
    }

    /// The same with pedals, steering and gear.
    pub const fn with_pedals(self) -> Self {
        Self {
            pedals: true,
            ..self
        }
    }
}

/// What a receiver would have sent of a drive. The same seed, the same samples.
pub fn sample(drive: &Drive, model: &ReceiverModel, seed: u64) -> Vec<Sample> {
    let mut rng = Pcg64::seed_from_u64(seed ^ 0x5eed_0f5a_a95e_ed01);
    let mut errors = Errors::new(model, &mut rng);
    // A receiver's clock does not know when a lap begins.
    let phase_s = rng.random_range(0.0..1.0) / model.rate_hz;
    let mut gap_until_s = f64::MIN;
    let mut out = Vec::new();
    for i in 0.. {
        let t = model.speed_lag_s + phase_s + i as f64 / model.rate_hz;
        let (Some(now), Some(lagged)) = (drive.at_time(t), drive.at_time(t - model.speed_lag_s))
        else {
            break;
        };
        errors.advance(&mut rng);
        if model.gaps_per_min > 0.0 {
            let chance = model.gaps_per_min / 60.0 / model.rate_hz;
            if t > gap_until_s && rng.random_range(0.0..1.0) < chance {
                gap_until_s = t + model.gap_s;
            }
            if t < gap_until_s {
                continue;
            }
        }
        let white = |rng: &mut Pcg64| model.position_sd_m * normal(rng);
        let east = now.east_m + errors.wander[0] + white(&mut rng);
        let north = now.north_m + errors.wander[1] + white(&mut rng);
        let speed = (lagged.moment.speed_mps + errors.speed).max(0.0);
        let slip = model.speed_sd_mps / lagged.moment.speed_mps.max(1.0) * normal(&mut rng);
        let pedal = |x: f64| model.pedals.then_some(x as f32);
        out.push(Sample {
            time_us: (t * 1e6).round() as u64,
            position: Some(model.plane.position(east, north)),
            speed_mps: Some(speed as f32),
            direction_rad: model.course.then_some((lagged.direction_rad + slip) as f32),
            position_sd_m: Some(model.wander_sd_m.hypot(model.position_sd_m).max(0.01) as f32),
            speed_sd_mps: Some(model.speed_sd_mps.max(0.01) as f32),
            brake: pedal(now.brake),
            throttle: pedal(now.throttle),
            steer: pedal(now.steered_pm),
            gear: model.pedals.then_some(now.gear as i8),
            ..Sample::default()
        });
    }
    out
}

/// Errors that remember.
struct Errors {
    model: ReceiverModel,
    speed: f64,
    wander: [f64; 2],
}

impl Errors {
    fn new(model: &ReceiverModel, rng: &mut Pcg64) -> Self {
        Self {
            model: *model,
            speed: model.speed_sd_mps * normal(rng),
            wander: [
                model.wander_sd_m * normal(rng),
                model.wander_sd_m * normal(rng),
            ],
        }
    }

    fn advance(&mut self, rng: &mut Pcg64) {
        let m = &self.model;
        let next = |x: f64, sd: f64, tau_s: f64, rng: &mut Pcg64| {
            let keep = if tau_s > 0.0 {
                (-1.0 / (m.rate_hz * tau_s)).exp()
            } else {
                0.0
            };
            keep * x + sd * (1.0 - keep * keep).sqrt() * normal(rng)
        };
        self.speed = next(self.speed, m.speed_sd_mps, m.speed_tau_s, rng);
        for axis in &mut self.wander {
            *axis = next(*axis, m.wander_sd_m, m.wander_tau_s, rng);
        }
    }
}

impl Plane {
    /// The position of a place of the circuit's plane.
    pub fn position(&self, east_m: f64, north_m: f64) -> Position {
        match *self {
            Self::Local => Position::Local {
                east_mm: (east_m * 1e3).round() as i64,
                north_mm: (north_m * 1e3).round() as i64,
            },
            Self::Geodetic { lat_deg, lon_deg } => {
                let (lat, lon) = from_plane(lat_deg, lon_deg, east_m, north_m);
                Position::Geodetic {
                    lat_e7: (lat * 1e7).round() as i32,
                    lon_e7: (lon * 1e7).round() as i32,
                }
            }
        }
    }
}

/// Latitude and longitude in degrees of a place in the east/north plane that touches the WGS 84
/// ellipsoid at an origin.
fn from_plane(lat_deg: f64, lon_deg: f64, east_m: f64, north_m: f64) -> (f64, f64) {
    const A: f64 = 6_378_137.0;
    const F: f64 = 1.0 / 298.257_223_563;
    const E2: f64 = F * (2.0 - F);
    let (sin_lat, cos_lat) = lat_deg.to_radians().sin_cos();
    let (sin_lon, cos_lon) = lon_deg.to_radians().sin_cos();
    let n = A / (1.0 - E2 * sin_lat * sin_lat).sqrt();
    let x = n * cos_lat * cos_lon - sin_lon * east_m - sin_lat * cos_lon * north_m;
    let y = n * cos_lat * sin_lon + cos_lon * east_m - sin_lat * sin_lon * north_m;
    let z = n * (1.0 - E2) * sin_lat + cos_lat * north_m;
    let p = x.hypot(y);
    // Fixed-point iteration; each step gains more than two digits near the ellipsoid.
    let mut lat = z.atan2(p * (1.0 - E2));
    for _ in 0..6 {
        let sin = lat.sin();
        let n = A / (1.0 - E2 * sin * sin).sqrt();
        lat = (z + E2 * n * sin).atan2(p);
    }
    (lat.to_degrees(), y.atan2(x).to_degrees())
}

/// A standard normal number.
fn normal(rng: &mut impl Rng) -> f64 {
    StandardNormal.sample(rng)
}

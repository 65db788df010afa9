//! How large a deviation must be before it is told, and how the voice behaves.

mod check;

pub use check::{ConfigFault, FILE_MAX, MAGIC, VERSION};

use heapless::Vec;
use serde::{Deserialize, Serialize};

/// How many corners may have thresholds of their own.
pub const OVERRIDES_MAX: usize = 32;

/// The deviations from the reference below which nothing is said. Facts never depend on them.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Thresholds {
    /// Brake onset, metres. Range 0.5 to 200.
    pub brake_m: f32,
    /// Mean deceleration, fraction of the reference's. Range 0.01 to 1.
    pub decel_ratio: f32,
    /// Trail length, metres. Range 0.5 to 200.
    pub trail_m: f32,
    /// Slowest speed, m/s. Range 0.1 to 20.
    pub slowest_mps: f32,
    /// Offset at the slowest point and the exit, metres. Range 0.1 to 20.
    pub offset_m: f32,
    /// Throttle onset, metres. Range 0.5 to 200.
    pub throttle_m: f32,
    /// Full-throttle point, metres. Range 0.5 to 300.
    pub full_m: f32,
    /// Time lost by lifting once on the throttle, seconds. Range 0.005 to 2.
    pub lift_s: f32,
    /// Time coasted between brake and throttle beyond the reference's, seconds. Range 0.05 to 5.
    pub coast_s: f32,
    /// The least loss of a corner worth telling, seconds. Range 0 to 5.
    pub loss_s: f32,
    /// The least gain of a corner called better, seconds. Range 0.01 to 5.
    pub better_s: f32,
}

impl Thresholds {
    /// What a coach would begin with at a car-like grip: about a car's length of road, a tenth of
    /// the deceleration, a metre per second of speed. Common practice, no source.
    pub const DEFAULT: Self = Self {
        brake_m: 6.0,
        decel_ratio: 0.12,
        trail_m: 10.0,
        slowest_mps: 1.0,
        offset_m: 2.0,
        throttle_m: 8.0,
        full_m: 15.0,
        lift_s: 0.05,
        coast_s: 0.3,
        loss_s: 0.05,
        better_s: 0.12,
    };
}

impl Default for Thresholds {
    fn default() -> Self {
        Self::DEFAULT
    }
}

/// Which corners the voice speaks of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Focus {
    /// Every corner.
    #[default]
    Every,
    /// Only the costliest corner until it is mended, then the next; nothing before every corner has
    /// been seen.
    One,
}

/// Everything that can be set. Validated once by [`Config::validate`], then immutable.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Config {
    /// For every corner without thresholds of its own.
    pub thresholds: Thresholds,
    /// Corner number and the thresholds that hold there.
    pub overrides: Vec<(u8, Thresholds), OVERRIDES_MAX>,
    /// Which corners are spoken of.
    pub focus: Focus,
}

impl Config {
    /// The thresholds that hold for a corner.
    pub fn at(&self, corner: u8) -> &Thresholds {
        self.overrides
            .iter()
            .find(|(c, _)| *c == corner)
            .map_or(&self.thresholds, |(_, t)| t)
    }
}

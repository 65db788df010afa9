//! What a source delivers: one instant of the car.

use serde::{Deserialize, Serialize};

/// One instant of the car as its source saw it. Unknown is `None`, never zero.
///
/// Axes follow ISO 8855: x forward, y left, z up; yaw and curvature positive to the left.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Sample {
    /// Source time in microseconds, monotonic within a session. Not arrival time.
    pub time_us: u64,
    /// Where the car is; `None` while the source has no fix.
    pub position: Option<Position>,
    /// Ground speed in m/s, never negative.
    pub speed_mps: Option<f32>,
    /// Direction of travel in radians counter-clockwise from east, any turn count.
    pub direction_rad: Option<f32>,
    /// Standard deviation of the position per axis, metres, as the source states it.
    pub position_sd_m: Option<f32>,
    /// Standard deviation of the speed, m/s, as the source states it.
    pub speed_sd_mps: Option<f32>,
    /// Longitudinal acceleration, m/s², positive when gaining speed.
    pub long_acc_mps2: Option<f32>,
    /// Lateral acceleration, m/s², positive to the left.
    pub lat_acc_mps2: Option<f32>,
    /// Yaw rate, rad/s, positive to the left.
    pub yaw_rate_rps: Option<f32>,
    /// Brake pedal, 0 released to 1 full.
    pub brake: Option<f32>,
    /// Throttle pedal, 0 released to 1 full.
    pub throttle: Option<f32>,
    /// Steering, in the source's own unit, positive to the left.
    pub steer: Option<f32>,
    /// Gear: -1 reverse, 0 neutral, 1 and up forward.
    pub gear: Option<i8>,
}

/// A position in one of the two forms sources have, exact in integers.
///
/// Floating-point degrees would be off by more than a metre at f32; the engine subtracts the
/// reference's origin in integers first ([`crate::reference::Frame::locate`]).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Position {
    /// WGS 84 latitude and longitude in units of 1e-7 degree, north and east positive.
    Geodetic {
        /// Latitude, 1e-7 degree, north positive.
        lat_e7: i32,
        /// Longitude, 1e-7 degree, east positive.
        lon_e7: i32,
    },
    /// Plane coordinates of a simulator or survey, millimetres east and north of its own origin.
    Local {
        /// Millimetres east.
        east_mm: i64,
        /// Millimetres north.
        north_mm: i64,
    },
}

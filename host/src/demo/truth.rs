//! What really happened: the dense trace of a drive and the record of each passage of a corner.

use super::fault::Fault;
use cuepost_engine::reference::CornerKind;

/// A moment of the drive.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Moment {
    /// Seconds from the beginning of the drive.
    pub time_s: f64,
    /// Metres along the drive: progress from the start line of lap 1, not wrapped, negative in the
    /// run-up.
    pub along_m: f64,
    /// Speed then, m/s.
    pub speed_mps: f64,
}

/// Everything about the car at one instant.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Instant {
    /// When, where and how fast.
    pub moment: Moment,
    /// Metres left of the line.
    pub offset_m: f64,
    /// Metres east.
    pub east_m: f64,
    /// Metres north.
    pub north_m: f64,
    /// Direction of travel, radians counter-clockwise from east, not wrapped.
    pub direction_rad: f64,
    /// Acceleration along the path, m/s².
    pub long_mps2: f64,
    /// Acceleration across the path, m/s², left positive.
    pub lat_mps2: f64,
    /// Share of the friction ellipse asked for; above 1 the car slides.
    pub asked: f64,
    /// Curvature steered for, 1/m, left positive.
    pub steered_pm: f64,
    /// Brake pedal, 0 to 1.
    pub brake: f64,
    /// Throttle pedal, 0 to 1.
    pub throttle: f64,
    /// Gear, from 1.
    pub gear: u8,
}

/// What really happened in one passage of one corner.
#[derive(Clone, Debug, PartialEq)]
pub struct Passage {
    /// Lap, from 1; 0 in the run-up.
    pub lap: u16,
    /// Corner, from 1, in the plan's numbering.
    pub corner: u8,
    /// How it was driven.
    pub kind: CornerKind,
    /// What was planted.
    pub fault: Option<Fault>,
    /// Half way down the throttle before the corner (lifted or braked).
    pub lift: Option<Moment>,
    /// Half way up the brake pedal's ramp, plus the lag of the brakes: where the lines of speed
    /// before and after meet.
    pub brake: Option<Moment>,
    /// Greatest deceleration over 0.1 s, m/s².
    pub peak_decel_mps2: f64,
    /// Brake pedal below a twentieth of its greatest.
    pub release: Option<Moment>,
    /// The slowest moment.
    pub slowest: Moment,
    /// Offset from the line then, metres, left positive.
    pub offset_slowest_m: f64,
    /// Half way up the throttle's first ramp, for the touch after which it stayed on (lifts once
    /// it was on do not count).
    pub throttle: Option<Moment>,
    /// Full throttle first reached.
    pub full: Option<Moment>,
    /// When it was first left again.
    pub lifted: Option<Moment>,
    /// Lifts once on the throttle.
    pub lifts: u8,
    /// The end of the bend: speed and time.
    pub exit: Moment,
    /// Offset from the line there, metres, left positive.
    pub offset_exit_m: f64,
    /// Farthest from the meant path, metres, outside positive.
    pub widest_m: f64,
    /// Seconds during which more than the grip was asked for.
    pub sliding_s: f64,
}

impl Passage {
    /// Seconds between brake release and throttle, when both are there.
    pub fn coast_s(&self) -> Option<f64> {
        Some(self.throttle?.time_s - self.release?.time_s)
    }
}

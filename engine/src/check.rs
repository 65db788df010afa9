//! Ranges of what comes in from outside: what is not finite or absurd is refused by its field's
//! name, never passed on as a number.
//!
//! The ranges say what any car, circuit or source can have; the gate and the thresholds are
//! narrower where they need to be.

use crate::cue::{Cue, Size};
use crate::event::{HealthEvent, LapEvent, PaceEvent, PhaseEvent};
use crate::facts::{Facts, Measured};
use crate::sample::{Position, Sample};

/// The name of the field that is out of range.
pub type Field = &'static str;

/// Latest source time, microseconds: 285 years, and exact as a JSON number.
pub const TIME_MAX_US: u64 = 1 << 53;
/// Fastest ground speed, m/s.
pub const SPEED_MAX_MPS: f32 = 200.0;
/// Longest way along a line, metres.
pub const PROGRESS_MAX_M: f32 = 100_000.0;
/// Longest lap and largest loss, seconds.
pub const LAP_MAX_S: f32 = 3600.0;
/// Largest acceleration, m/s².
pub const ACCELERATION_MAX_MPS2: f32 = 200.0;
/// Farthest a plane position is from the plane's origin, millimetres (10,000 km).
pub const LOCAL_MAX_MM: i64 = 10_000_000_000;

/// Refuses what is not within the range; NaN never is.
pub(crate) fn within(field: Field, x: f32, least: f32, most: f32) -> Result<(), Field> {
    if x >= least && x <= most {
        Ok(())
    } else {
        Err(field)
    }
}

/// The same for a value that may be unknown.
pub(crate) fn maybe(field: Field, x: Option<f32>, least: f32, most: f32) -> Result<(), Field> {
    x.map_or(Ok(()), |x| within(field, x, least, most))
}

/// Refuses a false statement.
pub(crate) fn holds(field: Field, truth: bool) -> Result<(), Field> {
    if truth { Ok(()) } else { Err(field) }
}

/// Refuses text with letters that would move a terminal's cursor.
pub(crate) fn words(field: Field, text: &str) -> Result<(), Field> {
    holds(field, !text.chars().any(char::is_control))
}

fn time(us: u64) -> Result<(), Field> {
    holds("time_us", us <= TIME_MAX_US)
}

fn progress(m: f32) -> Result<(), Field> {
    within("progress_m", m, -PROGRESS_MAX_M, PROGRESS_MAX_M)
}

/// Something with ranges.
pub trait Check {
    /// Ok, or the name of the first field out of range.
    fn check(&self) -> Result<(), Field>;
}

impl Check for Sample {
    fn check(&self) -> Result<(), Field> {
        let acc = ACCELERATION_MAX_MPS2;
        time(self.time_us)?;
        match self.position {
            Some(Position::Geodetic { lat_e7, lon_e7 }) => {
                holds("lat_e7", (-900_000_000..=900_000_000).contains(&lat_e7))?;
                holds("lon_e7", (-1_800_000_000..=1_800_000_000).contains(&lon_e7))?;
            }
            Some(Position::Local { east_mm, north_mm }) => {
                holds("east_mm", (-LOCAL_MAX_MM..=LOCAL_MAX_MM).contains(&east_mm))?;
                holds(
                    "north_mm",
                    (-LOCAL_MAX_MM..=LOCAL_MAX_MM).contains(&north_mm),
                )?;
            }
            None => {}
        }
        maybe("speed_mps", self.speed_mps, 0.0, SPEED_MAX_MPS)?;
        maybe("direction_rad", self.direction_rad, -1e4, 1e4)?;
        maybe("position_sd_m", self.position_sd_m, 0.0, 1e8)?;
        maybe("speed_sd_mps", self.speed_sd_mps, 0.0, 1e6)?;
        maybe("long_acc_mps2", self.long_acc_mps2, -acc, acc)?;
        maybe("lat_acc_mps2", self.lat_acc_mps2, -acc, acc)?;
        maybe("yaw_rate_rps", self.yaw_rate_rps, -50.0, 50.0)?;
        maybe("brake", self.brake, 0.0, 1.0)?;
        maybe("throttle", self.throttle, 0.0, 1.0)?;
        maybe("steer", self.steer, -1e6, 1e6)
    }
}

impl Check for Size {
    fn check(&self) -> Result<(), Field> {
        match *self {
            Self::Metres(x) => within("size", x, 0.0, PROGRESS_MAX_M),
            Self::Speed(x) => within("size", x, 0.0, SPEED_MAX_MPS),
            Self::Deceleration(x) => within("size", x, 0.0, ACCELERATION_MAX_MPS2),
            Self::Seconds(x) => within("size", x, 0.0, LAP_MAX_S),
        }
    }
}

impl Check for Cue {
    fn check(&self) -> Result<(), Field> {
        holds("corner", self.corner >= 1)?;
        self.size.check()?;
        maybe("size_s", self.size_s, 0.0, LAP_MAX_S)?;
        maybe("loss_s", self.loss_s, -LAP_MAX_S, LAP_MAX_S)?;
        time(self.time_us)?;
        progress(self.progress_m)
    }
}

impl Check for PhaseEvent {
    fn check(&self) -> Result<(), Field> {
        time(self.time_us)?;
        progress(self.progress_m)
    }
}

impl Check for LapEvent {
    fn check(&self) -> Result<(), Field> {
        time(self.time_us)?;
        holds("end_us", self.end_us <= TIME_MAX_US)?;
        maybe("gap_s", self.gap_s, -1e6, 1e6)
    }
}

impl Check for HealthEvent {
    fn check(&self) -> Result<(), Field> {
        time(self.time_us)
    }
}

impl Check for PaceEvent {
    fn check(&self) -> Result<(), Field> {
        within("ratio", self.ratio, 0.01, 100.0)?;
        time(self.time_us)
    }
}

impl Check for Facts {
    fn check(&self) -> Result<(), Field> {
        let (way, speed, acc) = (PROGRESS_MAX_M, SPEED_MAX_MPS, ACCELERATION_MAX_MPS2);
        holds("corner", self.corner >= 1)?;
        measured("brake_m", &self.brake_m, -way, way)?;
        measured("brake_mps", &self.brake_mps, 0.0, speed)?;
        measured("peak_decel_mps2", &self.peak_decel_mps2, -acc, acc)?;
        measured("mean_decel_mps2", &self.mean_decel_mps2, -acc, acc)?;
        measured("turn_in_m", &self.turn_in_m, -way, way)?;
        measured("release_m", &self.release_m, -way, way)?;
        measured("trail_m", &self.trail_m, -way, way)?;
        measured("slowest_m", &self.slowest_m, -way, way)?;
        measured("slowest_mps", &self.slowest_mps, 0.0, speed)?;
        measured("slowed_mps", &self.slowed_mps, 0.0, speed)?;
        measured("throttle_m", &self.throttle_m, -way, way)?;
        measured("full_m", &self.full_m, -way, way)?;
        measured("lift_s", &self.lift_s, -LAP_MAX_S, LAP_MAX_S)?;
        measured("dip_mps", &self.dip_mps, -speed, speed)?;
        measured("missing_m", &self.missing_m, -way, way)?;
        measured("coast_s", &self.coast_s, -LAP_MAX_S, LAP_MAX_S)?;
        measured("offset_begin_m", &self.offset_begin_m, -way, way)?;
        measured("offset_slowest_m", &self.offset_slowest_m, -way, way)?;
        measured("offset_exit_m", &self.offset_exit_m, -way, way)?;
        measured("exit_mps", &self.exit_mps, 0.0, speed)?;
        measured("loss_entry_s", &self.loss_entry_s, -LAP_MAX_S, LAP_MAX_S)?;
        measured("loss_middle_s", &self.loss_middle_s, -LAP_MAX_S, LAP_MAX_S)?;
        measured("loss_exit_s", &self.loss_exit_s, -LAP_MAX_S, LAP_MAX_S)
    }
}

/// A call of its own: two dozen of it in place are 1 KB of a board's code.
#[inline(never)]
fn measured(field: Field, x: &Option<Measured>, least: f32, most: f32) -> Result<(), Field> {
    let Some(x) = x else { return Ok(()) };
    within(field, x.value, least, most)?;
    within(field, x.sd, 0.0, PROGRESS_MAX_M)
}

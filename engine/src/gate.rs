//! Admits samples or names why not.
//!
//! Nothing behind the gate ever sees a value that is not finite, a time that does not rise or a
//! position no car could have reached.

use crate::event::{HealthState, Why};
use crate::reference::Frame;
use crate::sample::Sample;

/// Why a sample was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Refusal {
    /// A value was not finite or physically absurd.
    NotFinite,
    /// The source had no fix or no speed.
    NoFix,
    /// Older than the newest admitted sample.
    Backward,
    /// The same time as the newest admitted sample.
    Repeated,
    /// Farther from the last position than any car drives, or nowhere near the circuit.
    Leap,
    /// The same position and speed for 0.5 s above 3 m/s.
    Frozen,
    /// The source's own accuracy is too poor.
    Inaccurate,
}

/// Kinds of [`Refusal`].
pub const REFUSALS: usize = 7;

/// A sample the later stages may believe.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Admitted {
    /// Source time, microseconds.
    pub time_us: u64,
    /// Seconds since the admitted sample before; 0 for the first one after a restart.
    pub dt_s: f32,
    /// Metres east of the frame's origin.
    pub east_m: f32,
    /// Metres north of the frame's origin.
    pub north_m: f32,
    /// Ground speed, m/s.
    pub speed_mps: f32,
    /// Direction of travel, radians counter-clockwise from east; none below 3 m/s.
    pub direction_rad: Option<f32>,
    /// Yaw rate where the source has it, rad/s, left positive.
    pub yaw_rate_rps: Option<f32>,
    /// Brake pedal 0..1 where the source has it.
    pub brake: Option<f32>,
    /// Throttle pedal 0..1 where the source has it.
    pub throttle: Option<f32>,
    /// Speed noise where the source states it, m/s.
    pub speed_sd_mps: Option<f32>,
    /// True when more than 0.5 s of samples are missing before this one: nothing may be measured
    /// across it.
    pub broken: bool,
}

/// The gate's memory.
#[derive(Clone, Debug, Default)]
pub struct Gate {
    /// Refused samples by [`Refusal`], in the order of the enum.
    pub refused: [u32; REFUSALS],
}

impl Gate {
    /// Admits the sample or says why not.
    pub fn admit(&mut self, _frame: &Frame, _sample: &Sample) -> Result<Admitted, Refusal> {
        Err(Refusal::NoFix)
    }

    /// What the gate thinks of its input now.
    pub fn health(&self) -> (HealthState, Why) {
        (HealthState::Lost, Why::Searching)
    }
}

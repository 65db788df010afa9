//! What was measured of one passage of one corner, each value with its uncertainty.

mod behind;
mod deceleration;
#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod passage;
mod passages;
mod slowest;
mod spans;
mod sure;

pub use passage::Passage;
pub use passages::Passages;
pub use spans::{NextBrake, Spans, TURN_IN_LEAST_MPS2};

use crate::reference::CornerKind;
use serde::{Deserialize, Serialize};

/// A measured value and its standard deviation, both in the unit its field name states.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// The value.
    pub value: f32,
    /// One standard deviation of the measurement (not of the driver), never negative.
    pub sd: f32,
}

impl Measured {
    /// A value with its standard deviation.
    pub const fn new(value: f32, sd: f32) -> Self {
        Self { value, sd }
    }
}

/// The facts of one passage. `None` is unknown or not applicable: a lifted corner has no release.
///
/// All `*_m` onsets are progress in metres from the start line along the reference.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Facts {
    /// Lap the corner was driven in; 0 before the first crossing.
    pub lap: u16,
    /// Corner, from 1.
    pub corner: u8,
    /// How the driver took it this time.
    pub kind: CornerKind,
    /// False when a gap, leap or state other than `Ok` fell into the corner: not to be judged.
    pub usable: bool,
    /// Where braking (or the lift, for lifted corners) began: the kink of the speed trace.
    pub brake_m: Option<Measured>,
    /// Speed at that point, m/s.
    pub brake_mps: Option<Measured>,
    /// Largest sustained deceleration, m/s², positive.
    pub peak_decel_mps2: Option<Measured>,
    /// Mean fully developed deceleration over the middle of the braking (UN R13-H form), m/s².
    pub mean_decel_mps2: Option<Measured>,
    /// Where the car began to turn into the corner.
    pub turn_in_m: Option<Measured>,
    /// Where the brake was released.
    pub release_m: Option<Measured>,
    /// Road covered on the brake while turning, metres.
    pub trail_m: Option<Measured>,
    /// Where the car was slowest.
    pub slowest_m: Option<Measured>,
    /// The slowest speed, m/s.
    pub slowest_mps: Option<Measured>,
    /// Speed where the reference is slowest or takes up throttle, whichever comes first, m/s: lower
    /// here means over-slowed, not just late back on the throttle.
    pub slowed_mps: Option<Measured>,
    /// Where throttle was taken up for good: the kink of the speed trace.
    pub throttle_m: Option<Measured>,
    /// Where full throttle was reached.
    pub full_m: Option<Measured>,
    /// Lifts after the throttle was taken up.
    pub lifts: u8,
    /// Seconds lost to those lifts against staying on the drive the car had before each of them.
    pub lift_s: Option<Measured>,
    /// The most speed lost to the reference from the corner's begin to its exit, m/s.
    pub dip_mps: Option<Measured>,
    /// Metres of full drive that the car lacks, from where both it and the reference were on the
    /// throttle: a foot slow to come down, or held back. Counted for 3 s, lifts left out.
    pub missing_m: Option<Measured>,
    /// Seconds between brake release and throttle with neither.
    pub coast_s: Option<Measured>,
    /// Offset from the reference line before the bend, metres, left positive.
    pub offset_begin_m: Option<Measured>,
    /// Offset from the reference line at the slowest point, metres, left positive.
    pub offset_slowest_m: Option<Measured>,
    /// Offset from the reference line at the corner's exit, metres, left positive.
    pub offset_exit_m: Option<Measured>,
    /// Speed at the corner's exit point, m/s.
    pub exit_mps: Option<Measured>,
    /// Seconds lost to the reference from the corner's begin to its middle.
    pub loss_entry_s: Option<Measured>,
    /// Seconds lost in its middle.
    pub loss_middle_s: Option<Measured>,
    /// Seconds lost from its middle to the next corner's begin, the straight included.
    pub loss_exit_s: Option<Measured>,
}

impl Facts {
    /// Seconds lost in the whole corner, the straight after it included; `None` when a part is
    /// unknown.
    pub fn loss_s(&self) -> Option<f32> {
        Some(self.loss_entry_s?.value + self.loss_middle_s?.value + self.loss_exit_s?.value)
    }

    /// These facts of a corner that is not slowed for: what belongs to a braking or a lift is not
    /// there.
    pub fn flat(self) -> Self {
        Self {
            kind: CornerKind::Flat,
            brake_m: None,
            brake_mps: None,
            peak_decel_mps2: None,
            mean_decel_mps2: None,
            release_m: None,
            trail_m: None,
            throttle_m: None,
            full_m: None,
            coast_s: None,
            lifts: 0,
            lift_s: None,
            ..self
        }
    }
}

//! Where on the reference line the car is, and when it crosses the start line.

use crate::event::{HealthState, Why};
use crate::gate::Admitted;
use crate::reference::ReferenceView;

/// Where the car is on the line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Metres from the start line along the reference, in `[0, length)`.
    pub progress_m: f32,
    /// Metres left of the reference line, the day's common offset taken out.
    pub offset_m: f32,
    /// Metres of progress gained since the place before.
    pub step_m: f32,
    /// Direction of travel against the line's, radians, left positive; none without a course.
    pub slip_rad: Option<f32>,
    /// Lap under way, from 1; 0 before the first crossing.
    pub lap: u16,
    /// A forward crossing of the start line between the sample before and this one.
    pub crossing: Option<Crossing>,
    /// Whether the place may be used: anything but `Ok` keeps the voice silent.
    pub state: HealthState,
    /// Why it is not `Ok`.
    pub why: Why,
}

/// A forward crossing of the start line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    /// Interpolated source time, microseconds.
    pub time_us: u64,
    /// The lap it closed; `None` for the first crossing or after a lap that was not whole.
    pub closed: Option<Closed>,
}

/// A lap that a crossing closed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Closed {
    /// Its number.
    pub lap: u16,
    /// Its time, microseconds.
    pub time_us: u64,
    /// Driven whole: no gap, pit lane, standing, wrong way or off-track.
    pub valid: bool,
}

/// The memory of the progress stage.
#[derive(Clone, Debug, Default)]
pub struct Progress {}

impl Progress {
    /// Follows the car to an admitted sample; `None` while lost.
    pub fn advance(&mut self, _line: &ReferenceView<'_>, _at: &Admitted) -> Option<Place> {
        None
    }
}

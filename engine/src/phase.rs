//! What the driver's right foot and the wheel do: brake, coast, drive, turn, each change dated back.
//!
//! A coarse detector on the moments says that something began or ended; [`crate::onset`] dates it
//! on the raw speeds. Brakings less than [`JOIN_S`] apart are one; one that takes off less than
//! [`BRAKING_LEAST_MPS`] is a dab and says nothing about a corner. A touch of throttle counts when
//! it lasts [`HOLD_S`].

#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod alarm;
#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod brake;
#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod date;
mod drive;
mod foot;
#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod turn;

pub use brake::{BRAKING_LEAST_MPS, JOIN_S};
pub use drive::HOLD_S;

use crate::motion::Moment;
use crate::onset::Instant;
use crate::trace::Trace;
use heapless::Vec;

/// Most changes one moment can bring to light: a turn, a braking told as it ends and its release,
/// and one of the throttle.
pub const CHANGES_MAX: usize = 4;

/// A change of phase, dated back to when it truly happened.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Change {
    /// Braking began.
    Brake(Instant),
    /// Braking ended for good.
    Release(Instant),
    /// The car began to turn into a bend.
    TurnIn(Instant),
    /// Throttle was taken up.
    Throttle(Instant),
    /// Throttle was touched, and left again before it counted as taken up.
    Touch(Instant),
    /// Full throttle was reached.
    Full(Instant),
    /// The throttle was left for longer than a gear change takes.
    LiftOff(Instant),
    /// Throttle again after a [`Change::LiftOff`] without braking; speed lost by the lift, m/s.
    DriveAgain(Instant, f32),
}

/// What the driver does at the moment, as far as it can be known by now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Doing {
    /// Has begun to brake, be it too short to be dated yet, or let go less than the joining time ago.
    pub braking: bool,
    /// On the throttle, be it only for an instant yet.
    pub driving: bool,
    /// Throttle taken up and held.
    pub settled: bool,
}

/// The memory of the phase stage.
#[derive(Clone, Debug, Default)]
pub struct Phases {
    foot: foot::Foot,
    turn: turn::Turn,
}

impl Phases {
    /// Takes the next moment and adds the changes it brings to light; `turn_mps2` is the lateral
    /// acceleration that counts as turning into the bend ahead.
    #[inline(never)]
    pub fn push(
        &mut self,
        trace: &Trace,
        now: &Moment,
        turn_mps2: f32,
        changes: &mut Vec<Change, CHANGES_MAX>,
    ) {
        self.turn.push(now, turn_mps2, changes);
        self.foot.push(trace, now, changes);
    }

    /// Forgets what was under way: the stream was cut.
    pub fn cut(&mut self) {
        *self = Self::default();
    }

    /// What the driver does now.
    pub fn doing(&self) -> Doing {
        self.foot.doing()
    }
}

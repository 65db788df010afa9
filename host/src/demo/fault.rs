//! What a driver can do wrong in a corner, and how much.

use crate::report::units::{Units, seconds};
use cuepost_engine::reference::CornerKind;

/// A planted deviation from the driver's own good lap. What came of it on the road is in the
/// truth record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// What is done wrong; the name says the direction.
    pub kind: FaultKind,
    /// How much, positive, in the unit of the kind.
    pub size: f64,
}

/// The kinds of [`Fault`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FaultKind {
    /// Brakes sooner, at the same deceleration, then rolls into the corner. Metres of road.
    BrakeEarly,
    /// Brakes later and carries too much speed into the corner. Metres of road.
    BrakeLate,
    /// Brakes less hard and, knowing it, sooner. Share of the deceleration.
    BrakeSoft,
    /// Brakes harder from the same place and is slow too soon. Share of the deceleration.
    BrakeHard,
    /// Is off the brake sooner and rolls to the apex. Metres of road.
    TrailShort,
    /// Stays on the brake past the apex and takes the throttle later. Metres of road.
    TrailLong,
    /// Slows down too much, from the same brake point; the exit is still good. m/s.
    OverSlow,
    /// Slows down too little and is too fast in the middle. m/s.
    TooFast,
    /// Passes the middle too far outside. Metres.
    Wide,
    /// Turns in so as to pass the middle too far inside. Metres.
    Tight,
    /// Rolls with neither pedal between brake and throttle. Seconds more than usual.
    Coast,
    /// Takes the throttle later. Metres of road.
    ThrottleLate,
    /// Takes the throttle before the grip allows it. Metres of road.
    ThrottleEarly,
    /// Lifts once on the throttle. Seconds off it.
    LiftAfter,
    /// Feeds the throttle in slowly: full is reached later. Metres of road.
    SlowToFull,
    /// Leaves road unused at the exit. Metres.
    ExitUnused,
    /// Lifts where none is needed, or sooner than needed in a lifted corner. Seconds.
    Lift,
    /// No fault: drives the corner faster than the reference, within the grip. m/s.
    Faster,
}

impl FaultKind {
    /// All kinds.
    pub const ALL: [Self; 18] = [
        Self::BrakeEarly,
        Self::BrakeLate,
        Self::BrakeSoft,
        Self::BrakeHard,
        Self::TrailShort,
        Self::TrailLong,
        Self::OverSlow,
        Self::TooFast,
        Self::Wide,
        Self::Tight,
        Self::Coast,
        Self::ThrottleLate,
        Self::ThrottleEarly,
        Self::LiftAfter,
        Self::SlowToFull,
        Self::ExitUnused,
        Self::Lift,
        Self::Faster,
    ];

    /// A fault of this kind and size.
    pub const fn of(self, size: f64) -> Fault {
        Fault { kind: self, size }
    }

    /// What it is called on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::BrakeEarly => "brake-early",
            Self::BrakeLate => "brake-late",
            Self::BrakeSoft => "brake-soft",
            Self::BrakeHard => "brake-hard",
            Self::TrailShort => "trail-short",
            Self::TrailLong => "trail-long",
            Self::OverSlow => "over-slow",
            Self::TooFast => "too-fast",
            Self::Wide => "wide",
            Self::Tight => "tight",
            Self::Coast => "coast",
            Self::ThrottleLate => "throttle-late",
            Self::ThrottleEarly => "throttle-early",
            Self::LiftAfter => "lift-after",
            Self::SlowToFull => "slow-to-full",
            Self::ExitUnused => "exit-unused",
            Self::Lift => "lift",
            Self::Faster => "faster",
        }
    }

    /// The kind of a name on the command line.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|k| k.name() == name)
    }

    /// The unit its size is in.
    pub const fn unit(self) -> Unit {
        match self {
            Self::BrakeSoft | Self::BrakeHard => Unit::Share,
            Self::OverSlow | Self::TooFast | Self::Faster => Unit::Speed,
            Self::Coast | Self::LiftAfter | Self::Lift => Unit::Seconds,
            _ => Unit::Metres,
        }
    }

    /// Whether it can be done in a corner that is taken this way.
    pub const fn fits(self, kind: CornerKind) -> bool {
        match self {
            Self::BrakeEarly
            | Self::BrakeLate
            | Self::BrakeSoft
            | Self::BrakeHard
            | Self::TrailShort
            | Self::TrailLong
            | Self::OverSlow
            | Self::TooFast
            | Self::Coast
            | Self::Faster => matches!(kind, CornerKind::Braked),
            Self::ThrottleLate | Self::ThrottleEarly | Self::SlowToFull => {
                !matches!(kind, CornerKind::Flat)
            }
            Self::Lift => !matches!(kind, CornerKind::Braked),
            Self::Wide | Self::Tight | Self::ExitUnused | Self::LiftAfter => true,
        }
    }
}

/// What the size of a fault is measured in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Metres.
    Metres,
    /// Metres per second.
    Speed,
    /// Seconds.
    Seconds,
    /// A share of the usual.
    Share,
}

impl Fault {
    /// Its name and its size in the units of a person.
    pub fn words(self, units: Units) -> String {
        let size = match self.kind.unit() {
            Unit::Metres => units.length(self.size),
            Unit::Speed => units.speed(self.size),
            Unit::Seconds => seconds(self.size),
            Unit::Share => format!("{:.0} %", 100.0 * self.size),
        };
        format!("{} {size}", self.kind.name())
    }
}

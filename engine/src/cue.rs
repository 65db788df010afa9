//! What is told: an advice for a phase of a corner, its size and its moment.

use serde::{Deserialize, Serialize};

/// The phases of a corner, in the order a driver meets them.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
pub enum Phase {
    /// Between corners, on the throttle.
    #[default]
    Straight,
    /// On the brake, not yet steering into the corner (or lifted, where the corner is lifted for).
    Brake,
    /// On the brake and steering together.
    Trail,
    /// Off the brake, turning, not yet on throttle.
    Rotation,
    /// On throttle, out of the corner.
    Throttle,
}

impl Phase {
    /// All of them, in their order.
    pub const ALL: [Self; 5] = [
        Self::Straight,
        Self::Brake,
        Self::Trail,
        Self::Rotation,
        Self::Throttle,
    ];

    /// The one word for it, lower case, as every output writes it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Straight => "straight",
            Self::Brake => "brake",
            Self::Trail => "trail",
            Self::Rotation => "rotation",
            Self::Throttle => "throttle",
        }
    }
}

/// What to do differently. The phase says with what.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Advice {
    /// Begin the phase earlier on the road (brake, throttle).
    Sooner,
    /// Begin the phase later on the road (brake, throttle).
    Later,
    /// More deceleration (brake).
    Harder,
    /// Less deceleration (brake).
    Softer,
    /// Keep the phase up over more road (trail).
    Longer,
    /// Keep the phase up over less road (trail).
    Shorter,
    /// A higher slowest speed (rotation).
    Faster,
    /// A lower slowest speed (rotation).
    Slower,
    /// More road on the outside of the bend (rotation).
    Wider,
    /// Nearer to the inside of the bend (rotation).
    Tighter,
    /// Reach full throttle sooner (throttle).
    Fuller,
    /// No lift: once on the throttle, or on the way to a late brake (throttle).
    Steady,
    /// Use the road that is left at the exit (throttle).
    MoreRoad,
    /// Lift less, for corners that need only a lift or none (brake).
    SmallerLift,
    /// The corner was faster than the reference: keep it (whole corner).
    Better,
}

/// The two ways an advice can point on displays too small for words.
///
/// Every display that shows a direction (lamp, strip, sounder, arrows) takes it from
/// [`Advice::way`], so that none of them can disagree with another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Way {
    /// Sooner, or less of it.
    Less,
    /// Later, or more of it.
    More,
    /// Neither: stay as it is.
    Keep,
}

impl Advice {
    /// All of them, in their order.
    pub const ALL: [Self; 15] = [
        Self::Sooner,
        Self::Later,
        Self::Harder,
        Self::Softer,
        Self::Longer,
        Self::Shorter,
        Self::Faster,
        Self::Slower,
        Self::Wider,
        Self::Tighter,
        Self::Fuller,
        Self::Steady,
        Self::MoreRoad,
        Self::SmallerLift,
        Self::Better,
    ];

    /// Whether it asks the driver to brake later or to go faster than he did: what must not be
    /// asked of anybody before it was driven.
    pub const fn asks_for_more(self, phase: Phase) -> bool {
        match self {
            Self::Later | Self::Softer | Self::Shorter => {
                matches!(phase, Phase::Brake | Phase::Trail)
            }
            Self::Sooner => matches!(phase, Phase::Throttle),
            Self::Harder
            | Self::Faster
            | Self::Fuller
            | Self::Steady
            | Self::MoreRoad
            | Self::SmallerLift => true,
            Self::Longer | Self::Slower | Self::Wider | Self::Tighter | Self::Better => false,
        }
    }

    /// Which way the advice points. One lamp cannot tell the advices of one phase and way apart,
    /// so those that share a place belong together, and what could be read two ways points where
    /// the wrong reading is the safer one:
    ///
    /// | phase | less | more |
    /// |---|---|---|
    /// | brake | sooner, softer, smaller lift | later, harder |
    /// | trail | shorter | longer |
    /// | rotation | slower, tighter | faster, wider |
    /// | throttle | sooner, fuller (full sooner) | later, steady (wait until it can stay on), more road |
    pub const fn way(self) -> Way {
        match self {
            Self::Sooner
            | Self::Softer
            | Self::Shorter
            | Self::Slower
            | Self::Tighter
            | Self::Fuller
            | Self::SmallerLift => Way::Less,
            Self::Later
            | Self::Harder
            | Self::Longer
            | Self::Faster
            | Self::Wider
            | Self::Steady
            | Self::MoreRoad => Way::More,
            Self::Better => Way::Keep,
        }
    }

    /// The one name for it, lower case with hyphens, as every output writes it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Sooner => "sooner",
            Self::Later => "later",
            Self::Harder => "harder",
            Self::Softer => "softer",
            Self::Longer => "longer",
            Self::Shorter => "shorter",
            Self::Faster => "faster",
            Self::Slower => "slower",
            Self::Wider => "wider",
            Self::Tighter => "tighter",
            Self::Fuller => "fuller",
            Self::Steady => "steady",
            Self::MoreRoad => "more-road",
            Self::SmallerLift => "smaller-lift",
            Self::Better => "better",
        }
    }
}

/// When an advice is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Told {
    /// As it happens.
    Now,
    /// On the way out of the corner.
    After,
    /// Before the same corner next time.
    Ahead,
}

impl Told {
    /// The one name for it, lower case, as every output writes it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Now => "now",
            Self::After => "after",
            Self::Ahead => "ahead",
        }
    }
}

/// How much, in what the advice is measured in. Always positive: the advice has the direction.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Size {
    /// Metres of road.
    Metres(f32),
    /// Metres per second.
    Speed(f32),
    /// Metres per second squared.
    Deceleration(f32),
    /// Seconds.
    Seconds(f32),
}

/// An advice for one corner and when it is told.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cue {
    /// Lap under way, counted from 1 at the first crossing of the start line; 0 before it.
    pub lap: u16,
    /// Corner, counted from 1 in the order met after the start line.
    pub corner: u8,
    /// The phase the advice is about.
    pub phase: Phase,
    /// What to change.
    pub advice: Advice,
    /// When it is told.
    pub told: Told,
    /// How much, in the unit of the advice.
    pub size: Size,
    /// The same size as seconds of driving where it can be stated so (metres over speed).
    pub size_s: Option<f32>,
    /// Seconds lost to the reference in this corner and the straight after it, as known when the
    /// cue is told; negative when faster.
    pub loss_s: Option<f32>,
    /// When it is told, source time.
    pub time_us: u64,
    /// Where it is told, metres from the start line.
    pub progress_m: f32,
}

//! What the engine says: laps, phases, corner facts, cues and its own health.

use crate::cue::{Cue, Phase};
use crate::facts::Facts;
use serde::{Deserialize, Serialize};

/// One thing the engine has to say about the stream.
#[expect(
    clippy::large_enum_variant,
    reason = "without a heap there is nothing to box the facts in"
)]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Event {
    /// The start line was crossed and a lap ended.
    Lap(LapEvent),
    /// A phase began; back-dated to its true onset.
    Phase(PhaseEvent),
    /// A corner is finished and measured.
    Corner(Facts),
    /// An advice for the driver.
    Cue(Cue),
    /// What the engine thinks of its input changed.
    Health(HealthEvent),
    /// The whole lap was slower (or faster) everywhere in the same proportion.
    Pace(PaceEvent),
}

/// A finished lap.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct LapEvent {
    /// Number of the lap that ended, from 1.
    pub lap: u16,
    /// Lap time in microseconds between the two interpolated crossings.
    pub time_us: u64,
    /// Source time of the crossing that closed the lap.
    pub end_us: u64,
    /// True when the lap was driven whole: no gap, pit lane, standing, wrong way or off-track.
    pub valid: bool,
    /// Seconds behind the reference lap, negative when faster; `None` without a reference time.
    pub gap_s: Option<f32>,
}

/// A phase that began.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PhaseEvent {
    /// Lap under way.
    pub lap: u16,
    /// Corner the phase belongs to.
    pub corner: u8,
    /// The phase that began.
    pub phase: Phase,
    /// Its back-dated onset, source time.
    pub time_us: u64,
    /// Where the onset was, metres from the start line.
    pub progress_m: f32,
}

/// A change of the engine's trust in its input.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct HealthEvent {
    /// The state entered.
    pub state: HealthState,
    /// Why.
    pub why: Why,
    /// When, source time.
    pub time_us: u64,
}

/// What the engine thinks of its input and of where the car is. Cues are given in `Ok` only.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum HealthState {
    /// Position and speed are believed and the car is on the line, driving forward.
    Ok,
    /// Samples are missing or refused; the present corner is unusable.
    Degraded,
    /// The place on the line is not known (start, long gap, leap).
    #[default]
    Lost,
    /// Slower than 3 m/s.
    Standing,
    /// Driving against the line's direction.
    WrongWay,
    /// On a lane beside the line.
    Pit,
    /// Away from the line.
    OffTrack,
}

impl HealthState {
    /// All of them, in their order.
    pub const ALL: [Self; 7] = [
        Self::Ok,
        Self::Degraded,
        Self::Lost,
        Self::Standing,
        Self::WrongWay,
        Self::Pit,
        Self::OffTrack,
    ];

    /// The one name for it, lower case with hyphens, as every output writes it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Ok => "ok",
            Self::Degraded => "degraded",
            Self::Lost => "lost",
            Self::Standing => "standing",
            Self::WrongWay => "wrong-way",
            Self::Pit => "pit",
            Self::OffTrack => "off-track",
        }
    }
}

/// The reason behind a [`HealthEvent`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Why {
    /// No complaint.
    #[default]
    Good,
    /// Nothing received yet, or the place on the line is still being found.
    Searching,
    /// No sample for longer than can be bridged.
    Gap,
    /// The source has no fix.
    NoFix,
    /// A value was not finite or absurd.
    NotFinite,
    /// Time ran backward.
    Backward,
    /// The position leapt farther than any car drives.
    Leap,
    /// Position and speed stood still while moving.
    Frozen,
    /// The stated accuracy is too poor.
    Inaccurate,
    /// Position and speed contradict one another.
    Contradiction,
    /// The car stands.
    Slow,
    /// The car drives against the line.
    Reversed,
    /// The car is on a lane beside the line.
    BesideLine,
    /// The car is away from the line.
    FarFromLine,
    /// The source started again.
    Restart,
}

impl Why {
    /// All of them, in their order.
    pub const ALL: [Self; 15] = [
        Self::Good,
        Self::Searching,
        Self::Gap,
        Self::NoFix,
        Self::NotFinite,
        Self::Backward,
        Self::Leap,
        Self::Frozen,
        Self::Inaccurate,
        Self::Contradiction,
        Self::Slow,
        Self::Reversed,
        Self::BesideLine,
        Self::FarFromLine,
        Self::Restart,
    ];

    /// The reason in a few words, as every output writes it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Searching => "searching for the place on the line",
            Self::Gap => "samples are missing",
            Self::NoFix => "no fix",
            Self::NotFinite => "a value is not a number",
            Self::Backward => "time ran backward",
            Self::Leap => "the position leapt",
            Self::Frozen => "position and speed stand still while moving",
            Self::Inaccurate => "the source calls itself inaccurate",
            Self::Contradiction => "position and speed contradict each other",
            Self::Slow => "the car stands",
            Self::Reversed => "driving against the line",
            Self::BesideLine => "on a lane beside the line",
            Self::FarFromLine => "away from the line",
            Self::Restart => "the source started again",
        }
    }
}

/// One thing told about a whole lap instead of a cue at every corner.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PaceEvent {
    /// The lap it is about.
    pub lap: u16,
    /// Lap time over the reference's, e.g. 1.02 for two percent slower everywhere.
    pub ratio: f32,
    /// When it is told, source time.
    pub time_us: u64,
}

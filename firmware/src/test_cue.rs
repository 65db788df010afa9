//! Cues for the tests.

use cuepost_engine::{Advice, Cue, Phase, Size, Told};

/// A cue for corner 5.
pub fn cue(phase: Phase, advice: Advice, size_m: f32) -> Cue {
    Cue {
        lap: 2,
        corner: 5,
        phase,
        advice,
        told: Told::After,
        size: Size::Metres(size_m),
        size_s: None,
        loss_s: Some(0.2),
        time_us: 100_000_000,
        progress_m: 1_391.0,
    }
}

/// Every phase there is.
pub fn phases() -> [Phase; 5] {
    use Phase::*;
    [Straight, Brake, Trail, Rotation, Throttle]
}

/// Every advice there is.
pub fn advices() -> [Advice; 15] {
    use Advice::*;
    [
        Sooner,
        Later,
        Harder,
        Softer,
        Longer,
        Shorter,
        Faster,
        Slower,
        Wider,
        Tighter,
        Fuller,
        Steady,
        MoreRoad,
        SmallerLift,
        Better,
    ]
}

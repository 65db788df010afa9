//! A cue as a driver takes it in at one glance: a word, a direction, a size.

use super::units::Units;
use cuepost_engine::{Advice, Cue, Phase, Told, Way};
use serde::Serialize;

/// What a display for the driver shows of a cue, and nothing else.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Glance {
    /// With what: `BRAKE`, `THROTTLE`, ...
    pub word: &'static str,
    /// What to do: `SOONER`, `MORE ROAD`, ...
    pub advice: &'static str,
    /// How much, in the driver's unit: `12 m`.
    pub size: String,
    /// Which way the shape points: `less` to the left, `more` to the right, `keep` neither.
    pub way: &'static str,
    /// Which phase the sound counts: 1 brake, 2 trail, 3 rotation, 4 throttle.
    pub count: u8,
    /// True for a reminder before the corner.
    pub next: bool,
}

impl Glance {
    /// The glance of a cue.
    pub fn of(cue: &Cue, units: Units) -> Self {
        Self {
            word: word(cue),
            advice: advice(cue.advice),
            size: units.size(cue.size),
            way: match cue.advice.way() {
                Way::Less => "less",
                Way::More => "more",
                Way::Keep => "keep",
            },
            count: match cue.phase {
                Phase::Straight | Phase::Brake => 1,
                Phase::Trail => 2,
                Phase::Rotation => 3,
                Phase::Throttle => 4,
            },
            next: cue.told == Told::Ahead,
        }
    }
}

fn word(cue: &Cue) -> &'static str {
    match (cue.phase, cue.advice) {
        (_, Advice::Better) => "GOOD",
        (_, Advice::SmallerLift) => "LIFT",
        (_, Advice::Wider | Advice::Tighter) => "LINE",
        (_, Advice::MoreRoad) => "EXIT",
        (Phase::Straight, _) => "SPEED",
        (Phase::Brake, _) => "BRAKE",
        (Phase::Trail, _) => "TRAIL",
        (Phase::Rotation, _) => "MIDDLE",
        (Phase::Throttle, _) => "THROTTLE",
    }
}

fn advice(advice: Advice) -> &'static str {
    match advice {
        Advice::Sooner => "SOONER",
        Advice::Later => "LATER",
        Advice::Harder => "HARDER",
        Advice::Softer => "SOFTER",
        Advice::Longer => "LONGER",
        Advice::Shorter => "SHORTER",
        Advice::Faster => "FASTER",
        Advice::Slower => "SLOWER",
        Advice::Wider => "WIDER",
        Advice::Tighter => "TIGHTER",
        Advice::Fuller => "FULLER",
        Advice::Steady => "STEADY",
        Advice::MoreRoad => "WIDER",
        Advice::SmallerLift => "LESS",
        Advice::Better => "KEEP IT",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use cuepost_engine::Size;

    const ADVICES: [Advice; 15] = [
        Advice::Sooner,
        Advice::Later,
        Advice::Harder,
        Advice::Softer,
        Advice::Longer,
        Advice::Shorter,
        Advice::Faster,
        Advice::Slower,
        Advice::Wider,
        Advice::Tighter,
        Advice::Fuller,
        Advice::Steady,
        Advice::MoreRoad,
        Advice::SmallerLift,
        Advice::Better,
    ];

    #[test]
    fn every_glance_is_short_and_points_the_engines_way() {
        for advice in ADVICES {
            for phase in [Phase::Brake, Phase::Trail, Phase::Rotation, Phase::Throttle] {
                let cue = Cue {
                    lap: 1,
                    corner: 1,
                    phase,
                    advice,
                    told: Told::Ahead,
                    size: Size::Metres(12.0),
                    size_s: None,
                    loss_s: None,
                    time_us: 0,
                    progress_m: 0.0,
                };
                let glance = Glance::of(&cue, Units::Metric);
                assert!(glance.word.len() <= 8 && glance.advice.len() <= 8);
                assert!(glance.next);
                let way = match advice.way() {
                    Way::Less => "less",
                    Way::More => "more",
                    Way::Keep => "keep",
                };
                assert_eq!(glance.way, way);
            }
        }
    }
}

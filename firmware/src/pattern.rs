//! The lamp code: a cue as counted pulses, for one lamp or one sounder.
//!
//! Pulses count the phase: 1 brake, 2 trail, 3 rotation, 4 throttle. Short pulses mean sooner or
//! less of it, long ones later or more ([`cuepost_engine::Advice::way`] decides which). One steady light means: well
//! done, keep it. A group of pulses is shown again after a pause until it has been up for
//! [`SHOWN_MIN_MS`].
//!
//! No more than three flashes begin within any second, also where one pattern follows another:
//! the general flash limit of WCAG 2.2, success criterion 2.3.1 (W3C).

use cuepost_engine::{Advice, Phase, Way};

/// How long a short pulse is on, milliseconds.
pub const SHORT_ON_MS: u32 = 120;
/// How long it is dark after a short pulse, milliseconds.
pub const SHORT_OFF_MS: u32 = 280;
/// How long a long pulse is on, milliseconds. More than three times a short one, so that a single
/// pulse can be told without another beside it.
pub const LONG_ON_MS: u32 = 400;
/// How long it is dark after a long pulse, milliseconds.
pub const LONG_OFF_MS: u32 = 200;
/// The steady light that means "keep it", milliseconds.
pub const KEEP_ON_MS: u32 = 1_500;
/// Dark between two groups, milliseconds; longer than any darkness inside a group.
pub const PAUSE_MS: u32 = 600;
/// A pattern is repeated until it has been up for this long, milliseconds.
pub const SHOWN_MIN_MS: u32 = 1_500;

/// One cue as pulses in time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pattern {
    /// Pulses in a group, 1 to 4.
    pulses: u32,
    /// How long each is on, milliseconds.
    on_ms: u32,
    /// How long it is dark after each, milliseconds.
    off_ms: u32,
    /// How often the group is shown.
    groups: u32,
    /// What the pulses say.
    way: Way,
}

/// A moment of a pattern.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Moment {
    /// Lit (or sounding).
    On,
    /// Dark, more follows.
    Off,
    /// Dark, the pattern is over.
    Done,
}

impl Pattern {
    /// The pattern of an advice; `None` where there is nothing to count: only "keep it" belongs to
    /// no phase.
    pub const fn of(phase: Phase, advice: Advice) -> Option<Self> {
        let way = advice.way();
        let pulses = match (phase, way) {
            (_, Way::Keep) => 1,
            (Phase::Brake, _) => 1,
            (Phase::Trail, _) => 2,
            (Phase::Rotation, _) => 3,
            (Phase::Throttle, _) => 4,
            (Phase::Straight, _) => return None,
        };
        let (on_ms, off_ms) = match way {
            Way::Less => (SHORT_ON_MS, SHORT_OFF_MS),
            Way::More => (LONG_ON_MS, LONG_OFF_MS),
            Way::Keep => (KEEP_ON_MS, 0),
        };
        let group_ms = pulses * (on_ms + off_ms);
        // As few groups as are up for long enough; three at most, of one short pulse.
        let mut groups = 1;
        while groups * group_ms + (groups - 1) * PAUSE_MS < SHOWN_MIN_MS {
            groups += 1;
        }
        Some(Self {
            pulses,
            on_ms,
            off_ms,
            groups,
            way,
        })
    }

    /// Which way the pulses point: a sounder gives each way its own pitch.
    pub const fn way(&self) -> Way {
        self.way
    }

    /// Pulses in a group.
    pub const fn pulses(&self) -> u32 {
        self.pulses
    }

    /// From the first light to the end of the last darkness, milliseconds.
    pub const fn length_ms(&self) -> u32 {
        let group = self.pulses * (self.on_ms + self.off_ms);
        self.groups * group + (self.groups - 1) * PAUSE_MS
    }

    /// What is to be seen so many milliseconds after the pattern began. At most eight steps.
    pub fn at_ms(&self, since_ms: u64) -> Moment {
        let mut left = match u32::try_from(since_ms) {
            Ok(ms) if ms < self.length_ms() => ms,
            _ => return Moment::Done,
        };
        for _ in 0..self.groups {
            for _ in 0..self.pulses {
                if left < self.on_ms {
                    return Moment::On;
                }
                left -= self.on_ms;
                if left < self.off_ms {
                    return Moment::Off;
                }
                left -= self.off_ms;
            }
            if left < PAUSE_MS {
                return Moment::Off;
            }
            left -= PAUSE_MS;
        }
        Moment::Done
    }
}

/// Plays one pattern after another on a clock that is passed in.
#[derive(Clone, Copy, Debug, Default)]
pub struct Player {
    playing: Option<(Pattern, u64)>,
}

impl Player {
    /// Begins a pattern. One under way is cut off, and the new one begins after a pause, so that
    /// their pulses cannot be counted together.
    pub fn play(&mut self, pattern: Pattern, now_us: u64) {
        let begin_us = if self.playing.is_some() {
            now_us.saturating_add(u64::from(PAUSE_MS) * 1_000)
        } else {
            now_us
        };
        self.playing = Some((pattern, begin_us));
    }

    /// Goes dark at once.
    pub fn stop(&mut self) {
        self.playing = None;
    }

    /// The pattern under way and what is to be seen now.
    pub fn at(&mut self, now_us: u64) -> Option<(Pattern, Moment, u64)> {
        let (pattern, begin_us) = self.playing?;
        let Some(since_us) = now_us.checked_sub(begin_us) else {
            return Some((pattern, Moment::Off, 0));
        };
        let since_ms = since_us / 1_000;
        let moment = pattern.at_ms(since_ms);
        if moment == Moment::Done {
            self.playing = None;
        }
        Some((pattern, moment, since_ms))
    }

    /// Whether a pattern is under way.
    pub fn busy(&self) -> bool {
        self.playing.is_some()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_cue::{advices, phases};
    use std::string::String;
    use std::vec::Vec;

    /// One letter for 40 ms: `#` lit, `.` dark.
    fn drawn(phase: Phase, advice: Advice) -> String {
        let pattern = Pattern::of(phase, advice).expect("a phase to count");
        (0..)
            .map(|step| pattern.at_ms(step * 40))
            .take_while(|moment| *moment != Moment::Done)
            .map(|moment| if moment == Moment::On { '#' } else { '.' })
            .collect()
    }

    #[test]
    fn the_patterns_as_they_are_seen() {
        use {Advice::*, Phase::*};
        let expected = [
            (
                Brake,
                Sooner,
                "###......................###......................###.......",
            ),
            (
                Brake,
                Later,
                "##########....................##########.....",
            ),
            (
                Trail,
                Shorter,
                "###.......###......................###.......###.......",
            ),
            (
                Trail,
                Longer,
                "##########.....##########....................##########.....##########.....",
            ),
            (
                Rotation,
                Slower,
                "###.......###.......###......................###.......###.......###.......",
            ),
            (
                Rotation,
                Faster,
                "##########.....##########.....##########.....",
            ),
            (Throttle, Sooner, "###.......###.......###.......###......."),
            (
                Throttle,
                Later,
                "##########.....##########.....##########.....##########.....",
            ),
            (Straight, Better, "######################################"),
        ];
        for (phase, advice, pulses) in expected {
            assert_eq!(drawn(phase, advice), pulses, "{phase:?} {advice:?}");
        }
    }

    fn everything() -> Vec<Pattern> {
        let all = phases().into_iter().flat_map(|p| {
            let patterns = advices().into_iter();
            patterns.filter_map(move |a| Pattern::of(p, a))
        });
        all.collect()
    }

    #[test]
    fn every_pattern_is_up_for_a_second_and_a_half() {
        for pattern in everything() {
            let last_lit = (0..6_000).rev().find(|ms| pattern.at_ms(*ms) == Moment::On);
            assert!(last_lit.is_some_and(|ms| ms >= 1_280), "{pattern:?}");
            assert!(pattern.length_ms() >= SHOWN_MIN_MS, "{pattern:?}");
            assert!(pattern.length_ms() <= 3_000, "{pattern:?}");
            let length = u64::from(pattern.length_ms());
            assert_ne!(pattern.at_ms(length - 1), Moment::Done);
            assert_eq!(pattern.at_ms(length), Moment::Done);
        }
    }

    #[test]
    fn never_more_than_three_flashes_in_a_second_whatever_follows_what_and_when() {
        for first in everything() {
            for second in everything() {
                for after_ms in (0..3_000).step_by(340) {
                    let mut player = Player::default();
                    player.play(first, 0);
                    let mut begins = Vec::new();
                    let mut lit = false;
                    for ms in (0..7_000u64).step_by(20) {
                        if ms == after_ms {
                            player.play(second, ms * 1_000);
                        }
                        let now = matches!(player.at(ms * 1_000), Some((_, Moment::On, _)));
                        if now && !lit {
                            begins.push(ms);
                        }
                        lit = now;
                    }
                    for window in begins.windows(4) {
                        assert!(window[3] - window[0] >= 1_000, "{first:?} {second:?}");
                    }
                }
            }
        }
    }

    #[test]
    fn a_pattern_that_cuts_another_off_begins_after_the_pause() {
        let brake = Pattern::of(Phase::Brake, Advice::Later).unwrap();
        let throttle = Pattern::of(Phase::Throttle, Advice::Sooner).unwrap();
        let mut player = Player::default();
        player.play(brake, 0);
        player.play(throttle, 100_000);
        let seen: String = (100..1_000)
            .step_by(50)
            .map(|ms| match player.at(ms * 1_000) {
                Some((_, Moment::On, _)) => '#',
                _ => '.',
            })
            .collect();
        assert_eq!(seen, "............###...");
    }

    #[test]
    fn a_clock_that_stands_or_leaps_does_no_harm() {
        let pattern = Pattern::of(Phase::Brake, Advice::Sooner).unwrap();
        let mut player = Player::default();
        player.play(pattern, u64::MAX - 5);
        assert!(matches!(player.at(u64::MAX - 5), Some((_, Moment::On, 0))));
        assert!(matches!(player.at(3), Some((_, Moment::Off, 0))));
        player.play(pattern, 0);
        assert!(matches!(player.at(u64::MAX), Some((_, Moment::Done, _))));
        assert!(!player.busy());
    }
}

//! Brake, coast, drive: the right foot as one state.

use super::date;
use super::{CHANGES_MAX, Change, Doing};
use crate::motion::Moment;
use crate::onset::Instant;
use crate::trace::Trace;
use heapless::Vec;

/// Brakings with less than this between them are one, seconds.
pub const JOIN_S: f32 = 0.45;
/// A braking that takes off less speed than this says nothing about a corner, m/s.
pub const BRAKING_LEAST_MPS: f32 = 2.5;
/// A touch of throttle that lasts this long counts, seconds.
pub const HOLD_S: f32 = 0.3;

/// Moments in a row above 1 that make it braking.
const SURE: u8 = 2;
/// Braking below this has ended.
const RELEASED: f32 = 0.5;
/// The peak that dates the onset lies within this, seconds.
const EARLY_S: f32 = 0.5;
/// Throttle is taken up half way between coasting and full.
const TAKEN_UP: f32 = 0.5;
/// And left again below this.
const LEFT: f32 = 0.22;
/// Full throttle is this much of the drive and more.
const FULL: f32 = 0.85;
/// Off the throttle for longer than this is a lift; a gear change is shorter, seconds.
const LIFT_S: f32 = 0.4;

/// One braking, dabs and short releases included.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Episode {
    first_over: u32,
    begin_us: u64,
    begin_mps: f32,
    least_mps: f32,
    /// Last moment surely on the brake.
    last_on: u32,
    last_on_us: u64,
    onset: Option<Instant>,
    told: bool,
}

/// What the foot does.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
enum State {
    /// Not braking. The number of moments in a row that looked like braking.
    #[default]
    Off,
    /// Looks like braking since the first of these moments.
    Perhaps { first_over: u32, moments: u8 },
    /// Braking.
    On(Episode),
    /// Released, but the same braking may go on.
    Between(Episode),
}

/// A touch of throttle.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
enum Touch {
    /// None since the last braking or lift.
    #[default]
    None,
    /// Just now: may be let go again.
    Fresh { at: Instant },
    /// Taken up and held.
    Held {
        full: Option<Instant>,
        full_told: bool,
    },
    /// Left since; a lift when it lasts.
    Leaving {
        at: Instant,
        told: bool,
        full_told: bool,
    },
}

/// The right foot.
#[derive(Clone, Copy, Debug, Default)]
pub struct Foot {
    state: State,
    touch: Touch,
    last: Option<Moment>,
}

impl Foot {
    /// What it does now.
    pub fn doing(&self) -> Doing {
        Doing {
            braking: matches!(self.state, State::On(_) | State::Between(_)),
            driving: matches!(self.touch, Touch::Fresh { .. } | Touch::Held { .. }),
            settled: matches!(self.touch, Touch::Held { .. }) && matches!(self.state, State::Off),
        }
    }

    /// Takes the next moment.
    pub fn push(&mut self, trace: &Trace, now: &Moment, changes: &mut Vec<Change, CHANGES_MAX>) {
        self.brake(trace, now, changes);
        self.throttle(trace, now, changes);
        self.last = Some(*now);
    }

    fn brake(&mut self, trace: &Trace, now: &Moment, changes: &mut Vec<Change, CHANGES_MAX>) {
        let on = now.braking >= 1.0;
        self.state = match self.state {
            State::Off if on => State::Perhaps {
                first_over: now.number,
                moments: 1,
            },
            State::Off => State::Off,
            State::Perhaps {
                first_over,
                moments,
            } if on && moments + 1 >= SURE => State::On(Episode {
                first_over,
                begin_us: trace.get(first_over).map_or(now.time_us, |p| p.time_us),
                begin_mps: trace.get(first_over).map_or(now.speed_mps, |p| p.speed_mps),
                least_mps: now.speed_mps,
                last_on: now.number,
                last_on_us: now.time_us,
                onset: None,
                told: false,
            }),
            State::Perhaps {
                first_over,
                moments,
            } if on => State::Perhaps {
                first_over,
                moments: moments + 1,
            },
            State::Perhaps { .. } => State::Off,
            State::On(mut episode) => {
                episode.least_mps = episode.least_mps.min(now.speed_mps);
                if on {
                    episode.last_on = now.number;
                    episode.last_on_us = now.time_us;
                }
                self.tell_onset(trace, now, &mut episode, changes);
                if now.braking < RELEASED {
                    State::Between(episode)
                } else {
                    State::On(episode)
                }
            }
            State::Between(mut episode) => {
                self.tell_onset(trace, now, &mut episode, changes);
                if on {
                    episode.last_on = now.number;
                    episode.last_on_us = now.time_us;
                    State::On(episode)
                } else if seconds(episode.last_on_us, now.time_us) > JOIN_S {
                    if episode.told
                        && let Some(at) = release(trace, &episode)
                    {
                        let _ = changes.push(Change::Release(at));
                    }
                    State::Off
                } else {
                    State::Between(episode)
                }
            }
        };
    }

    /// Dates the onset once the early peak is over, tells it once enough speed is off.
    fn tell_onset(
        &mut self,
        trace: &Trace,
        now: &Moment,
        episode: &mut Episode,
        changes: &mut Vec<Change, CHANGES_MAX>,
    ) {
        if episode.onset.is_none() && seconds(episode.begin_us, now.time_us) > EARLY_S {
            episode.onset = date::braking(trace, episode.first_over, now, EARLY_S, now.coast_mps2);
        }
        let drop = episode.begin_mps - episode.least_mps;
        if let (false, Some(onset), true) = (episode.told, episode.onset, drop >= BRAKING_LEAST_MPS)
        {
            episode.told = true;
            self.touch = Touch::None;
            let _ = changes.push(Change::Brake(onset));
        }
    }

    fn throttle(&mut self, trace: &Trace, now: &Moment, changes: &mut Vec<Change, CHANGES_MAX>) {
        if matches!(self.state, State::On(_)) {
            if let State::On(Episode { told: true, .. }) = self.state {
                self.touch = Touch::None;
            }
            return;
        }
        let crossed = self.crossing(trace, now, TAKEN_UP);
        self.touch = match self.touch {
            Touch::None => match crossed {
                Some(at) => Touch::Fresh { at },
                // Taken up while the brake was still on.
                None if now.drive >= TAKEN_UP => Touch::Fresh { at: here(now) },
                None => Touch::None,
            },
            Touch::Fresh { .. } if now.drive < LEFT => Touch::None,
            Touch::Fresh { at } => {
                let settled = !matches!(self.state, State::Between(_) | State::Perhaps { .. });
                if seconds(at.time_us, now.time_us) >= HOLD_S && settled {
                    let _ = changes.push(Change::Throttle(at));
                    Touch::Held {
                        full: None,
                        full_told: false,
                    }
                } else {
                    Touch::Fresh { at }
                }
            }
            Touch::Held { full_told, .. } if now.drive < LEFT => {
                let at = here(now);
                Touch::Leaving {
                    at,
                    told: false,
                    full_told,
                }
            }
            Touch::Held { full, full_told } => self.full(trace, now, full, full_told, changes),
            Touch::Leaving {
                at,
                told,
                full_told,
            } if now.drive >= TAKEN_UP => {
                if told {
                    let again = crossed.unwrap_or(here(now));
                    let lost = (at.speed_mps - now.speed_mps).max(0.0);
                    let _ = changes.push(Change::DriveAgain(again, lost));
                }
                Touch::Held {
                    full: None,
                    full_told,
                }
            }
            Touch::Leaving {
                at,
                told: false,
                full_told,
            } if seconds(at.time_us, now.time_us) >= LIFT_S => {
                let _ = changes.push(Change::LiftOff(at));
                Touch::Leaving {
                    at,
                    told: true,
                    full_told,
                }
            }
            leaving @ Touch::Leaving { .. } => leaving,
        };
    }

    fn full(
        &self,
        trace: &Trace,
        now: &Moment,
        full: Option<Instant>,
        full_told: bool,
        changes: &mut Vec<Change, CHANGES_MAX>,
    ) -> Touch {
        if full_told {
            return Touch::Held { full, full_told };
        }
        let full = match full {
            None if now.drive >= FULL => Some(self.crossing(trace, now, FULL).unwrap_or(here(now))),
            Some(_) if now.drive < FULL - 0.2 => None,
            kept => kept,
        };
        match full {
            Some(at) if seconds(at.time_us, now.time_us) >= 0.2 => {
                let _ = changes.push(Change::Full(at));
                Touch::Held {
                    full,
                    full_told: true,
                }
            }
            _ => Touch::Held { full, full_told },
        }
    }

    /// Where the drive rose through a level between the last moment and this one.
    fn crossing(&self, trace: &Trace, now: &Moment, level: f32) -> Option<Instant> {
        let last = self.last?;
        if now.drive < level || last.drive >= level {
            return None;
        }
        let rise = (now.drive - last.drive).max(1e-3);
        let share = ((level - last.drive) / rise).clamp(0.0, 1.0);
        let (a, b) = (trace.get(last.number)?, trace.get(now.number)?);
        Some(date::between(a, b, share, 0.02))
    }
}

/// The last fall of the braking through half its unit, after the last sure moment.
fn release(trace: &Trace, episode: &Episode) -> Option<Instant> {
    let mut number = episode.last_on;
    for _ in 0..crate::trace::TRACE_LEN {
        let (a, b) = (trace.get(number)?, trace.get(number.wrapping_add(1))?);
        if b.braking < RELEASED {
            let share =
                ((a.braking - RELEASED) / (a.braking - b.braking).max(1e-3)).clamp(0.0, 1.0);
            return Some(date::between(a, b, share, 0.04));
        }
        number = number.wrapping_add(1);
    }
    None
}

fn here(now: &Moment) -> Instant {
    Instant {
        time_us: now.time_us,
        progress_m: now.progress_m,
        speed_mps: now.speed_mps,
        lap: now.lap,
        sd_s: 0.05,
    }
}

fn seconds(from_us: u64, to_us: u64) -> f32 {
    to_us.saturating_sub(from_us) as f32 * 1e-6
}

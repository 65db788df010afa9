//! The brake pedal: off, on, let go, and which of several touches was the braking.

use super::date::{self, Begun};
use super::{CHANGES_MAX, Change};
use crate::math::{larger, since_s, smaller};
use crate::motion::Moment;
use crate::onset::Instant;
use crate::trace::Trace;
use heapless::Vec;

/// Brakings with less than this between them are one, seconds.
pub const JOIN_S: f32 = 0.3;
/// A braking that takes off less speed than this says nothing about a corner, m/s.
pub const BRAKING_LEAST_MPS: f32 = 2.5;
/// One this much harder than coasting, m/s², says something from here on, m/s.
const HARD_MPS2: f32 = 3.5;
const HARD_LEAST_MPS: f32 = 1.5;

/// Moments in a row above 1 that make it braking.
const SURE: u8 = 2;
/// Braking below this has ended; a pedal does not waver as an inferred braking does.
const RELEASED: f32 = 0.5;
const PEDAL_RELEASED: f32 = 1.0 / 3.0;
/// The onset is dated once this much of the braking is known, seconds.
const DATE_S: f32 = 0.8;
/// A touch before the braking is part of it when it was at least this share as hard; a weaker
/// one was a lift or a foot finding the pedal.
const PART: f32 = 0.37;

/// One touch of the brake.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Touch {
    begun: Begun,
    time_us: u64,
    speed_mps: f32,
    /// Strongest deceleration beyond coasting, m/s².
    depth_mps2: f32,
    /// Seen on the pedal: the first touch is the onset, however weak.
    seen: bool,
}

/// One braking: the touch it is dated by and the one under way.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Braking {
    first: Touch,
    /// A later touch, while it is not known which of the two was the onset.
    later: Option<Touch>,
    least_mps: f32,
    /// Last moment surely on the brake.
    last_on: u32,
    last_on_us: u64,
    onset: Option<Instant>,
    told: bool,
}

/// What the brake does.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
enum State {
    /// Not braking.
    #[default]
    Off,
    /// Looks like braking for some moments in a row.
    Perhaps { touch: Touch, moments: u8 },
    /// Braking.
    On(Braking),
    /// Let go, but the same braking may go on.
    Between(Braking),
}

/// The brake.
#[derive(Clone, Copy, Debug, Default)]
pub struct Brake {
    state: State,
    /// Last moment on the brake of a braking that ended just now, and whether it was told.
    ended: Option<(u32, bool)>,
}

impl Brake {
    /// On the brake, or let go less than the joining time ago.
    pub fn braking(&self) -> bool {
        matches!(self.state, State::On(_) | State::Between(_))
    }

    /// On the brake.
    pub fn on(&self) -> bool {
        matches!(self.state, State::On(_))
    }

    /// Surely not braking.
    pub fn off(&self) -> bool {
        matches!(self.state, State::Off)
    }

    /// The last moment on the brake, and whether the braking was told: while it lasts and when it
    /// has just ended.
    pub fn last_on(&self) -> Option<(u32, bool)> {
        match self.state {
            State::On(b) | State::Between(b) => Some((b.last_on, b.told)),
            _ => self.ended,
        }
    }

    /// Takes the next moment.
    pub fn push(&mut self, trace: &Trace, now: &Moment, changes: &mut Vec<Change, CHANGES_MAX>) {
        let on = now.braking >= 1.0;
        self.ended = None;
        if !on && matches!(self.state, State::Off) {
            return;
        }
        let seen = trace.get(now.number).is_some_and(|p| p.brake_seen);
        let (sure, released) = if seen {
            (1, PEDAL_RELEASED)
        } else {
            (SURE, RELEASED)
        };
        // In place: a braking is too large to be moved at every moment.
        match &mut self.state {
            State::Off => {
                let touch = Touch::begin(now, seen);
                self.state = if sure == 1 {
                    State::On(Braking::begin(touch, now))
                } else {
                    State::Perhaps { touch, moments: 1 }
                };
            }
            State::Perhaps { .. } if !on => self.state = State::Off,
            State::Perhaps { touch, moments } => {
                touch.harder(now);
                *moments += 1;
                if *moments >= sure {
                    self.state = State::On(Braking::begin(*touch, now));
                }
            }
            State::On(braking) => {
                braking.press(now, on);
                braking.tell(trace, now, false, changes);
                if now.braking < released {
                    self.state = State::Between(*braking);
                }
            }
            State::Between(braking) if on => {
                braking.again(now, seen);
                self.state = State::On(*braking);
            }
            State::Between(braking) => {
                if since_s(braking.last_on_us, now.time_us) > JOIN_S {
                    braking.tell(trace, now, true, changes);
                    self.ended = Some((braking.last_on, braking.told));
                    if braking.told
                        && let Some(at) = date::release(trace, braking.last_on, released, now)
                    {
                        let _ = changes.push(Change::Release(at));
                    }
                    self.state = State::Off;
                }
            }
        }
    }
}

impl Touch {
    fn begin(now: &Moment, seen: bool) -> Self {
        Self {
            begun: Begun {
                first_over: now.number,
                coast_mps2: now.coast_mps2,
                foot_mps2: now.foot_mps2,
            },
            time_us: now.time_us,
            speed_mps: now.speed_mps,
            depth_mps2: now.coast_mps2 - now.acc_mps2,
            seen,
        }
    }

    fn harder(&mut self, now: &Moment) {
        self.depth_mps2 = larger(self.depth_mps2, now.coast_mps2 - now.acc_mps2);
    }
}

impl Braking {
    fn begin(first: Touch, now: &Moment) -> Self {
        Self {
            first,
            later: None,
            least_mps: now.speed_mps,
            last_on: now.number,
            last_on_us: now.time_us,
            onset: None,
            told: false,
        }
    }

    /// Still on the brake.
    fn press(&mut self, now: &Moment, surely: bool) {
        self.least_mps = smaller(self.least_mps, now.speed_mps);
        if surely {
            self.last_on = now.number;
            self.last_on_us = now.time_us;
        }
        self.later.as_mut().unwrap_or(&mut self.first).harder(now);
    }

    /// On the brake again after a short release.
    fn again(&mut self, now: &Moment, seen: bool) {
        if self.onset.is_none() {
            self.settle();
            self.later = Some(Touch::begin(now, seen));
        }
        self.press(now, true);
    }

    /// Which of the two touches was the onset.
    fn settle(&mut self) {
        if let Some(later) = self.later.take()
            && !self.first.seen
            && self.first.depth_mps2 < PART * later.depth_mps2
        {
            self.first = later;
        }
    }

    /// Dates the onset once enough of it is known, tells it once enough speed is off.
    fn tell(
        &mut self,
        trace: &Trace,
        now: &Moment,
        ended: bool,
        changes: &mut Vec<Change, CHANGES_MAX>,
    ) {
        let newest = self.later.as_ref().unwrap_or(&self.first);
        let due = ended || since_s(newest.time_us, now.time_us) > DATE_S;
        let drop_mps = self.first.speed_mps - self.least_mps;
        let least_mps = if ended && larger(newest.depth_mps2, self.first.depth_mps2) > HARD_MPS2 {
            HARD_LEAST_MPS
        } else {
            BRAKING_LEAST_MPS
        };
        if !due || self.told || drop_mps < least_mps {
            return;
        }
        self.settle();
        if self.onset.is_none() {
            self.onset = date::braking(trace, &self.first.begun, now);
        }
        if let Some(onset) = self.onset {
            self.told = true;
            let _ = changes.push(Change::Brake(onset));
        }
    }
}

//! The throttle: which touch was for good, when it was full, and lifts after it.

use super::date;
use super::{CHANGES_MAX, Change};
use crate::math::since_s;
use crate::motion::Moment;
use crate::onset::Instant;
use crate::trace::Trace;
use heapless::Vec;

/// A touch of throttle that lasts this long counts, seconds.
pub const HOLD_S: f32 = 0.3;

/// Where there is no pedal, the drive is smoothed and its peaks are cut: a touch is told when it
/// has lasted this long, and replaced by the next one when it was left before [`HOLD_S`].
const TOLD_S: f32 = 0.18;

/// A shorter touch is told as one when it lasts this long, seconds.
const TOUCH_S: f32 = 0.12;

/// Throttle is taken up at half of it.
const TAKEN_UP: f32 = 0.5;
/// And left again below this.
const LEFT: f32 = 0.22;
/// A touch is over when it stays below [`TAKEN_UP`] for this long; a gear change is shorter.
const LAPSE_S: f32 = 0.08;
/// Full throttle is this much of the drive and more.
const FULL: f32 = 0.85;
/// Full throttle that lasts this long counts, seconds.
const FULL_HOLD_S: f32 = 0.2;
/// Off the throttle for longer than this is a lift; a gear change is shorter, seconds.
const LIFT_S: f32 = 0.4;

/// A touch of throttle.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
enum Touch {
    /// None since the last braking or lift.
    #[default]
    None,
    /// Just now: may be let go again. Seconds above the level, and below it since last above.
    Fresh { since: u32, on_s: f32, off_s: f32 },
    /// Taken up and held; seconds above the level until it was first left.
    Held { full: Full, on_s: f32 },
    /// Left since; a lift when it lasts. A brief touch is replaced by the next one.
    Leaving {
        at: Instant,
        told: bool,
        full: Full,
        brief: bool,
    },
}

/// How far full throttle is known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
enum Full {
    #[default]
    No,
    Since {
        number: u32,
        time_us: u64,
    },
    Told,
}

/// The throttle.
#[derive(Clone, Copy, Debug, Default)]
pub struct Drive {
    touch: Touch,
}

impl Drive {
    /// On the throttle, be it only for an instant yet.
    pub fn driving(&self) -> bool {
        matches!(
            self.touch,
            Touch::Fresh { off_s: 0.0, .. } | Touch::Held { .. }
        )
    }

    /// Taken up and held.
    pub fn held(&self) -> bool {
        matches!(self.touch, Touch::Held { .. })
    }

    /// A braking that lasted until `last_on` made an end of every touch before; a mere dab only
    /// of one that was not full yet.
    pub fn clear(&mut self, last_on: u32, told: bool) {
        let stays = match self.touch {
            Touch::None => true,
            Touch::Fresh { since, .. } => since.wrapping_sub(last_on) < u32::MAX / 2,
            Touch::Held { full, .. } | Touch::Leaving { full, .. } => {
                !told && matches!(full, Full::Told)
            }
        };
        if !stays {
            self.touch = Touch::None;
        }
    }

    /// Takes the next moment; `settled` when the brake is surely off.
    pub fn push(
        &mut self,
        trace: &Trace,
        now: &Moment,
        settled: bool,
        changes: &mut Vec<Change, CHANGES_MAX>,
    ) {
        let on = now.drive >= TAKEN_UP;
        self.touch = match self.touch {
            Touch::None if on => Touch::Fresh {
                since: now.number,
                on_s: 0.0,
                off_s: 0.0,
            },
            Touch::None => Touch::None,
            Touch::Fresh { since, on_s, off_s } if !on => {
                let off_s = off_s + now.dt_s;
                if off_s > LAPSE_S {
                    if on_s >= TOUCH_S {
                        let _ = changes.push(Change::Touch(risen(trace, since, now)));
                    }
                    Touch::None
                } else {
                    Touch::Fresh { since, on_s, off_s }
                }
            }
            Touch::Fresh { since, on_s, .. } => {
                let on_s = on_s + now.dt_s;
                if settled && on_s >= enough_s(trace, now) {
                    let _ = changes.push(Change::Throttle(risen(trace, since, now)));
                    Touch::Held {
                        full: Full::No,
                        on_s,
                    }
                } else {
                    Touch::Fresh {
                        since,
                        on_s,
                        off_s: 0.0,
                    }
                }
            }
            Touch::Held { full, on_s } if now.drive < LEFT => Touch::Leaving {
                at: date::here(now),
                told: false,
                brief: on_s < HOLD_S,
                full,
            },
            Touch::Held { full, on_s } => Touch::Held {
                full: full.follow(trace, now, changes),
                on_s: if on { on_s + now.dt_s } else { on_s },
            },
            Touch::Leaving { brief: true, .. } if on => Touch::Fresh {
                since: now.number,
                on_s: 0.0,
                off_s: 0.0,
            },
            Touch::Leaving { at, told, full, .. } if on => {
                if told {
                    let lost_mps = (at.speed_mps - now.speed_mps).max(0.0);
                    let again = risen(trace, now.number, now);
                    let _ = changes.push(Change::DriveAgain(again, lost_mps));
                }
                Touch::Held { full, on_s: HOLD_S }
            }
            Touch::Leaving {
                at,
                told: false,
                full,
                brief,
            } if since_s(at.time_us, now.time_us) >= LIFT_S => {
                let _ = changes.push(Change::LiftOff(at));
                Touch::Leaving {
                    at,
                    told: true,
                    full,
                    brief,
                }
            }
            leaving @ Touch::Leaving { .. } => leaving,
        };
    }
}

/// How long a touch must be seen until it is told: a pedal is known to a sample, an inferred drive
/// is blurred.
fn enough_s(trace: &Trace, now: &Moment) -> f32 {
    let seen = trace.get(now.number).is_some_and(|p| p.throttle_seen);
    if seen { HOLD_S - now.dt_s } else { TOLD_S }
}

/// Where the drive rose through the level, near a moment at which it was above.
fn risen(trace: &Trace, above: u32, now: &Moment) -> Instant {
    date::taken_up(trace, above, TAKEN_UP, now).unwrap_or(date::here(now))
}

impl Full {
    fn follow(self, trace: &Trace, now: &Moment, changes: &mut Vec<Change, CHANGES_MAX>) -> Self {
        match self {
            Self::No if now.drive >= FULL => Self::Since {
                number: now.number,
                time_us: now.time_us,
            },
            Self::Since { .. } if now.drive < FULL - 0.2 => Self::No,
            Self::Since { number, time_us } if since_s(time_us, now.time_us) >= FULL_HOLD_S => {
                let at = date::rise(trace, number, FULL, now).unwrap_or(date::here(now));
                let _ = changes.push(Change::Full(at));
                Self::Told
            }
            other => other,
        }
    }
}

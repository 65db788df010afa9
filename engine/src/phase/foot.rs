//! The right foot: brake and throttle together.

use super::alarm;
use super::brake::Brake;
use super::drive::Drive;
use super::{CHANGES_MAX, Change, Doing};
use crate::motion::Moment;
use crate::trace::Trace;
use heapless::Vec;

/// The right foot.
#[derive(Clone, Copy, Debug, Default)]
pub struct Foot {
    brake: Brake,
    drive: Drive,
    seen: Seen,
}

/// Whether a braking is seen: the alarm says so at once, and a braking that lasts needs none.
#[derive(Clone, Copy, Debug, Default)]
enum Seen {
    #[default]
    No,
    /// Looks like one for so many seconds, without the alarm: noise may do that.
    Perhaps(f32),
    /// Seen, for so many seconds without being a braking.
    Yes(f32),
}

/// Without an alarm, what looks like a braking for this long is one, seconds.
const LASTS_S: f32 = 0.5;
/// An alarm that does not become a braking within this was none, seconds.
const HOLD_S: f32 = 0.3;

impl Foot {
    /// What it does now.
    pub fn doing(&self) -> Doing {
        Doing {
            braking: matches!(self.seen, Seen::Yes(_)),
            driving: self.drive.driving(),
            settled: self.drive.held() && self.brake.off(),
        }
    }

    /// Takes the next moment.
    pub fn push(&mut self, trace: &Trace, now: &Moment, changes: &mut Vec<Change, CHANGES_MAX>) {
        self.brake.push(trace, now, changes);
        if let Some((last_on, told)) = self.brake.last_on() {
            self.drive.clear(last_on, told);
        }
        self.seen = self.seen.next(&self.brake, trace, now);
        if !self.brake.on() {
            self.drive.push(trace, now, self.brake.off(), changes);
        }
    }
}

impl Seen {
    fn next(self, brake: &Brake, trace: &Trace, now: &Moment) -> Self {
        let pedal = trace.get(now.number).is_some_and(|p| p.brake_seen);
        match self {
            _ if pedal && brake.braking() => Self::Yes(0.0),
            _ if pedal => Self::No,
            Self::Yes(_) if brake.braking() => Self::Yes(0.0),
            _ if alarm::braking(trace, now) => Self::Yes(0.0),
            Self::Yes(since_s) if since_s < HOLD_S => Self::Yes(since_s + now.dt_s),
            Self::Perhaps(since_s) if brake.on() => {
                let since_s = since_s + now.dt_s;
                if since_s < LASTS_S {
                    Self::Perhaps(since_s)
                } else {
                    Self::Yes(0.0)
                }
            }
            _ if brake.on() => Self::Perhaps(0.0),
            _ => Self::No,
        }
    }
}

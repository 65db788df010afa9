//! The right foot: brake and throttle together.

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
}

impl Foot {
    /// What it does now.
    pub fn doing(&self) -> Doing {
        Doing {
            braking: self.brake.braking(),
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
        if !self.brake.on() {
            self.drive.push(trace, now, self.brake.off(), changes);
        }
    }
}

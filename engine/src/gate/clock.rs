//! Source time: late, repeated and restarted clocks, and sources faster than the engine needs.

use super::Refusal;

/// The least mean spacing of admitted samples, microseconds (125 Hz).
const SPACING_US: u64 = 8_000;
/// How early against that spacing a sample may come, for sources whose stamps jitter.
const EARLY_US: u64 = 2_000;
/// A clock this far behind the last admitted sample has started again, microseconds; less is a
/// late sample.
const RESTART_BACK_US: u64 = 2_000_000;
/// A clock this far ahead has started again too, microseconds.
const RESTART_AHEAD_US: u64 = 600_000_000;
/// Samples in a row that must agree on the new time before it is believed.
const RESTART_SAMPLES: u8 = 3;
/// Two of them may lie this far apart, microseconds.
const RESTART_STEP_US: u64 = 2_000_000;

/// What the clock says about a sample's time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Tick {
    /// The first sample of a session.
    First,
    /// The clock started again: forget what was.
    Restart,
    /// This long after the last admitted one, microseconds.
    After(u64),
}

/// The times of the last admitted sample and of one that may be from a restarted clock.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Clock {
    last_us: Option<u64>,
    due_us: u64,
    other: Option<Other>,
}

#[derive(Clone, Copy, Debug)]
struct Other {
    last_us: u64,
    count: u8,
}

impl Clock {
    /// Judges a time without taking it: call [`Clock::take`] when the sample is admitted.
    pub(super) fn judge(&mut self, time_us: u64) -> Result<Tick, Refusal> {
        let Some(last) = self.last_us else {
            return Ok(Tick::First);
        };
        if time_us == last {
            return Err(Refusal::Repeated);
        }
        let far = if time_us < last {
            last - time_us > RESTART_BACK_US
        } else {
            time_us - last > RESTART_AHEAD_US
        };
        if far {
            return if self.agreed(time_us) {
                Ok(Tick::Restart)
            } else if time_us < last {
                Err(Refusal::Backward)
            } else {
                Err(Refusal::Leap)
            };
        }
        if time_us < last {
            return Err(Refusal::Backward);
        }
        if time_us.saturating_add(EARLY_US) < self.due_us {
            return Err(Refusal::Thinned);
        }
        Ok(Tick::After(time_us - last))
    }

    /// Takes the time of an admitted sample.
    pub(super) fn take(&mut self, time_us: u64, tick: Tick) {
        let due = match tick {
            Tick::After(_) => self.due_us.max(time_us.saturating_sub(SPACING_US)),
            Tick::First | Tick::Restart => time_us,
        };
        self.due_us = due.saturating_add(SPACING_US);
        self.last_us = Some(time_us);
        self.other = None;
    }

    /// Counts samples that agree with one another on a time far from the present one.
    fn agreed(&mut self, time_us: u64) -> bool {
        let count = match self.other {
            Some(o) if time_us > o.last_us && time_us - o.last_us <= RESTART_STEP_US => {
                o.count.saturating_add(1)
            }
            Some(o) if time_us == o.last_us => o.count,
            _ => 1,
        };
        self.other = Some(Other {
            last_us: time_us,
            count,
        });
        count >= RESTART_SAMPLES
    }
}

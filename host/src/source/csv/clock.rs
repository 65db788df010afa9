//! Times of rows: they only rise, counters may wrap, and a source may start again.

use cuepost_engine::receiver::{LATE_RUN, RESTART_GAP_US};

/// A counter of 32 bits wraps when it falls from within this share of its end to this share of its
/// beginning.
const WRAP_MARGIN: i64 = 1 << 28;
const WRAP: i64 = 1 << 32;

/// Where a row lies relative to the rows before.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Placed {
    /// Newer, at this time.
    New(u64),
    /// As `New`, but the source started again and the time between is unknown.
    Restarted(u64),
    /// The same time again.
    Again,
    /// Older.
    Late,
}

/// The clock of a table.
#[derive(Clone, Debug, Default)]
pub struct Clock {
    /// Microseconds in one count of a counter that may wrap.
    count_us: Option<i64>,
    /// Source time that stands for 0, microseconds.
    zero_us: i64,
    /// To be added to the times read.
    shift_us: i64,
    newest: Option<i64>,
    /// The newest time as it was read.
    newest_read: i64,
    late: Option<i64>,
    late_run: u8,
}

impl Clock {
    /// A clock for a column whose unit is ten to the `power` microseconds.
    pub fn new(power: u32) -> Self {
        Self {
            count_us: (power < 6).then(|| 10i64.pow(power)),
            ..Self::default()
        }
    }

    /// The time of the source that [`cuepost_engine::Sample::time_us`] counts from: 0, or below it
    /// when the first row has a negative time.
    pub fn zero_us(&self) -> i64 {
        self.zero_us
    }

    /// Places a row.
    #[inline]
    pub fn place(&mut self, read_us: i64) -> Placed {
        let Some(newest) = self.newest else {
            self.zero_us = read_us.div_euclid(1_000_000).min(0) * 1_000_000;
            self.shift_us = -self.zero_us;
            return self.accept(read_us, read_us + self.shift_us);
        };
        let time = read_us.saturating_add(self.shift_us);
        if time > newest {
            return self.accept(read_us, time);
        }
        if time == newest {
            return Placed::Again;
        }
        if self.wraps(read_us) {
            self.shift_us += self.count_us.unwrap_or(0) * WRAP;
            return self.accept(read_us, read_us + self.shift_us);
        }
        self.late_run = match self.late {
            Some(late) if self.late_run > 0 && read_us > late => self.late_run + 1,
            Some(late) if self.late_run > 0 && read_us == late => self.late_run,
            _ => 1,
        };
        self.late = Some(read_us);
        if self.late_run < LATE_RUN {
            return Placed::Late;
        }
        let time = newest.saturating_add(RESTART_GAP_US.cast_signed());
        self.shift_us = time - read_us;
        match self.accept(read_us, time) {
            Placed::New(time) => Placed::Restarted(time),
            other => other,
        }
    }

    fn accept(&mut self, read_us: i64, time: i64) -> Placed {
        self.newest = Some(time);
        self.newest_read = read_us;
        self.late_run = 0;
        Placed::New(time.cast_unsigned())
    }

    fn wraps(&self, read_us: i64) -> bool {
        let Some(count_us) = self.count_us else {
            return false;
        };
        let end = WRAP * count_us;
        let margin = WRAP_MARGIN * count_us;
        (end - margin..end).contains(&self.newest_read) && (0..margin).contains(&read_us)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_millisecond_counter_wraps() {
        let mut clock = Clock::new(3);
        assert_eq!(
            clock.place(4_294_957_296_000),
            Placed::New(4_294_957_296_000)
        );
        let after = (4_294_967_296 + 81_234) * 1000;
        assert_eq!(clock.place(81_234_000), Placed::New(after));
        assert_eq!(clock.place(81_235_000), Placed::New(after + 1000));
    }

    #[test]
    fn seconds_do_not_wrap() {
        let mut clock = Clock::new(6);
        clock.place(4_294_957_296_000_000);
        assert_eq!(clock.place(1_000_000), Placed::Late);
    }

    #[test]
    fn times_before_zero_are_shifted_by_whole_seconds() {
        let mut clock = Clock::new(6);
        assert_eq!(clock.place(-980_000), Placed::New(20_000));
        assert_eq!(clock.place(0), Placed::New(1_000_000));
        assert_eq!(clock.zero_us(), -1_000_000);
    }

    #[test]
    fn starting_again_is_believed_after_three_rows() {
        let mut clock = Clock::new(6);
        clock.place(100_000_000);
        assert_eq!(clock.place(100_000_000), Placed::Again);
        assert_eq!(clock.place(0), Placed::Late);
        assert_eq!(clock.place(20_000), Placed::Late);
        assert_eq!(clock.place(40_000), Placed::Restarted(110_000_000));
        assert_eq!(clock.place(60_000), Placed::New(110_020_000));
    }
}

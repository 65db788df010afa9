//! Turns the times a receiver states (time of day, sometimes a date) into session time that only
//! rises.
//!
//! The time of day leads and the date follows: a receiver that starts cold may state a date that is
//! years off and correct it in mid-session (a week-number rollover is 1024 weeks), and sentences
//! that carry no date must be placed as well. A date is believed only where the time of day does
//! not simply go on, to bridge breaks longer than half a day.

/// Microseconds in a day without a leap second.
pub(super) const DAY_US: i64 = 86_400_000_000;
const SECOND_US: i64 = 1_000_000;

/// A step of the time of day in this range simply goes on, whatever the date says.
const CONTINUOUS_US: core::ops::RangeInclusive<i64> = -10 * SECOND_US..=60 * SECOND_US;
/// Dates farther apart than this are a correction, not a break in the stream.
const DAYS_MAX: i32 = 400;
/// So many late epochs in a row, rising among themselves, are a source that started again.
pub const LATE_RUN: u8 = 3;
/// Session time that passes over a restart, whose true length nobody knows: longer than any gap
/// that is bridged.
pub const RESTART_GAP_US: u64 = 10_000_000;

/// A moment as a receiver states it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Stamp {
    /// UTC time of day, microseconds; 86 400 s and more within a leap second.
    pub tod_us: i64,
    /// Days since 1970-01-01, where the message carries a date.
    pub day: Option<i32>,
}

/// Where a stamp lies relative to the newest epoch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Place {
    /// The newest epoch itself.
    Same,
    /// A newer epoch, at this session time.
    New(u64),
    /// As `New`, but the source started again and the time between is unknown.
    Restarted(u64),
    /// Older than the newest epoch.
    Late,
}

/// Session time: microseconds since midnight UTC of the day the session began.
#[derive(Clone, Debug, Default)]
pub(super) struct Clock {
    newest: Option<(Stamp, u64)>,
    late: Option<Stamp>,
    late_run: u8,
}

impl Clock {
    /// Places a stamp; one within `same_us` of the newest epoch is that epoch.
    pub fn place(&mut self, now: Stamp, same_us: i64) -> Place {
        let Some((newest, session_us)) = self.newest else {
            let session_us = u64::try_from(now.tod_us).unwrap_or(0);
            self.newest = Some((now, session_us));
            return Place::New(session_us);
        };
        let step_us = step(newest, now);
        if step_us.saturating_abs() < same_us {
            self.late_run = 0;
            let day = now.day.or(newest.day);
            self.newest = Some((Stamp { day, ..newest }, session_us));
            return Place::Same;
        }
        if let Ok(ahead_us) = u64::try_from(step_us) {
            return Place::New(self.advance(newest, now, session_us.saturating_add(ahead_us)));
        }
        if self.late_is_restart(now, same_us) {
            let session_us = session_us.saturating_add(RESTART_GAP_US);
            self.newest = Some((now, session_us));
            self.late_run = 0;
            return Place::Restarted(session_us);
        }
        Place::Late
    }

    /// Replaces the newest epoch's stamp by a finer one of the same epoch; its session time.
    pub fn refine(&mut self, now: Stamp) -> u64 {
        let Some((newest, session_us)) = self.newest else {
            return 0;
        };
        let session_us = session_us.saturating_add_signed(step(newest, now));
        self.newest = Some((now, session_us));
        session_us
    }

    /// The newest day stated.
    pub fn day(&self) -> Option<i32> {
        self.newest.and_then(|(stamp, _)| stamp.day)
    }

    fn advance(&mut self, newest: Stamp, now: Stamp, session_us: u64) -> u64 {
        let midnights = i32::from(now.tod_us < newest.tod_us);
        let day = now
            .day
            .or_else(|| newest.day.map(|day| day.saturating_add(midnights)));
        self.newest = Some((Stamp { day, ..now }, session_us));
        self.late_run = 0;
        session_us
    }

    fn late_is_restart(&mut self, now: Stamp, same_us: i64) -> bool {
        let rise_us = self.late.map_or(0, |late| step(late, now));
        if self.late_run == 0 || rise_us <= -same_us {
            self.late_run = 1;
        } else if rise_us >= same_us {
            self.late_run = self.late_run.saturating_add(1);
        }
        self.late = Some(now);
        self.late_run >= LATE_RUN
    }
}

/// Signed microseconds from one stamp to another.
fn step(from: Stamp, to: Stamp) -> i64 {
    let plain = to.tod_us.saturating_sub(from.tod_us);
    // The day that held a leap second was a second longer.
    let day_us = if from.tod_us >= DAY_US {
        DAY_US + SECOND_US
    } else {
        DAY_US
    };
    let nearest = if plain < -DAY_US / 2 {
        plain.saturating_add(day_us)
    } else if plain > DAY_US / 2 {
        plain.saturating_sub(DAY_US)
    } else {
        plain
    };
    if CONTINUOUS_US.contains(&nearest) {
        return nearest;
    }
    match (from.day, to.day) {
        (Some(a), Some(b)) => match b.checked_sub(a) {
            Some(days) if (-DAYS_MAX..=DAYS_MAX).contains(&days) => {
                i64::from(days).saturating_mul(DAY_US).saturating_add(plain)
            }
            _ => nearest,
        },
        _ => nearest,
    }
}

/// Days since 1970-01-01 of a date of the proleptic Gregorian calendar; `None` for impossible
/// dates. Years 1970 to 2199.
pub(super) fn day_number(year: i32, month: u8, day: u8) -> Option<i32> {
    const BEFORE: [u16; 12] = [0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334];
    const LONG: [u8; 12] = [31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let at = usize::from(month.checked_sub(1)?);
    let before = i32::from(*BEFORE.get(at)?);
    let leap_year = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let long = *LONG.get(at)? - u8::from(month == 2 && !leap_year);
    if !(1970..2200).contains(&year) || day == 0 || day > long {
        return None;
    }
    let past = year - 1;
    // Leap days from 1970 to the end of the year before; 477 of them lie before 1970.
    let leap_days = past / 4 - past / 100 + past / 400 - 477;
    let this_year = before + i32::from(leap_year && month > 2) + i32::from(day) - 1;
    Some((year - 1970) * 365 + leap_days + this_year)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stamp(tod_s: f64, day: Option<i32>) -> Stamp {
        Stamp {
            tod_us: (tod_s * 1e6) as i64,
            day,
        }
    }

    #[test]
    fn days_count_from_1970() {
        assert_eq!(day_number(1970, 1, 1), Some(0));
        assert_eq!(day_number(2000, 3, 1), Some(11_017));
        assert_eq!(day_number(2026, 6, 14), Some(20_618));
        assert_eq!(day_number(2024, 2, 29), Some(19_782));
        assert_eq!(day_number(2023, 2, 29), None);
        assert_eq!(day_number(2100, 2, 29), None);
        assert_eq!(day_number(2024, 13, 1), None);
        assert_eq!(day_number(2024, 0, 1), None);
        assert_eq!(day_number(2024, 4, 31), None);
    }

    #[test]
    fn midnight_goes_on() {
        let mut clock = Clock::default();
        assert_eq!(
            clock.place(stamp(86_399.9, Some(10)), 1000),
            Place::New(86_399_900_000)
        );
        assert_eq!(
            clock.place(stamp(0.0, Some(11)), 1000),
            Place::New(86_400_000_000)
        );
        assert_eq!(clock.place(stamp(86_399.9, None), 1000), Place::Late);
        assert_eq!(clock.place(stamp(0.0, None), 1000), Place::Same);
    }

    #[test]
    fn a_leap_second_lasts_a_second() {
        let mut clock = Clock::default();
        clock.place(stamp(86_399.0, Some(10)), 1000);
        assert_eq!(
            clock.place(stamp(86_400.5, Some(10)), 1000),
            Place::New(86_400_500_000)
        );
        assert_eq!(
            clock.place(stamp(0.0, Some(11)), 1000),
            Place::New(86_401_000_000)
        );
        assert_eq!(
            clock.place(stamp(1.0, Some(11)), 1000),
            Place::New(86_402_000_000)
        );
    }

    #[test]
    fn a_day_between_two_runs_is_kept() {
        let mut clock = Clock::default();
        clock.place(stamp(50_000.0, Some(10)), 1000);
        let Place::New(us) = clock.place(stamp(40_000.0, Some(12)), 1000) else {
            panic!("two days later is not late");
        };
        assert_eq!(us, 50_000_000_000 + 2 * 86_400_000_000 - 10_000_000_000);
    }

    #[test]
    fn a_source_that_started_again_is_believed_after_three() {
        let mut clock = Clock::default();
        clock.place(stamp(50_000.0, None), 1000);
        assert_eq!(clock.place(stamp(40_000.0, None), 1000), Place::Late);
        assert_eq!(clock.place(stamp(40_000.0, None), 1000), Place::Late);
        assert_eq!(clock.place(stamp(40_000.1, None), 1000), Place::Late);
        let third = clock.place(stamp(40_000.2, None), 1000);
        assert_eq!(third, Place::Restarted(50_010_000_000));
        assert_eq!(
            clock.place(stamp(40_000.3, None), 1000),
            Place::New(50_010_100_000)
        );
    }
}

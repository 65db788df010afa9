//! Whether a pedal is written 0 to 1 or 0 to 100.
//!
//! In a file the largest value of its first [`SURVEY`] bytes decides, once and for each pedal
//! alone: above 1.5 it goes to 100. A live table has no such look ahead: there the pedal is
//! missing until a value above 1.5 decides for 100, or [`WATCH_ROWS`] rows without one, some of
//! them between released and full, decide for 1.

use super::names::Scale;

/// So many bytes of a file are looked at: some ten minutes at 50 Hz.
pub const SURVEY: usize = 4 << 20;
/// So many rows of a live table are looked at.
const WATCH_ROWS: u32 = 200;
/// A value above this is a percentage.
const UNIT_MAX: f64 = 1.5;
/// A value above this is neither.
const PERCENT_MAX: f64 = 105.0;
/// How far beyond its ends a pedal may be, as sensors are, in shares of the whole.
const SLACK: f64 = 0.05;

/// One pedal's scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pedal {
    /// Known: this much in one unit.
    Known(f64),
    /// Not yet known: rows seen, and whether one was in between.
    Watched {
        /// Rows seen.
        rows: u32,
        /// Whether one was between released and full.
        between: bool,
    },
    /// Neither scale fits.
    Unusable,
}

impl Pedal {
    /// From what the column's name says.
    pub const fn of(scale: Scale) -> Self {
        match scale {
            Scale::Percent => Self::Known(0.01),
            Scale::Unknown => Self::Watched {
                rows: 0,
                between: false,
            },
        }
    }

    /// From the largest value there is.
    pub fn of_largest(largest: f64) -> Self {
        if largest > PERCENT_MAX {
            Self::Unusable
        } else if largest > UNIT_MAX {
            Self::Known(0.01)
        } else {
            Self::Known(1.0)
        }
    }

    /// The pedal's position from its cell's value; the error says that it is beyond its ends.
    pub fn position(&mut self, value: f64) -> Result<Option<f32>, ()> {
        if let Self::Watched { rows, between } = *self {
            let between = between || (0.02..0.98).contains(&value);
            let rows = rows.saturating_add(1);
            *self = if value > UNIT_MAX {
                Self::of_largest(value)
            } else if rows >= WATCH_ROWS && between {
                Self::Known(1.0)
            } else {
                Self::Watched { rows, between }
            };
        }
        let Self::Known(unit) = *self else {
            return Ok(None);
        };
        let position = value * unit;
        if (-SLACK..=1.0 + SLACK).contains(&position) {
            Ok(Some(position.clamp(0.0, 1.0) as f32))
        } else {
            Err(())
        }
    }

    /// What was decided, in words; `None` while it is open.
    pub fn words(self, name: &str) -> Option<String> {
        match self {
            Self::Known(1.0) => Some(format!("`{name}` goes from 0 to 1")),
            Self::Known(_) => Some(format!("`{name}` goes from 0 to 100")),
            Self::Watched { .. } => None,
            Self::Unusable => Some(format!(
                "`{name}` goes neither to 1 nor to 100 and is not used"
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_largest_value_decides() {
        assert_eq!(Pedal::of_largest(1.0).position(0.25), Ok(Some(0.25)));
        assert_eq!(Pedal::of_largest(99.0).position(25.0), Ok(Some(0.25)));
        assert_eq!(Pedal::of_largest(255.0).position(25.0), Ok(None));
        assert_eq!(Pedal::of_largest(1.0).position(-0.01), Ok(Some(0.0)));
        assert_eq!(Pedal::of_largest(1.0).position(2.0), Err(()));
        assert_eq!(Pedal::of_largest(1.0).position(-0.5), Err(()));
    }

    #[test]
    fn a_live_pedal_is_missing_until_its_scale_is_known() {
        let mut pedal = Pedal::of(Scale::Unknown);
        assert_eq!(pedal.position(0.0), Ok(None));
        assert_eq!(pedal.position(0.8), Ok(None));
        assert_eq!(pedal.position(40.0), Ok(Some(0.4)));
        let mut pedal = Pedal::of(Scale::Unknown);
        for _ in 0..199 {
            assert_eq!(pedal.position(0.5), Ok(None));
        }
        assert_eq!(pedal.position(0.5), Ok(Some(0.5)));
    }
}

//! Which way a column of directions counts.
//!
//! By name a course runs clockwise from north and a heading in radians counter-clockwise from east,
//! but programs differ. Where a table has positions as well, they decide: the column is used once
//! its directions agree with the steps between positions, in the sense that agrees.

use super::names::Angle;
use cuepost_engine::Position;
use std::f64::consts::FRAC_PI_2;

/// A step between positions counts from this length on, metres.
const STEP_M: f64 = 2.0;
/// Positions farther apart in time than this make no step, microseconds.
const STEP_US: u64 = 1_500_000;
/// So many steps are asked before deciding.
const STEPS_LEAST: u32 = 20;
/// After so many steps that leave it open, the name decides; the column is dropped if it fits
/// neither way.
const STEPS_MOST: u32 = 200;
/// Mean cosine of the difference from which directions agree (26 degrees).
const AGREE: f64 = 0.9;
/// By so much one sense must agree better than the other.
const CLEARLY: f64 = 0.05;

/// Metres in 1e-7 degree of latitude, near enough for a direction.
const METRES_PER_E7: f64 = 0.011_132;

/// A column of directions.
#[derive(Clone, Debug)]
pub struct Direction {
    angle: Angle,
    state: State,
}

#[derive(Clone, Debug)]
enum State {
    /// Positions are being asked.
    Open {
        anchor: Option<Anchor>,
        steps: u32,
        /// Sums of cosines for clockwise from north and counter-clockwise from east.
        clockwise: f64,
        counter: f64,
    },
    Decided {
        clockwise: bool,
        by_positions: bool,
    },
    Unusable,
}

#[derive(Clone, Copy, Debug)]
struct Anchor {
    time_us: u64,
    position: Position,
    value_rad: f64,
}

impl Direction {
    /// A column; with positions in the table they decide.
    pub fn new(angle: Angle, positions: bool) -> Self {
        let state = if positions {
            State::Open {
                anchor: None,
                steps: 0,
                clockwise: 0.0,
                counter: 0.0,
            }
        } else {
            State::Decided {
                clockwise: angle.clockwise,
                by_positions: false,
            }
        };
        Self { angle, state }
    }

    /// Radians counter-clockwise from east; `None` while undecided.
    pub fn read(&mut self, value: f64, time_us: u64, position: Option<Position>) -> Option<f64> {
        let value_rad = value * self.angle.unit_rad;
        if let State::Decided { clockwise, .. } = self.state {
            return Some(sense(value_rad, clockwise));
        }
        self.ask(Anchor {
            time_us,
            position: position?,
            value_rad,
        });
        None
    }

    fn ask(&mut self, now: Anchor) {
        let State::Open {
            anchor,
            steps,
            clockwise,
            counter,
        } = &mut self.state
        else {
            return;
        };
        let Some(from) = anchor.filter(|a| now.time_us - a.time_us <= STEP_US) else {
            *anchor = Some(now);
            return;
        };
        let (east, north) = step_m(from.position, now.position);
        if east.hypot(north) < STEP_M {
            return;
        }
        // Between the two directions, since the way may turn.
        let step = north.atan2(east);
        let agreement = |is_clockwise| {
            let (a, b) = (
                sense(from.value_rad, is_clockwise),
                sense(now.value_rad, is_clockwise),
            );
            let mean = (a.sin() + b.sin()).atan2(a.cos() + b.cos());
            (step - mean).cos()
        };
        *clockwise += agreement(true);
        *counter += agreement(false);
        *steps += 1;
        *anchor = Some(now);
        let count = f64::from(*steps);
        let (clockwise, counter, steps) = (*clockwise / count, *counter / count, *steps);
        self.decide(clockwise, counter, steps);
    }

    fn decide(&mut self, clockwise: f64, counter: f64, steps: u32) {
        let best = clockwise.max(counter);
        let clear = (clockwise - counter).abs() >= CLEARLY;
        if steps >= STEPS_LEAST && best >= AGREE && clear {
            self.state = State::Decided {
                clockwise: clockwise > counter,
                by_positions: true,
            };
        } else if steps >= STEPS_MOST {
            self.state = if best >= AGREE {
                State::Decided {
                    clockwise: self.angle.clockwise,
                    by_positions: false,
                }
            } else {
                State::Unusable
            };
        }
    }

    /// What was decided, in words; `None` while it is open.
    pub fn words(&self, name: &str) -> Option<String> {
        let way = |clockwise| {
            if clockwise {
                "clockwise from north"
            } else {
                "counter-clockwise from east"
            }
        };
        match self.state {
            State::Open { .. } => None,
            State::Unusable => Some(format!(
                "`{name}` does not agree with the steps between positions and is not used"
            )),
            State::Decided {
                clockwise,
                by_positions: true,
            } => Some(format!(
                "`{name}` runs {}, as the positions show",
                way(clockwise)
            )),
            State::Decided { clockwise, .. } => {
                Some(format!("`{name}` runs {}, by its name", way(clockwise)))
            }
        }
    }
}

fn sense(value_rad: f64, clockwise: bool) -> f64 {
    if clockwise {
        FRAC_PI_2 - value_rad
    } else {
        value_rad
    }
}

/// Metres east and north from one position to another.
fn step_m(from: Position, to: Position) -> (f64, f64) {
    match (from, to) {
        (
            Position::Local { east_mm, north_mm },
            Position::Local {
                east_mm: to_east,
                north_mm: to_north,
            },
        ) => (
            to_east.wrapping_sub(east_mm) as f64 * 1e-3,
            to_north.wrapping_sub(north_mm) as f64 * 1e-3,
        ),
        (
            Position::Geodetic { lat_e7, lon_e7 },
            Position::Geodetic {
                lat_e7: to_lat,
                lon_e7: to_lon,
            },
        ) => {
            let narrowing = (f64::from(lat_e7) * 1e-7).to_radians().cos();
            (
                f64::from(to_lon.wrapping_sub(lon_e7)) * METRES_PER_E7 * narrowing,
                f64::from(to_lat.wrapping_sub(lat_e7)) * METRES_PER_E7,
            )
        }
        // Never in one table.
        _ => (0.0, 0.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RADIANS: Angle = Angle {
        unit_rad: 1.0,
        clockwise: true,
    };

    /// Drives a left-hand circle and writes the direction as `write` says.
    fn drive(angle: Angle, rows: u32, write: impl Fn(f64) -> f64) -> (Direction, Option<f64>) {
        let mut direction = Direction::new(angle, true);
        let mut last = None;
        for k in 0..rows {
            let along = f64::from(k) * 0.01;
            let position = Position::Local {
                east_mm: (along.sin() * 100e3) as i64,
                north_mm: (-along.cos() * 100e3) as i64,
            };
            last = direction.read(write(along), u64::from(k) * 40_000, Some(position));
        }
        (direction, last)
    }

    #[test]
    fn positions_overrule_the_name() {
        let (_, last) = drive(RADIANS, 100, |along| along);
        assert_eq!(last, Some(0.99));
        let (direction, last) = drive(RADIANS, 100, |along| FRAC_PI_2 - along);
        assert!((last.unwrap() - 0.99).abs() < 1e-12);
        assert_eq!(
            direction.words("c").unwrap(),
            "`c` runs clockwise from north, as the positions show"
        );
    }

    #[test]
    fn nonsense_is_not_used() {
        let (direction, last) = drive(RADIANS, 900, |along| along * 7.0);
        assert_eq!(last, None);
        assert!(direction.words("c").unwrap().ends_with("is not used"));
    }

    #[test]
    fn without_positions_the_name_decides() {
        let mut direction = Direction::new(RADIANS, false);
        assert_eq!(direction.read(0.0, 0, None), Some(FRAC_PI_2));
    }
}

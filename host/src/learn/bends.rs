//! Stretches of a lap with lateral load to one side.

use super::curves::Curves;
use super::round::Round;

/// The share of the car's lateral grip from which road is a bend.
const LOAD_SHARE: f64 = 0.25;
/// Bends to the same side closer than this are one (a double apex), seconds.
const JOIN_S: f64 = 0.8;
/// Less turning than this is no bend, degrees.
const TURN_MIN_DEG: f64 = 6.0;

/// A bend, in entries of the round.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bend {
    /// First entry.
    pub begin: usize,
    /// Last entry.
    pub end: usize,
    /// The entry with the largest load.
    pub peak: usize,
    /// The largest load as a share of the car's grip.
    pub load: f64,
    /// Angle turned, degrees, left positive.
    pub turned_deg: f64,
}

impl Bend {
    /// Two bends as one.
    pub fn joined(&self, other: &Self) -> Self {
        let harder = if other.load > self.load { other } else { self };
        Self {
            begin: self.begin.min(other.begin),
            end: self.end.max(other.end),
            peak: harder.peak,
            load: harder.load,
            turned_deg: self.turned_deg + other.turned_deg,
        }
    }
}

/// All bends of a lap in order.
pub fn bends(round: &Round, curves: &Curves) -> Vec<Bend> {
    let load = |i: usize| {
        let grip = Curves::at(&curves.lateral, round.speed[i]).max(1.0);
        round.lateral(i) / grip
    };
    let mut all: Vec<Bend> = Vec::new();
    for i in 0..round.entries() {
        let here = load(i);
        if here.abs() < LOAD_SHARE {
            continue;
        }
        let bend = Bend {
            begin: i,
            end: i,
            peak: i,
            load: here.abs(),
            turned_deg: round.turned_deg(i, i),
        };
        match all.last_mut() {
            Some(b) if b.turned_deg * here > 0.0 && round.time[i] - round.time[b.end] < JOIN_S => {
                *b = b.joined(&bend);
            }
            _ => all.push(bend),
        }
    }
    for b in &mut all {
        b.turned_deg = round.turned_deg(b.begin, b.end);
    }
    all.retain(|b| b.turned_deg.abs() >= TURN_MIN_DEG);
    all
}

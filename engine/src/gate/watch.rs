//! Do position, speed and direction tell one story? Watches over windows of about half a second.

use crate::event::Why;
use crate::math::{atan2, hypot, wrap_angle};

/// The shortest window, seconds.
const WINDOW_S: f32 = 0.5;
/// The least distance by speed that a window spans, metres.
const WINDOW_M: f32 = 10.0;
/// A window this long is judged whatever its distance, seconds.
const WINDOW_MOST_S: f32 = 2.0;
/// How far the chord of positions may fall short of the distance by speed, as its fraction.
/// A half circle driven within the window has a chord of 0.64.
const SHORT: f32 = 0.65;
/// How far it may exceed it.
const LONG: f32 = 1.35;
/// Metres by which positions may wander within a window.
const WANDER_M: f32 = 3.0;
/// Largest angle between the chord and the stated direction, radians.
const ASKEW_RAD: f32 = 0.6;
/// Good windows in a row after which a contradiction is over.
const WINDOWS_GOOD: u8 = 2;
/// Smoothing time of the speed's roughness, seconds.
const ROUGH_S: f32 = 0.3;
/// Mean second difference of the speed above which it is noise and no driving, m/s.
const ROUGH_MPS: f32 = 1.5;

/// Compares what is travelled by position with what is travelled by speed.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Watch {
    anchor: Option<Anchor>,
    good_to_go: u8,
    rough_mps: f32,
    speeds: Option<(f32, f32)>,
}

/// Where a window began and what it has seen since.
#[derive(Clone, Copy, Debug)]
struct Anchor {
    east_m: f32,
    north_m: f32,
    direction_rad: Option<f32>,
    travelled_m: f32,
    elapsed_s: f32,
}

/// What the watch looks at.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    pub(super) east_m: f32,
    pub(super) north_m: f32,
    pub(super) located: bool,
    pub(super) speed_mps: f32,
    pub(super) direction_rad: Option<f32>,
    pub(super) dt_s: f32,
}

impl Watch {
    /// Takes an admitted instant and says whether the story still hangs together.
    pub(super) fn look(&mut self, seen: &Seen) -> Why {
        self.roughen(seen);
        let Some(a) = &mut self.anchor else {
            self.anchor = Some(Anchor::at(seen));
            return self.verdict();
        };
        a.travelled_m += seen.speed_mps * seen.dt_s;
        a.elapsed_s += seen.dt_s;
        if seen.located && a.elapsed_s >= WINDOW_S && a.long_enough(seen) {
            if a.told_otherwise(seen) {
                self.good_to_go = WINDOWS_GOOD;
            } else {
                self.good_to_go = self.good_to_go.saturating_sub(1);
            }
            self.anchor = Some(Anchor::at(seen));
        }
        self.verdict()
    }

    /// What was last said.
    pub(super) fn verdict(&self) -> Why {
        if self.good_to_go > 0 {
            Why::Contradiction
        } else if self.is_rough() {
            Why::Inaccurate
        } else {
            Why::Good
        }
    }

    /// Whether the speed is rougher than driving.
    pub(super) fn is_rough(&self) -> bool {
        self.rough_mps > ROUGH_MPS
    }

    /// The speed leapt as no car's does: as good as a contradiction.
    pub(super) fn suspect(&mut self) {
        self.good_to_go = WINDOWS_GOOD;
    }

    /// Begins a new window, for instance after a gap; what was found stays.
    pub(super) fn cut(&mut self) {
        self.anchor = None;
        self.speeds = None;
    }

    /// Follows the mean size of the speed's second difference, which driving keeps small.
    fn roughen(&mut self, seen: &Seen) {
        if let Some((before, last)) = self.speeds {
            let second = (seen.speed_mps - 2.0 * last + before).abs();
            let k = seen.dt_s / (ROUGH_S + seen.dt_s);
            self.rough_mps += k * (second - self.rough_mps);
            self.speeds = Some((last, seen.speed_mps));
        } else {
            self.speeds = Some((seen.speed_mps, seen.speed_mps));
        }
    }
}

impl Anchor {
    fn at(seen: &Seen) -> Self {
        Self {
            east_m: seen.east_m,
            north_m: seen.north_m,
            direction_rad: seen.direction_rad,
            travelled_m: 0.0,
            elapsed_s: 0.0,
        }
    }

    /// Far enough by either account to be judged, or old enough.
    fn long_enough(&self, seen: &Seen) -> bool {
        let (e, n) = (seen.east_m - self.east_m, seen.north_m - self.north_m);
        self.travelled_m >= WINDOW_M
            || e * e + n * n >= WINDOW_M * WINDOW_M
            || self.elapsed_s >= WINDOW_MOST_S
    }

    fn told_otherwise(&self, seen: &Seen) -> bool {
        let (e, n) = (seen.east_m - self.east_m, seen.north_m - self.north_m);
        let chord = hypot(e, n);
        if chord > LONG * self.travelled_m + WANDER_M || chord < SHORT * self.travelled_m - WANDER_M
        {
            return true;
        }
        match (self.direction_rad, seen.direction_rad) {
            (Some(a), Some(b)) if chord >= WINDOW_M => {
                let middle = a + 0.5 * wrap_angle(b - a);
                wrap_angle(middle - atan2(n, e)).abs() > ASKEW_RAD
            }
            _ => false,
        }
    }
}

//! The direction of travel from positions, for sources that have none of their own.

use crate::math::{atan2, hypot, wrap_angle};

/// The shortest chord a direction is taken from, metres.
const CHORD_LEAST_M: f32 = 1.5;
/// The longest distance between two kept points, metres.
const CHORD_MOST_M: f32 = 6.0;
/// Seconds of driving between two kept points, within the two limits above.
const CHORD_S: f32 = 0.15;

/// The last points of the path and the chord between the older two.
///
/// The direction at the newest position is that of the last chord, turned on by half of what the
/// chord before it says about the curvature, so that it does not lag in corners: exact on a
/// circle.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Course {
    newest: Option<(f32, f32)>,
    middle: Option<(f32, f32)>,
    older: Option<Chord>,
}

#[derive(Clone, Copy, Debug)]
struct Chord {
    angle_rad: f32,
    length_m: f32,
}

impl Course {
    /// Takes a position and gives the direction of travel there, radians counter-clockwise from
    /// east, once the car has moved far enough.
    pub(super) fn at(&mut self, east_m: f32, north_m: f32, speed_mps: f32) -> Option<f32> {
        let keep_m = (CHORD_S * speed_mps).clamp(CHORD_LEAST_M, CHORD_MOST_M);
        let newest = *self.newest.get_or_insert((east_m, north_m));
        let from = self.middle.unwrap_or(newest);
        let chord = chord(from, (east_m, north_m));
        let direction = chord.map(|c| match self.older {
            Some(o) => {
                let turn = wrap_angle(c.angle_rad - o.angle_rad);
                c.angle_rad + turn * c.length_m / (c.length_m + o.length_m)
            }
            None => c.angle_rad,
        });
        let (e, n) = (east_m - newest.0, north_m - newest.1);
        if e * e + n * n >= keep_m * keep_m {
            self.older = self.middle.and_then(|m| self::chord(m, newest));
            self.middle = Some(newest);
            self.newest = Some((east_m, north_m));
        }
        direction.map(wrap_angle)
    }
}

/// The chord between two points unless it is too short to tell a direction.
fn chord(from: (f32, f32), to: (f32, f32)) -> Option<Chord> {
    let (e, n) = (to.0 - from.0, to.1 - from.1);
    let length_m = hypot(e, n);
    (length_m >= CHORD_LEAST_M).then(|| Chord {
        angle_rad: atan2(n, e),
        length_m,
    })
}

//! The slowest point of a corner: a parabola through the speeds around it.

use super::Measured;
use crate::math::sqrt;
use crate::onset::{Instant, Normal};
use crate::trace::{Point, Trace};

/// Half of the window the parabola is fitted in, seconds.
pub const HALF_S: f32 = 0.3;
/// Where a flat bottom leaves the place open, it is known no better than this, seconds.
const FLAT_SD_S: f32 = 0.3;

/// The vertex of the parabola around the slowest point so far, and its speed.
pub fn fit(trace: &Trace, around: u32) -> Option<(Instant, Measured)> {
    let centre = trace.get(around)?;
    let seconds = |p: &Point| p.since_us(centre.low_us) as f32 * 1e-6;
    let mut number = around;
    while let Some(p) = trace.get(number.wrapping_sub(1)) {
        if seconds(p) < -HALF_S {
            break;
        }
        number = number.wrapping_sub(1);
    }
    let mut normal = Normal::<3>::default();
    let mut n = 0.0f32;
    while let Some(p) = trace.get(number) {
        let t = seconds(p);
        if t > HALF_S {
            break;
        }
        // The linear term last: its variance is the one the place depends on.
        normal.add([1.0, t * t, t], p.speed_mps - centre.speed_mps);
        n += 1.0;
        number = number.wrapping_add(1);
    }
    if n < 5.0 {
        return None;
    }
    let solved = normal.solve()?;
    let [level, bend, slope] = solved.x;
    let variance = solved.residual / (n - 3.0);
    let flat = bend <= 0.5;
    let at_s = if flat {
        0.0
    } else {
        (-slope / (2.0 * bend)).clamp(-HALF_S, HALF_S)
    };
    let sd_s = if flat {
        FLAT_SD_S
    } else {
        (sqrt(solved.variance_of_last * variance) / (2.0 * bend)).clamp(0.002, FLAT_SD_S)
    };
    // The vertex of a stop lies below it.
    let speed_mps = (centre.speed_mps + level + slope * at_s + bend * at_s * at_s).max(0.0);
    let place = Instant {
        time_us: trace
            .source_us(centre)
            .checked_add_signed((at_s * 1e6) as i64)?,
        progress_m: centre.progress_m + speed_mps * at_s,
        speed_mps,
        lap: centre.lap,
        sd_s,
    };
    // A parabola's vertex has 1.5 times the noise of the mean of its points.
    Some((place, Measured::new(speed_mps, sqrt(variance / n) * 1.5)))
}

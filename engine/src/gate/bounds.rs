//! What a sample may say, and what may follow the last one.

use super::{BRIDGE_S, COURSE_LEAST_MPS, Last, Refusal, Spot};
use crate::math::{larger, sin_cos};
use crate::reference::Frame;
use crate::sample::{Position, Sample};

/// Faster than any car on a circuit, m/s.
const SPEED_MOST_MPS: f32 = 150.0;
/// Speeds this little below zero are noise at standstill, m/s.
const SPEED_LEAST_MPS: f32 = -1.0;
/// A position may be off by this much from one sample to the next, metres.
const STRAY_M: f32 = 10.0;
/// How much faster than its speed a car may seem to move.
pub(super) const STRIDE: f32 = 1.3;
/// No car gains or loses speed faster, m/s².
const PUSH_MOST_MPS2: f32 = 80.0;
/// Noise of a speed from one sample to the next, m/s.
const PUSH_NOISE_MPS: f32 = 3.0;
/// Worse stated positions are no use, metres.
const POSITION_SD_MOST_M: f32 = 10.0;
/// Worse stated speeds are no use, m/s.
pub(super) const SPEED_SD_MOST_MPS: f32 = 2.0;

/// The speed when it can be one.
pub(super) fn speed(speed_mps: Option<f32>) -> Result<f32, Refusal> {
    let v = speed_mps.ok_or(Refusal::NoFix)?;
    // NaN is in no range.
    if (SPEED_LEAST_MPS..=SPEED_MOST_MPS).contains(&v) {
        Ok(larger(v, 0.0))
    } else {
        Err(Refusal::NotFinite)
    }
}

/// Refuses what the source itself calls too poor.
pub(super) fn inaccurate(sample: &Sample) -> Result<(), Refusal> {
    let poor = sample
        .position_sd_m
        .is_some_and(|sd| sd > POSITION_SD_MOST_M)
        || sample.speed_sd_mps.is_some_and(|sd| sd > SPEED_SD_MOST_MPS);
    if poor {
        Err(Refusal::Inaccurate)
    } else {
        Ok(())
    }
}

/// Where the car is: as measured, or bridged on speed while the position is missing or repeated.
pub(super) fn place(
    frame: &Frame,
    position: Option<Position>,
    speed_mps: f32,
    dt_s: f32,
    last: Option<&Last>,
) -> Result<Spot, Refusal> {
    let why = match (position, last) {
        // Nothing new at all: the speed is as old as the position.
        (Some(p), Some(l))
            if l.raw == Some(p)
                && speed_mps > COURSE_LEAST_MPS
                && speed_mps.to_bits() == l.speed_mps.to_bits() =>
        {
            return Err(Refusal::Frozen);
        }
        (None, _) => Refusal::NoFix,
        (Some(p), Some(l)) if l.raw == Some(p) && speed_mps > COURSE_LEAST_MPS => Refusal::Frozen,
        (Some(p), _) => {
            let (east_m, north_m) = frame.locate(p).ok_or(Refusal::Leap)?;
            return Ok(Spot {
                east_m,
                north_m,
                located: true,
            });
        }
    };
    let l = last.ok_or(why)?;
    if l.unlocated_s + dt_s > BRIDGE_S {
        return Err(why);
    }
    let metres = 0.5 * (l.speed_mps + speed_mps) * dt_s;
    // The chord of the arc that the car turns meanwhile.
    let (e, n) = l.direction_rad.map_or((0.0, 0.0), |d| {
        let middle = d + 0.5 * l.turn_rps * dt_s;
        let (sin, cos) = sin_cos(middle);
        (metres * cos, metres * sin)
    });
    Ok(Spot {
        east_m: l.east_m + e,
        north_m: l.north_m + n,
        located: false,
    })
}

/// Why a place and speed cannot follow the last one; none when they can.
pub(super) fn out_of_reach(last: &Last, spot: Spot, speed_mps: f32, dt_s: f32) -> Option<Refusal> {
    let (e, n) = (spot.east_m - last.east_m, spot.north_m - last.north_m);
    let reach = STRIDE * larger(last.speed_mps, speed_mps) * dt_s + STRAY_M;
    if e * e + n * n > reach * reach {
        Some(Refusal::Leap)
    } else if pushed(last.speed_mps, speed_mps, dt_s) {
        Some(Refusal::NotFinite)
    } else {
        None
    }
}

/// Whether no car could change its speed like that.
pub(super) fn pushed(from_mps: f32, to_mps: f32, dt_s: f32) -> bool {
    (to_mps - from_mps).abs() > PUSH_MOST_MPS2 * dt_s + PUSH_NOISE_MPS
}

/// A field that is finite and in range; one that is not is counted.
pub(super) fn within(value: Option<f32>, least: f32, most: f32, dropped: &mut u32) -> Option<f32> {
    let v = value?;
    if (least..=most).contains(&v) {
        return Some(v);
    }
    *dropped = dropped.saturating_add(1);
    None
}

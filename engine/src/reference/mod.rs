//! The reference: a line around the circuit, the corners on it, and what the reference car does.
//!
//! Progress 0 is the start line, which crosses the reference line at node 0 at a right angle.
//! The line is closed: the last node is followed by the first, `spacing_m` on.

#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod check;
mod codec;
#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod nodes;
#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod store;
#[cfg(test)]
mod test_circuit;
#[cfg(test)]
mod tests;

pub use crate::file::{FileFault as ReferenceFault, id};
pub use check::{MASS_KG, NODES_MIN, SPACING_M, check};
pub use codec::{MAGIC, VERSION, decode, encode};
pub use store::{ReferenceStore, ReferenceView};

use crate::facts::Facts;
use crate::sample::Position;
use heapless::String;
use serde::{Deserialize, Serialize};

/// How the plane of a reference hangs together with the positions of the source.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Frame {
    /// WGS 84 degrees around an origin, to second order in the offsets (true east/north plane
    /// within 2 cm at 5 km).
    Geodetic {
        /// Latitude of the origin, 1e-7 degree.
        lat_e7: i32,
        /// Longitude of the origin, 1e-7 degree.
        lon_e7: i32,
        /// Metres east for each 1e-7 degree of longitude at the origin.
        east_m: f32,
        /// Change of `east_m` for each 1e-7 degree of latitude.
        east_lat_m: f32,
        /// Metres north for each 1e-7 degree of latitude at the origin.
        north_m: f32,
        /// Metres north for the square of each 1e-7 degree of longitude.
        north_lon2_m: f32,
    },
    /// Millimetres in the source's own plane around an origin.
    Local {
        /// The origin's east, millimetres.
        east_mm: i64,
        /// The origin's north, millimetres.
        north_mm: i64,
    },
}

/// Farther than this from the origin nothing is a position on the circuit, metres.
pub const REACH_M: f32 = 30_000.0;

impl Frame {
    /// Metres east and north of the origin; `None` for the other kind of position or one farther
    /// away than [`REACH_M`].
    pub fn locate(&self, position: Position) -> Option<(f32, f32)> {
        let (east, north) = match (self, position) {
            (
                Self::Geodetic {
                    lat_e7,
                    lon_e7,
                    east_m,
                    east_lat_m,
                    north_m,
                    north_lon2_m,
                },
                Position::Geodetic {
                    lat_e7: lat,
                    lon_e7: lon,
                },
            ) => {
                let dlat = near(i64::from(lat).saturating_sub(i64::from(*lat_e7)))?;
                let dlon = near(wrap_lon_e7(
                    i64::from(lon).saturating_sub(i64::from(*lon_e7)),
                ))?;
                (
                    dlon * (east_m + east_lat_m * dlat),
                    dlat * north_m + north_lon2_m * dlon * dlon,
                )
            }
            (
                Self::Local { east_mm, north_mm },
                Position::Local {
                    east_mm: e,
                    north_mm: n,
                },
            ) => (
                near(e.saturating_sub(*east_mm))? * 1e-3,
                near(n.saturating_sub(*north_mm))? * 1e-3,
            ),
            _ => return None,
        };
        (east.abs() <= REACH_M && north.abs() <= REACH_M).then_some((east, north))
    }
}

/// A difference that 32 bits hold, as all within [`REACH_M`] are; boards convert those at once.
fn near(d: i64) -> Option<f32> {
    i32::try_from(d).ok().map(|d| d as f32)
}

/// A longitude difference brought into half a turn either way.
fn wrap_lon_e7(d: i64) -> i64 {
    const TURN: i64 = 3_600_000_000;
    if (-TURN / 2..TURN / 2).contains(&d) {
        return d;
    }
    let r = d.rem_euclid(TURN);
    if r >= TURN / 2 {
        r.saturating_sub(TURN)
    } else {
        r
    }
}

/// One point of the reference line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Node {
    /// Millimetres east of the frame's origin.
    pub east_mm: i32,
    /// Millimetres north of the frame's origin.
    pub north_mm: i32,
    /// When the reference lap passed here, milliseconds from its start.
    pub time_ms: u32,
    /// How fast, cm/s.
    pub speed_cmps: u16,
    /// Curvature in 1e-5 per metre, positive to the left.
    pub curvature_e5: i16,
}

/// What the reference driver did to get round a corner.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum CornerKind {
    /// Braked for.
    #[default]
    Braked,
    /// Only lifted for.
    Lifted,
    /// Taken flat.
    Flat,
}

impl CornerKind {
    /// The one word for it, lower case, as every output writes it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Braked => "braked",
            Self::Lifted => "lifted",
            Self::Flat => "flat",
        }
    }
}

/// How far the reference laps scattered: one standard deviation over the laps, 0 with one lap.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Spread {
    /// Laps that went into it.
    pub laps: u8,
    /// Brake onset, metres.
    pub brake_m: f32,
    /// Slowest speed, m/s.
    pub slowest_mps: f32,
    /// Throttle onset, metres.
    pub throttle_m: f32,
    /// Full-throttle point, metres.
    pub full_m: f32,
    /// Exit speed, m/s.
    pub exit_mps: f32,
    /// Offset at the slowest point, metres.
    pub offset_slowest_m: f32,
    /// Offset at the exit, metres.
    pub offset_exit_m: f32,
    /// Loss of the whole corner, seconds.
    pub loss_s: f32,
}

/// One corner of the reference. Spans tile the lap: a corner owns the road from its `begin_m` to
/// the next corner's `begin_m`, the straight after it included. Progress wraps at the start line.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Corner {
    /// How the reference driver took it.
    pub kind: CornerKind,
    /// Where the corner's responsibility begins: before the earliest braking that can belong to it.
    pub begin_m: f32,
    /// Where its bend begins on the reference line.
    pub turn_m: f32,
    /// Where its middle begins: losses before are the entry's.
    pub middle_begin_m: f32,
    /// Its slowest point, or the tightest one of a flat corner.
    pub apex_m: f32,
    /// Where its middle ends: losses behind are the exit's.
    pub middle_end_m: f32,
    /// Where its bend ends and exit speed and offset are taken.
    pub exit_m: f32,
    /// +1 for a left-hander, -1 for a right-hander.
    pub turn: i8,
    /// Gear at the slowest point when the source tells it.
    pub gear: Option<i8>,
    /// The facts of the reference lap (its losses are 0).
    pub facts: Facts,
    /// How far the reference laps scattered.
    pub spread: Spread,
    /// A name for people, may be empty.
    pub name: String<24>,
    /// The coach's note, may be empty.
    pub note: String<64>,
    /// True when its facts were computed for other conditions and nobody has driven them: until a
    /// lap has, nothing is told that asks for more than was driven.
    pub unproven: bool,
}

/// A thing beside the track that people can see.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Landmark {
    /// Metres from the start line.
    pub progress_m: f32,
    /// Which side: +1 left, -1 right, 0 across (a bridge).
    pub side: i8,
    /// What people call it.
    pub name: String<24>,
}

/// Entries of a [`CarCurves`] table.
pub const CURVE_POINTS: usize = 24;
/// The entry for 20 m/s, where the air hardly presses the car down.
const SLOW: usize = 4;
/// Speed between two entries, m/s; the first is for 0 m/s.
pub const CURVE_STEP_MPS: f32 = 5.0;

/// What the car can do against speed, learned from the reference laps. Tables in cm/s² at every
/// [`CURVE_STEP_MPS`]; speeds never driven are extended from the nearest driven one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct CarCurves {
    /// Longitudinal acceleration off both pedals (negative).
    pub coast_cmps2: [i16; CURVE_POINTS],
    /// Longitudinal acceleration at full throttle.
    pub full_cmps2: [i16; CURVE_POINTS],
    /// Largest sustained deceleration (positive).
    pub brake_cmps2: [i16; CURVE_POINTS],
    /// Largest sustained lateral acceleration (positive).
    pub lateral_cmps2: [i16; CURVE_POINTS],
}

impl CarCurves {
    /// Acceleration off both pedals at a speed, m/s².
    pub fn coast_mps2(&self, speed_mps: f32) -> f32 {
        interpolate(&self.coast_cmps2, speed_mps)
    }
    /// Acceleration at full throttle at a speed, m/s².
    pub fn full_mps2(&self, speed_mps: f32) -> f32 {
        interpolate(&self.full_cmps2, speed_mps)
    }
    /// Largest sustained deceleration at a speed, m/s², positive.
    pub fn brake_mps2(&self, speed_mps: f32) -> f32 {
        interpolate(&self.brake_cmps2, speed_mps)
    }
    /// Largest sustained deceleration of the car when slow, m/s², positive: the measure of a pedal's
    /// travel, as what a foot gives does not grow with the speed.
    pub fn foot_mps2(&self) -> f32 {
        self.brake_cmps2
            .get(SLOW)
            .map_or(0.0, |&most| f32::from(most) * 0.01)
    }
    /// The first three of these at once: coasting, full throttle, largest deceleration.
    pub fn along_mps2(&self, speed_mps: f32) -> [f32; 3] {
        let at = Between::of(speed_mps);
        [&self.coast_cmps2, &self.full_cmps2, &self.brake_cmps2].map(|table| at.mps2(table))
    }
    /// Largest sustained lateral acceleration at a speed, m/s², positive.
    pub fn lateral_mps2(&self, speed_mps: f32) -> f32 {
        interpolate(&self.lateral_cmps2, speed_mps)
    }
}

/// Linear between entries, constant beyond the ends, in m/s².
fn interpolate(table: &[i16; CURVE_POINTS], speed_mps: f32) -> f32 {
    Between::of(speed_mps).mps2(table)
}

/// A speed between two entries of the tables.
#[derive(Clone, Copy, Debug)]
struct Between {
    entry: usize,
    share: f32,
}

impl Between {
    fn of(speed_mps: f32) -> Self {
        let x = (speed_mps / CURVE_STEP_MPS).clamp(0.0, (CURVE_POINTS - 1) as f32);
        const LAST: usize = CURVE_POINTS - 2;
        let entry = (x as u8).min(LAST as u8);
        Self {
            entry: usize::from(entry),
            share: x - f32::from(entry),
        }
    }

    fn mps2(self, table: &[i16; CURVE_POINTS]) -> f32 {
        let Self { entry, share } = self;
        match (table.get(entry), table.get(entry.saturating_add(1))) {
            (Some(&a), Some(&b)) => (f32::from(a) * (1.0 - share) + f32::from(b) * share) * 0.01,
            _ => 0.0,
        }
    }
}

/// What kind of source the reference was learned from; lags differ between kinds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum SourceKind {
    /// Not stated.
    #[default]
    Unknown,
    /// A satellite receiver.
    Receiver,
    /// A simulator or another source without a receiver's lag.
    Simulator,
}

/// Where, when and with what the reference was made.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Session {
    /// Name for people: circuit and layout, may be empty.
    pub name: String<32>,
    /// Car, may be empty.
    pub car: String<32>,
    /// Conditions in words (temperature, dry or damp, tyres, fuel), may be empty.
    pub conditions: String<64>,
    /// Kind of source.
    pub source: SourceKind,
    /// Samples a second of the source.
    pub rate_hz: f32,
    /// Standard deviation of the source's speed noise as measured on the laps, m/s.
    pub speed_noise_mps: f32,
    /// Whether pedals were in the source.
    pub pedals: bool,
    /// True when computed for other conditions and not driven.
    pub computed: bool,
    /// Mass of car and driver when it was driven, kilograms; `None` when not known.
    pub mass_kg: Option<f32>,
    /// Reference lap time, microseconds.
    pub lap_time_us: u64,
}

//! The parts of a sample as the cells of a row give them.

use super::names::Channel;
use super::number::Number;
use super::pedals::Pedal;
use cuepost_engine::Sample;
use cuepost_engine::check::{ACCELERATION_MAX_MPS2, LOCAL_MAX_MM, SPEED_MAX_MPS};

/// The parts of a sample as they come together.
#[derive(Default)]
pub struct Draft {
    /// What needs nothing else.
    pub sample: Sample,
    /// The row's own time.
    pub time_us: Option<i64>,
    /// Latitude or east.
    pub first: Option<i64>,
    /// Longitude or north.
    pub second: Option<i64>,
    /// As it stands in the table.
    pub course: Option<f64>,
    /// As it stands in the table.
    pub heading: Option<f64>,
    /// The row says that it has no fix.
    pub no_fix: bool,
}

/// Puts a number where its channel belongs; the error says that it is beyond all bounds.
#[inline]
pub fn put(
    channel: Channel,
    number: Number,
    draft: &mut Draft,
    (brake, throttle): (&mut Option<Pedal>, &mut Option<Pedal>),
) -> Result<(), ()> {
    let bounded = |places, most: i64| {
        let fixed = number.fixed(places).filter(|fixed| fixed.abs() <= most);
        fixed.map(Some).ok_or(())
    };
    let real = |unit: f64, least: f32, most: f32| {
        let value = (number.value() * unit) as f32;
        let within = (least..=most).contains(&value);
        // Minus zero is zero.
        if within {
            Ok(Some(value + 0.0))
        } else {
            Err(())
        }
    };
    let acceleration = |unit| real(unit, -ACCELERATION_MAX_MPS2, ACCELERATION_MAX_MPS2);
    let position = |pedal: &mut Option<Pedal>| match pedal {
        Some(pedal) => pedal.position(number.value()),
        None => Ok(None),
    };
    let sample = &mut draft.sample;
    match channel {
        Channel::Time(power) => draft.time_us = bounded(power, 1 << 53)?,
        Channel::Lat => draft.first = bounded(7, 900_000_000)?,
        Channel::Lon => draft.second = Some(around(bounded(7, 3_600_000_000)?)),
        Channel::East => draft.first = bounded(3, LOCAL_MAX_MM)?,
        Channel::North => draft.second = bounded(3, LOCAL_MAX_MM)?,
        Channel::Speed(unit) => sample.speed_mps = real(unit, 0.0, SPEED_MAX_MPS)?,
        Channel::Course(_) => draft.course = Some(number.value()),
        Channel::Heading(_) => draft.heading = Some(number.value()),
        Channel::Brake(_) => sample.brake = position(brake)?,
        Channel::Throttle(_) => sample.throttle = position(throttle)?,
        Channel::Steer => sample.steer = real(1.0, -1e6, 1e6)?,
        Channel::Gear => {
            let gear = number.fixed(0).and_then(|gear| i8::try_from(gear).ok());
            sample.gear = gear.map(Some).ok_or(())?;
        }
        Channel::LongAcc(unit) => sample.long_acc_mps2 = acceleration(unit)?,
        Channel::LatAcc(unit) => sample.lat_acc_mps2 = acceleration(unit)?,
        Channel::YawRate(unit) => sample.yaw_rate_rps = real(unit, -50.0, 50.0)?,
        Channel::PositionSd => sample.position_sd_m = real(1.0, 0.0, 1e8)?,
        Channel::SpeedSd => sample.speed_sd_mps = real(1.0, 0.0, 1e6)?,
        Channel::Fix => draft.no_fix = number.digits == 0,
    }
    Ok(())
}

/// A longitude of 0 to 360 degrees as one of -180 to 180.
fn around(lon_e7: Option<i64>) -> i64 {
    const TURN: i64 = 3_600_000_000;
    match lon_e7.unwrap_or(0) {
        lon if lon > TURN / 2 => lon - TURN,
        lon if lon < -TURN / 2 => lon + TURN,
        lon => lon,
    }
}

//! What one packet said, and how the sayings of several become a sample.

use super::channel::{QUANTITIES, Quantity};
use cuepost_engine::{Position, Sample};

/// Farther than this is no place, metres.
const PLANE_MAX_M: f64 = 1e7;
/// No car is faster, m/s; the gate has its own, lower limit.
const SPEED_MAX_MPS: f64 = 1e4;
/// Pedals may overshoot their range by this much and are brought back.
const PEDAL_SLACK: f64 = 0.05;

/// One optional value for each [`Quantity`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Values([Option<f64>; QUANTITIES]);

impl Values {
    /// The value of a quantity.
    pub fn get(&self, quantity: Quantity) -> Option<f64> {
        self.0.get(quantity as usize).copied().flatten()
    }

    /// Sets it; what is not finite stays unknown.
    pub fn set(&mut self, quantity: Quantity, value: f64) {
        if let Some(slot) = self.0.get_mut(quantity as usize) {
            *slot = value.is_finite().then_some(value);
        }
    }

    /// Takes over what the other knows and this one does not.
    pub fn fill(&mut self, other: &Self) {
        for (mine, theirs) in self.0.iter_mut().zip(&other.0) {
            *mine = mine.or(*theirs);
        }
    }

    /// The sample of these values.
    pub fn sample(&self, time_us: u64) -> Sample {
        use Quantity as Q;
        let plain = |q| {
            self.get(q)
                .map(|v| v as f32)
                .filter(|v: &f32| v.is_finite())
        };
        let positive = |q| plain(q).filter(|v| *v >= 0.0);
        Sample {
            time_us,
            position: self.position(),
            speed_mps: self.speed_mps(),
            direction_rad: self.direction_rad(),
            position_sd_m: positive(Q::PositionSd),
            speed_sd_mps: positive(Q::SpeedSd),
            long_acc_mps2: plain(Q::LongAcc),
            lat_acc_mps2: plain(Q::LatAcc),
            yaw_rate_rps: plain(Q::YawRate),
            brake: self.pedal(Q::Brake),
            throttle: self.pedal(Q::Throttle),
            steer: plain(Q::Steer),
            gear: self
                .get(Q::Gear)
                .filter(|g| (-1.0..=20.0).contains(g))
                .map(|g| g as i8),
        }
    }

    fn position(&self) -> Option<Position> {
        use Quantity as Q;
        match (self.get(Q::Latitude), self.get(Q::Longitude)) {
            (Some(lat), Some(lon)) if lat.abs() <= 90.0 && lon.abs() <= 180.0 => {
                return Some(Position::Geodetic {
                    lat_e7: (lat * 1e7).round() as i32,
                    lon_e7: (lon * 1e7).round() as i32,
                });
            }
            _ => {}
        }
        match (self.get(Q::East), self.get(Q::North)) {
            (Some(e), Some(n)) if e.abs() <= PLANE_MAX_M && n.abs() <= PLANE_MAX_M => {
                Some(Position::Local {
                    east_mm: (e * 1e3).round() as i64,
                    north_mm: (n * 1e3).round() as i64,
                })
            }
            _ => None,
        }
    }

    fn speed_mps(&self) -> Option<f32> {
        use Quantity as Q;
        let speed = match self.get(Q::Speed) {
            Some(v) => v,
            None => {
                let (e, n) = (self.get(Q::VelocityEast)?, self.get(Q::VelocityNorth)?);
                let up = self.get(Q::VelocityUp).unwrap_or(0.0);
                e.hypot(n).hypot(up)
            }
        };
        (0.0..=SPEED_MAX_MPS)
            .contains(&speed)
            .then_some(speed as f32)
    }

    fn direction_rad(&self) -> Option<f32> {
        use Quantity as Q;
        if let Some(heading) = self.get(Q::Heading) {
            return Some(heading as f32);
        }
        if let Some(course) = self.get(Q::Course) {
            return Some((std::f64::consts::FRAC_PI_2 - course) as f32);
        }
        let (e, n) = (self.get(Q::VelocityEast)?, self.get(Q::VelocityNorth)?);
        (e != 0.0 || n != 0.0).then(|| n.atan2(e) as f32)
    }

    fn pedal(&self, quantity: Quantity) -> Option<f32> {
        self.get(quantity)
            .filter(|p| (-PEDAL_SLACK..=1.0 + PEDAL_SLACK).contains(p))
            .map(|p| p.clamp(0.0, 1.0) as f32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn speed_and_direction_from_velocity() {
        let mut v = Values::default();
        v.set(Quantity::VelocityEast, -3.0);
        v.set(Quantity::VelocityNorth, 4.0);
        let s = v.sample(7);
        assert_eq!(s.time_us, 7);
        assert_eq!(s.speed_mps, Some(5.0));
        assert_eq!(s.direction_rad, Some(4f64.atan2(-3.0) as f32));
    }

    #[test]
    fn what_cannot_be_stays_unknown() {
        let mut v = Values::default();
        v.set(Quantity::Latitude, 91.0);
        v.set(Quantity::Longitude, 9.5);
        v.set(Quantity::Speed, f64::NAN);
        v.set(Quantity::Brake, 55.0);
        v.set(Quantity::Throttle, 1.01);
        v.set(Quantity::Gear, 250.0);
        let s = v.sample(0);
        assert_eq!((s.position, s.speed_mps, s.brake), (None, None, None));
        assert_eq!((s.throttle, s.gear), (Some(1.0), None));
    }

    #[test]
    fn course_is_turned_into_direction() {
        let mut v = Values::default();
        v.set(Quantity::Course, 0.0);
        assert_eq!(
            v.sample(0).direction_rad,
            Some(std::f32::consts::FRAC_PI_2),
            "north"
        );
    }
}

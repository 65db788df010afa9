//! The channels a layout may name. The unit is in the name, as in CSV columns.

/// What a value is about, in SI: seconds are microseconds here, angles radians.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Source time, microseconds.
    Time,
    /// Latitude, degrees north.
    Latitude,
    /// Longitude, degrees east.
    Longitude,
    /// Metres east in the source's own plane.
    East,
    /// Metres north in the source's own plane.
    North,
    /// Ground speed, m/s.
    Speed,
    /// Velocity to the east, m/s.
    VelocityEast,
    /// Velocity to the north, m/s.
    VelocityNorth,
    /// Velocity upward, m/s.
    VelocityUp,
    /// Direction of travel clockwise from north, radians.
    Course,
    /// Direction of travel counter-clockwise from east, radians.
    Heading,
    /// Brake pedal, 0..1.
    Brake,
    /// Throttle pedal, 0..1.
    Throttle,
    /// Steering, left positive, any unit.
    Steer,
    /// Gear, -1 reverse, 0 neutral.
    Gear,
    /// Longitudinal acceleration, m/s².
    LongAcc,
    /// Lateral acceleration, m/s², left positive.
    LatAcc,
    /// Yaw rate, rad/s, left positive.
    YawRate,
    /// Standard deviation of the position, metres.
    PositionSd,
    /// Standard deviation of the speed, m/s.
    SpeedSd,
}

/// How many quantities there are.
pub const QUANTITIES: usize = Quantity::SpeedSd as usize + 1;

/// Every channel name, the quantity it sets, and the factor that brings it to SI.
const NAMES: [(&str, Quantity, f64); 26] = {
    use Quantity as Q;
    [
        ("time_s", Q::Time, 1e6),
        ("time_ms", Q::Time, 1e3),
        ("time_us", Q::Time, 1.0),
        ("lat_deg", Q::Latitude, 1.0),
        ("lon_deg", Q::Longitude, 1.0),
        ("x_m", Q::East, 1.0),
        ("y_m", Q::North, 1.0),
        ("speed_mps", Q::Speed, 1.0),
        ("speed_kmh", Q::Speed, 1.0 / 3.6),
        ("speed_mph", Q::Speed, 0.447_04),
        ("speed_kn", Q::Speed, 1852.0 / 3600.0),
        ("velocity_x_mps", Q::VelocityEast, 1.0),
        ("velocity_y_mps", Q::VelocityNorth, 1.0),
        ("velocity_z_mps", Q::VelocityUp, 1.0),
        ("course_deg", Q::Course, std::f64::consts::PI / 180.0),
        ("course_rad", Q::Course, 1.0),
        ("heading_rad", Q::Heading, 1.0),
        ("brake", Q::Brake, 1.0),
        ("throttle", Q::Throttle, 1.0),
        ("steer", Q::Steer, 1.0),
        ("gear", Q::Gear, 1.0),
        ("long_acc_mps2", Q::LongAcc, 1.0),
        ("lat_acc_mps2", Q::LatAcc, 1.0),
        ("yaw_rate_rps", Q::YawRate, 1.0),
        ("position_sd_m", Q::PositionSd, 1.0),
        ("speed_sd_mps", Q::SpeedSd, 1.0),
    ]
};

/// The quantity a name sets and its factor to SI; `None` for a name that means nothing.
pub fn named(name: &str) -> Option<(Quantity, f64)> {
    NAMES
        .iter()
        .find(|(n, _, _)| *n == name)
        .map(|(_, q, f)| (*q, *f))
}

/// All names, for an error that helps.
pub fn names() -> String {
    let names: Vec<&str> = NAMES.iter().map(|(n, _, _)| *n).collect();
    names.join(", ")
}

//! What the names of columns mean.

/// What a column holds, with its unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Channel {
    /// Time; microseconds in ten to this power.
    Time(u32),
    /// Latitude in degrees, north positive.
    Lat,
    /// Longitude in degrees, east positive.
    Lon,
    /// Metres east.
    East,
    /// Metres north.
    North,
    /// Ground speed; m/s in one unit.
    Speed(f64),
    /// Direction of travel.
    Course(Angle),
    /// Where the body points.
    Heading(Angle),
    /// Brake pedal.
    Brake(Scale),
    /// Throttle pedal.
    Throttle(Scale),
    /// Steering, any unit, left positive.
    Steer,
    /// Gear.
    Gear,
    /// Longitudinal acceleration; m/s² in one unit.
    LongAcc(f64),
    /// Lateral acceleration, left positive; m/s² in one unit.
    LatAcc(f64),
    /// Yaw rate, left positive; rad/s in one unit.
    YawRate(f64),
    /// Standard deviation of the position per axis, metres.
    PositionSd,
    /// Standard deviation of the speed, m/s.
    SpeedSd,
    /// Whether there is a fix: 0 means none.
    Fix,
}

impl Channel {
    /// What it is, with its unit, in words.
    pub fn words(self) -> String {
        let unit = |name: &str, unit: f64, units: &[(f64, &str)]| {
            let known = units.iter().find(|(u, _)| *u == unit);
            format!("{name}, {}", known.map_or("?", |(_, word)| word))
        };
        let angle = |name: &str, angle: Angle| {
            unit(
                name,
                angle.unit_rad,
                &[(1.0, "radians"), (DEGREE, "degrees")],
            )
        };
        match self {
            Self::Time(6) => "time, seconds".into(),
            Self::Time(3) => "time, milliseconds".into(),
            Self::Time(_) => "time, microseconds".into(),
            Self::Lat => "latitude, degrees".into(),
            Self::Lon => "longitude, degrees".into(),
            Self::East => "east, metres".into(),
            Self::North => "north, metres".into(),
            Self::Speed(u) => unit(
                "speed",
                u,
                &[(1.0, "m/s"), (KMH, "km/h"), (MPH, "mph"), (KNOT, "knots")],
            ),
            Self::Course(a) => angle("direction of travel", a),
            Self::Heading(a) => angle("heading", a),
            Self::Brake(_) => "brake pedal".into(),
            Self::Throttle(_) => "throttle pedal".into(),
            Self::Steer => "steering".into(),
            Self::Gear => "gear".into(),
            Self::LongAcc(u) => unit("forward acceleration", u, &[(1.0, "m/s²"), (G, "g")]),
            Self::LatAcc(u) => unit("acceleration to the left", u, &[(1.0, "m/s²"), (G, "g")]),
            Self::YawRate(u) => unit("yaw rate", u, &[(1.0, "rad/s"), (DEGREE, "degrees/s")]),
            Self::PositionSd => "accuracy of the position, metres".into(),
            Self::SpeedSd => "accuracy of the speed, m/s".into(),
            Self::Fix => "fix or none".into(),
        }
    }
}

/// How a direction is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Angle {
    /// Radians in one unit.
    pub unit_rad: f64,
    /// What the name promises: clockwise from north, or counter-clockwise from east.
    pub clockwise: bool,
}

/// How far a pedal goes, as far as its name says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scale {
    /// 0 to 100.
    Percent,
    /// That or 0 to 1: to be found out.
    Unknown,
}

const KMH: f64 = 1.0 / 3.6;
const MPH: f64 = 1609.344 / 3600.0;
const KNOT: f64 = 1852.0 / 3600.0;
const DEGREE: f64 = std::f64::consts::PI / 180.0;
/// Standard gravity.
const G: f64 = 9.806_65;

const COMPASS_DEG: Angle = Angle {
    unit_rad: DEGREE,
    clockwise: true,
};

/// The names there are; the first of each channel is the one to use.
const NAMES: &[(&str, Channel)] = &[
    ("time_s", Channel::Time(6)),
    ("time_ms", Channel::Time(3)),
    ("time_us", Channel::Time(0)),
    ("t_s", Channel::Time(6)),
    ("t_ms", Channel::Time(3)),
    ("t_us", Channel::Time(0)),
    ("timestamp_s", Channel::Time(6)),
    ("timestamp_ms", Channel::Time(3)),
    ("timestamp_us", Channel::Time(0)),
    ("lat_deg", Channel::Lat),
    ("lat", Channel::Lat),
    ("latitude", Channel::Lat),
    ("latitude_deg", Channel::Lat),
    ("lon_deg", Channel::Lon),
    ("lon", Channel::Lon),
    ("longitude", Channel::Lon),
    ("longitude_deg", Channel::Lon),
    ("x_m", Channel::East),
    ("east_m", Channel::East),
    ("y_m", Channel::North),
    ("north_m", Channel::North),
    ("speed_mps", Channel::Speed(1.0)),
    ("speed_kmh", Channel::Speed(KMH)),
    ("speed_mph", Channel::Speed(MPH)),
    ("speed_kn", Channel::Speed(KNOT)),
    ("course_deg", Channel::Course(COMPASS_DEG)),
    ("bearing_deg", Channel::Course(COMPASS_DEG)),
    (
        "course_rad",
        Channel::Course(Angle {
            unit_rad: 1.0,
            clockwise: true,
        }),
    ),
    (
        "heading_rad",
        Channel::Heading(Angle {
            unit_rad: 1.0,
            clockwise: false,
        }),
    ),
    ("heading_deg", Channel::Heading(COMPASS_DEG)),
    ("brake", Channel::Brake(Scale::Unknown)),
    ("brake_pct", Channel::Brake(Scale::Percent)),
    ("throttle", Channel::Throttle(Scale::Unknown)),
    ("throttle_pct", Channel::Throttle(Scale::Percent)),
    ("steer", Channel::Steer),
    ("steer_deg", Channel::Steer),
    ("steer_rad", Channel::Steer),
    ("gear", Channel::Gear),
    ("long_acc_mps2", Channel::LongAcc(1.0)),
    ("long_acc_g", Channel::LongAcc(G)),
    ("lat_acc_mps2", Channel::LatAcc(1.0)),
    ("lat_acc_g", Channel::LatAcc(G)),
    ("yaw_rate_rps", Channel::YawRate(1.0)),
    ("yaw_rate_dps", Channel::YawRate(DEGREE)),
    ("position_sd_m", Channel::PositionSd),
    ("speed_sd_mps", Channel::SpeedSd),
    ("fix", Channel::Fix),
];

/// Units as people write them, longest first, and as the names here have them.
const UNITS: &[(&str, &str)] = &[
    ("m/s^2", "mps2"),
    ("m/s²", "mps2"),
    ("m/s2", "mps2"),
    ("deg/s", "dps"),
    ("°/s", "dps"),
    ("rad/s", "rps"),
    ("km/h", "kmh"),
    ("kph", "kmh"),
    ("m/s", "mps"),
    ("knots", "kn"),
    ("kts", "kn"),
    ("°", "deg"),
    ("%", "pct"),
];

/// Units that stand in a row of their own.
const UNIT_WORDS: &[&str] = &[
    "s", "ms", "us", "sec", "m", "mm", "km", "mps", "kmh", "mph", "kn", "deg", "rad", "g", "mps2",
    "dps", "rps", "pct", "bar", "rpm", "c", "v", "hz", "utc", "nm", "l", "kpa", "1",
];

/// A name in the form the table has: lower case, words joined by `_`, units spelt one way.
pub fn normal(name: &str) -> String {
    let mut name = name.trim().to_lowercase();
    for (written, unit) in UNITS {
        if name.contains(written) {
            name = name.replace(written, unit);
        }
    }
    let words: Vec<&str> = name
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .collect();
    words.join("_")
}

/// What a column of this name holds; the unit may stand in a row below.
///
/// The rank orders several names of one channel: the lowest is the one to use.
pub fn channel(name: &str, unit: Option<&str>) -> Option<(usize, Channel)> {
    let name = normal(name);
    let known = |name: &str| {
        let rank = NAMES.iter().position(|(n, _)| *n == name)?;
        NAMES.get(rank).map(|&(_, channel)| (rank + 1, channel))
    };
    let unit = unit.map(normal).filter(|unit| !unit.is_empty());
    let with_unit = unit.and_then(|unit| {
        let unit = if unit == "sec" { "s" } else { &unit };
        known(&format!("{name}_{unit}"))
    });
    with_unit.or_else(|| known(&name))
}

/// True for a name that would be known if its unit were.
pub fn lacks_unit(name: &str) -> bool {
    let start = format!("{}_", normal(name));
    NAMES.iter().any(|(n, _)| n.starts_with(&start)) && channel(name, None).is_none()
}

/// True for a name that would be a time if its unit were known.
pub fn lacks_unit_of_time(name: &str) -> bool {
    lacks_unit(name)
        && ["s", "ms", "us"]
            .iter()
            .any(|unit| matches!(channel(name, Some(unit)), Some((_, Channel::Time(_)))))
}

/// True for a cell of a row of units: a unit, or empty.
pub fn is_unit(cell: &str) -> bool {
    let cell = normal(cell);
    cell.is_empty() || UNIT_WORDS.contains(&cell.as_str())
}

/// The names a column can have, for messages.
pub fn all() -> String {
    let names: Vec<&str> = NAMES.iter().map(|&(name, _)| name).collect();
    names.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_as_people_write_them() {
        for (name, unit, expected) in [
            ("time_s", None, Channel::Time(6)),
            ("Time [s]", None, Channel::Time(6)),
            ("time", Some("s"), Channel::Time(6)),
            ("Time", Some("ms"), Channel::Time(3)),
            ("speed (km/h)", None, Channel::Speed(KMH)),
            ("Speed", Some("[m/s]"), Channel::Speed(1.0)),
            ("lat", None, Channel::Lat),
            ("Latitude", Some("deg"), Channel::Lat),
            ("throttle %", None, Channel::Throttle(Scale::Percent)),
            ("long_acc", Some("m/s²"), Channel::LongAcc(1.0)),
        ] {
            let found = channel(name, unit).map(|(_, channel)| channel);
            assert_eq!(found, Some(expected), "{name} {unit:?}");
        }
        for name in ["speed", "time", "long_acc", "distance", "x", "course"] {
            assert_eq!(channel(name, None), None, "{name}");
        }
        assert!(lacks_unit_of_time("Time") && lacks_unit_of_time("timestamp"));
        assert!(!lacks_unit_of_time("speed") && !lacks_unit_of_time("x"));
        assert!(lacks_unit("Speed") && lacks_unit("time") && !lacks_unit("distance"));
    }
}

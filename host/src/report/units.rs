//! The units people read. Everything inside is SI; only text for people is converted.

use cuepost_engine::Size;

/// Metres a second for one kilometre an hour, exact.
const KMH_MPS: f64 = 1.0 / 3.6;
/// Metres a second for one mile an hour, exact (international mile of 1609.344 m).
const MPH_MPS: f64 = 0.447_04;
/// Metres in a foot, exact (international foot).
const FOOT_M: f64 = 0.3048;
/// Standard gravity, m/s², exact by definition (CGPM 1901).
const G_MPS2: f64 = 9.806_65;

/// The units a person reads sizes in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum Units {
    /// Metres, km/h, g.
    #[default]
    Metric,
    /// Feet, mph, g.
    Imperial,
    /// Metres, m/s, m/s².
    Si,
}

impl Units {
    /// The name of its unit of length.
    pub const fn length_name(self) -> &'static str {
        match self {
            Self::Imperial => "ft",
            Self::Metric | Self::Si => "m",
        }
    }

    /// How many of its units of length are in a metre.
    pub const fn lengths_a_metre(self) -> f64 {
        match self {
            Self::Imperial => 1.0 / FOOT_M,
            Self::Metric | Self::Si => 1.0,
        }
    }

    /// The name of its unit of speed.
    pub const fn speed_name(self) -> &'static str {
        match self {
            Self::Metric => "km/h",
            Self::Imperial => "mph",
            Self::Si => "m/s",
        }
    }

    /// How many of its units of speed are in a metre a second.
    pub const fn speeds_a_mps(self) -> f64 {
        match self {
            Self::Metric => 1.0 / KMH_MPS,
            Self::Imperial => 1.0 / MPH_MPS,
            Self::Si => 1.0,
        }
    }

    /// A length, e.g. `12 m`; a tenth is shown below 3.
    pub fn length(self, metres: f64) -> String {
        number(metres * self.lengths_a_metre(), self.length_name())
    }

    /// A speed, e.g. `4 km/h`; a tenth is shown below 3.
    pub fn speed(self, mps: f64) -> String {
        number(mps * self.speeds_a_mps(), self.speed_name())
    }

    /// A deceleration, e.g. `0.12 g`.
    pub fn deceleration(self, mps2: f64) -> String {
        match self {
            Self::Si => number(mps2, "m/s²"),
            _ => format!("{:.2} g", mps2 / G_MPS2),
        }
    }

    /// A cue's size in its own unit.
    pub fn size(self, size: Size) -> String {
        match size {
            Size::Metres(v) => self.length(f64::from(v)),
            Size::Speed(v) => self.speed(f64::from(v)),
            Size::Deceleration(v) => self.deceleration(f64::from(v)),
            Size::Seconds(v) => seconds(f64::from(v)),
        }
    }
}

/// Seconds of driving, e.g. `0.21 s`.
pub fn seconds(s: f64) -> String {
    format!("{s:.2} s")
}

/// A lap time, e.g. `1:23.412`, or `58.120` below a minute.
pub fn lap_time(time_us: u64) -> String {
    let ms = (time_us + 500) / 1000;
    let (minutes, ms) = (ms / 60_000, ms % 60_000);
    if minutes == 0 {
        format!("{}.{:03}", ms / 1000, ms % 1000)
    } else {
        format!("{minutes}:{:02}.{:03}", ms / 1000, ms % 1000)
    }
}

/// A size people can act on: whole units, tenths only where they matter.
fn number(value: f64, unit: &str) -> String {
    if !value.is_finite() {
        return format!("? {unit}");
    }
    if value.abs() < 2.95 {
        format!("{value:.1} {unit}")
    } else {
        format!("{value:.0} {unit}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_in_the_unit_people_chose() {
        assert_eq!(Units::Metric.length(11.6), "12 m");
        assert_eq!(Units::Imperial.length(3.048), "10 ft");
        assert_eq!(Units::Metric.speed(10.0), "36 km/h");
        assert_eq!(Units::Imperial.speed(4.4704), "10 mph");
        assert_eq!(Units::Si.speed(1.25), "1.2 m/s");
        assert_eq!(Units::Metric.deceleration(0.980_665), "0.10 g");
        assert_eq!(Units::Metric.length(2.96), "3 m");
        assert_eq!(Units::Metric.length(f64::NAN), "? m");
    }

    #[test]
    fn lap_times_round_to_the_millisecond() {
        assert_eq!(lap_time(83_412_400), "1:23.412");
        assert_eq!(lap_time(59_999_600), "1:00.000");
        assert_eq!(lap_time(58_120_000), "58.120");
    }
}

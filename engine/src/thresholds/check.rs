//! The ranges thresholds keep to, and a configuration as a file for a board.

use super::{Config, OVERRIDES_MAX, Thresholds};
use crate::check::Field;
use crate::file::{FileFault, MakeFault, Part, Problem, Reader, Writer};
use core::fmt;

/// The first bytes of a configuration file.
pub const MAGIC: [u8; 8] = *b"CUEPOSTC";
/// Version of its layout.
pub const VERSION: u8 = 1;
/// The longest configuration file, bytes.
pub const FILE_MAX: usize = 1536;

/// A threshold out of its range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ConfigFault {
    /// The corner whose own thresholds it is in; `None` for those of every corner.
    pub corner: Option<u8>,
    /// The field.
    pub field: Field,
    /// The least it may be.
    pub least: f32,
    /// The most it may be.
    pub most: f32,
    /// What it is.
    pub value: f32,
}

impl fmt::Display for ConfigFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(corner) = self.corner {
            write!(f, "corner {corner}: ")?;
        }
        let Self {
            field,
            least,
            most,
            value,
            ..
        } = self;
        write!(f, "{field} is {value}; it must be from {least} to {most}")
    }
}

impl core::error::Error for ConfigFault {}

impl Thresholds {
    /// Each field with its value and its range.
    fn ranges(&self) -> [(Field, f32, f32, f32); 11] {
        [
            ("brake_m", self.brake_m, 0.5, 200.0),
            ("decel_ratio", self.decel_ratio, 0.01, 1.0),
            ("trail_m", self.trail_m, 0.5, 200.0),
            ("slowest_mps", self.slowest_mps, 0.1, 20.0),
            ("offset_m", self.offset_m, 0.1, 20.0),
            ("throttle_m", self.throttle_m, 0.5, 200.0),
            ("full_m", self.full_m, 0.5, 300.0),
            ("lift_s", self.lift_s, 0.005, 2.0),
            ("coast_s", self.coast_s, 0.05, 5.0),
            ("loss_s", self.loss_s, 0.0, 5.0),
            ("better_s", self.better_s, 0.01, 5.0),
        ]
    }

    /// Ok when every threshold is within its range; NaN never is.
    pub fn validate(&self) -> Result<(), ConfigFault> {
        for (field, value, least, most) in self.ranges() {
            if !(value >= least && value <= most) {
                return Err(ConfigFault {
                    corner: None,
                    field,
                    least,
                    most,
                    value,
                });
            }
        }
        Ok(())
    }
}

impl Config {
    /// Ok when all thresholds are within their ranges and no corner has two sets of its own.
    pub fn validate(&self) -> Result<(), ConfigFault> {
        self.thresholds.validate()?;
        for (i, (corner, thresholds)) in self.overrides.iter().enumerate() {
            let corner = *corner;
            let own = |fault| ConfigFault {
                corner: Some(corner),
                ..fault
            };
            thresholds.validate().map_err(own)?;
            let before = self.overrides.iter().take(i);
            if corner == 0 || before.into_iter().any(|(c, _)| *c == corner) {
                return Err(ConfigFault {
                    corner: Some(corner),
                    field: "corner (each once)",
                    least: 1.0,
                    most: 255.0,
                    value: f32::from(corner),
                });
            }
        }
        Ok(())
    }

    /// Writes the configuration as a file into `out`; returns its length.
    pub fn encode(&self, out: &mut [u8]) -> Result<usize, MakeFault> {
        self.validate()
            .map_err(|f| MakeFault::Invalid(problem(&f)))?;
        let mut writer = Writer::begin(&MAGIC, VERSION, out)?;
        writer.put(self)?;
        writer.finish()
    }

    /// Reads a configuration file; returns it with its id, the CRC-32 of the file.
    pub fn decode(bytes: &[u8]) -> Result<(Self, u32), FileFault> {
        let mut config = Self::default();
        let id = config.read(bytes)?;
        Ok((config, id))
    }

    /// Reads a configuration file into this one, in place; returns its id. After a fault what is
    /// here is not to be used.
    pub fn read(&mut self, bytes: &[u8]) -> Result<u32, FileFault> {
        let mut reader = Reader::open(&MAGIC, VERSION, bytes)?;
        let at = reader.at();
        self.thresholds = reader.take(Part::Config)?;
        self.overrides.clear();
        // A list is its length and its entries; one entry at a time is all a board's stack holds.
        let count: u32 = reader.take(Part::Config)?;
        for _ in 0..count {
            let own = reader.take(Part::Config)?;
            self.overrides.push(own).map_err(|_| FileFault {
                at,
                what: Problem::Capacity {
                    part: Part::Config,
                    most: OVERRIDES_MAX as u16,
                    found: u16::try_from(count).unwrap_or(u16::MAX),
                },
            })?;
        }
        self.focus = reader.take(Part::Config)?;
        reader.finish(Part::Config)?;
        match self.validate() {
            Ok(()) => Ok(reader.id),
            Err(f) => Err(FileFault {
                at,
                what: problem(&f),
            }),
        }
    }
}

fn problem(fault: &ConfigFault) -> Problem {
    Problem::Value {
        part: Part::Config,
        index: fault.corner.map_or(0, u16::from),
        field: fault.field,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(config: &Config) -> std::vec::Vec<u8> {
        let mut out = [0; FILE_MAX];
        let n = config.encode(&mut out).unwrap();
        out[..n].to_vec()
    }

    #[test]
    fn each_threshold_is_held_to_its_range() {
        type Set = fn(&mut Thresholds, f32);
        let fields: [(Set, Field); 11] = [
            (|t, x| t.brake_m = x, "brake_m"),
            (|t, x| t.decel_ratio = x, "decel_ratio"),
            (|t, x| t.trail_m = x, "trail_m"),
            (|t, x| t.slowest_mps = x, "slowest_mps"),
            (|t, x| t.offset_m = x, "offset_m"),
            (|t, x| t.throttle_m = x, "throttle_m"),
            (|t, x| t.full_m = x, "full_m"),
            (|t, x| t.lift_s = x, "lift_s"),
            (|t, x| t.coast_s = x, "coast_s"),
            (|t, x| t.loss_s = x, "loss_s"),
            (|t, x| t.better_s = x, "better_s"),
        ];
        for (set, name) in fields {
            for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, -0.1, 1000.0] {
                let mut config = Config::default();
                assert_eq!(config.validate(), Ok(()));
                let mut own = config.thresholds;
                set(&mut own, bad);
                config.overrides.push((7, own)).unwrap();
                let fault = config.validate().unwrap_err();
                assert_eq!((fault.field, fault.corner), (name, Some(7)));
                set(&mut config.thresholds, bad);
                let fault = config.validate().unwrap_err();
                assert_eq!((fault.field, fault.corner), (name, None));
                assert!(config.encode(&mut [0; FILE_MAX]).is_err());
            }
        }
    }

    #[test]
    fn a_corner_has_one_set_of_its_own() {
        let mut config = Config::default();
        for corner in [3, 3] {
            config
                .overrides
                .push((corner, Thresholds::DEFAULT))
                .unwrap();
        }
        assert_eq!(config.validate().unwrap_err().corner, Some(3));
        config.overrides.clear();
        config.overrides.push((0, Thresholds::DEFAULT)).unwrap();
        assert_eq!(config.validate().unwrap_err().corner, Some(0));
    }

    #[test]
    fn the_largest_configuration_fits_and_comes_back() {
        let mut config = Config::default();
        for corner in 1..=super::super::OVERRIDES_MAX as u8 {
            let own = (corner.wrapping_neg(), Thresholds::DEFAULT);
            config.overrides.push(own).unwrap();
        }
        let bytes = file(&config);
        let (back, id) = Config::decode(&bytes).unwrap();
        assert_eq!(back, config);
        assert_eq!(crate::file::id(&bytes), Some(id));
    }

    #[test]
    fn every_cut_and_every_flipped_bit_is_refused() {
        let bytes = file(&Config::default());
        for end in 0..bytes.len() {
            assert!(Config::decode(&bytes[..end]).is_err(), "cut at {end}");
        }
        for bit in 0..bytes.len() * 8 {
            let mut bad = bytes.clone();
            bad[bit / 8] ^= 1 << (bit % 8);
            assert!(Config::decode(&bad).is_err(), "bit {bit}");
        }
    }
}

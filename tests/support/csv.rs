//! The plain CSV of the test data: a header, commas, no quotes; lines with `#` are comments.

use cuepost_engine::{Position, Sample};
use std::path::{Path, PathBuf};

/// A table of test data.
pub struct Table {
    header: Vec<String>,
    rows: Vec<Vec<String>>,
}

/// A file below `tests/data`.
pub fn data(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("data")
        .join(name)
}

impl Table {
    /// Reads a file below `tests/data`.
    pub fn read(name: &str) -> Self {
        Self::open(&data(name))
    }

    /// Reads any file.
    pub fn open(path: &Path) -> Self {
        let text =
            std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        let cut = |l: &str| {
            l.split(',')
                .map(|c| c.trim().to_string())
                .collect::<Vec<_>>()
        };
        let mut lines = text
            .lines()
            .filter(|l| !l.starts_with('#') && !l.is_empty());
        let header = cut(lines.next().expect("a header"));
        Self {
            header,
            rows: lines.map(cut).collect(),
        }
    }

    /// Rows of the table.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// True without rows.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// A column's text in a row; none when the table has no such column or the cell is empty.
    pub fn text(&self, row: usize, column: &str) -> Option<&str> {
        let k = self.header.iter().position(|h| h == column)?;
        self.rows[row]
            .get(k)
            .map(String::as_str)
            .filter(|c| !c.is_empty())
    }

    /// A number; none when missing or no number.
    pub fn number(&self, row: usize, column: &str) -> Option<f64> {
        self.text(row, column)?.parse().ok()
    }

    /// A whole column of numbers.
    pub fn column(&self, column: &str) -> Vec<f64> {
        (0..self.len())
            .map(|r| {
                self.number(r, column)
                    .unwrap_or_else(|| panic!("{column} in row {r}"))
            })
            .collect()
    }

    /// Samples of a table with `t_ms, lat_deg, lon_deg, speed_mps, heading_deg` (clockwise from
    /// north).
    pub fn geodetic_samples(&self) -> Vec<Sample> {
        (0..self.len())
            .map(|r| Sample {
                time_us: (self.number(r, "t_ms").expect("t_ms") * 1e3) as u64,
                position: geodetic(self.number(r, "lat_deg"), self.number(r, "lon_deg")),
                speed_mps: self.number(r, "speed_mps").map(|v| v as f32),
                direction_rad: self
                    .number(r, "heading_deg")
                    .map(|h| (90.0 - h).to_radians() as f32),
                ..Sample::default()
            })
            .collect()
    }

    /// Samples of a table with `t_s, x_m, y_m, speed_mps, course_rad` (counter-clockwise from
    /// east), time counted from the first row.
    pub fn local_samples(&self) -> Vec<Sample> {
        let begin = self.number(0, "t_s").expect("t_s");
        (0..self.len())
            .map(|r| Sample {
                time_us: ((self.number(r, "t_s").expect("t_s") - begin) * 1e6).round() as u64,
                position: Some(local(
                    self.number(r, "x_m").expect("x_m"),
                    self.number(r, "y_m").expect("y_m"),
                )),
                speed_mps: self.number(r, "speed_mps").map(|v| v as f32),
                direction_rad: self.number(r, "course_rad").map(|d| d as f32),
                ..Sample::default()
            })
            .collect()
    }
}

/// Degrees as the engine takes them; none unless both are finite.
pub fn geodetic(lat_deg: Option<f64>, lon_deg: Option<f64>) -> Option<Position> {
    let (lat, lon) = (lat_deg?, lon_deg?);
    (lat.is_finite() && lon.is_finite()).then(|| Position::Geodetic {
        lat_e7: (lat * 1e7).round() as i32,
        lon_e7: (lon * 1e7).round() as i32,
    })
}

/// Metres as the engine takes them.
pub fn local(east_m: f64, north_m: f64) -> Position {
    Position::Local {
        east_mm: (east_m * 1e3).round() as i64,
        north_mm: (north_m * 1e3).round() as i64,
    }
}

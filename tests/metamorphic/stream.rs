//! A stream as rows that can be written as files in several ways.

use cuepost_engine::{Position, Sample};
use cuepost_host::demo::receiver::Plane;
use std::fmt::Write;

/// One instant, exact in what files hold: milliseconds, millimetres, cm/s and thousandths of a
/// degree.
#[derive(Clone, Copy, Debug)]
pub struct Row {
    /// Milliseconds.
    pub time_ms: u64,
    /// Millimetres east.
    pub east_mm: i64,
    /// Millimetres north.
    pub north_mm: i64,
    /// Speed, m/s.
    pub speed_mps: f64,
    /// Direction of travel, degrees clockwise from north; where the source tells it.
    pub course_deg: Option<f64>,
}

/// Rows of samples in a plane.
pub fn rows(samples: &[Sample]) -> Vec<Row> {
    samples
        .iter()
        .map(|s| {
            let Some(Position::Local { east_mm, north_mm }) = s.position else {
                panic!("positions are in a plane");
            };
            Row {
                time_ms: (s.time_us + 500) / 1000,
                east_mm,
                north_mm,
                speed_mps: (f64::from(s.speed_mps.expect("a speed")) * 1e3).round() / 1e3,
                course_deg: s.direction_rad.map(|d| {
                    let course = (90.0 - f64::from(d).to_degrees()).rem_euclid(360.0);
                    (course * 1e3).round() / 1e3
                }),
            }
        })
        .collect()
}

/// The same drive from a source that tells its direction of travel: that of the way from the row
/// before to the row after.
pub fn directed(rows: &[Row]) -> Vec<Row> {
    let mut out = rows.to_vec();
    for (row, w) in out.iter_mut().skip(1).zip(rows.windows(3)) {
        let (e, n) = (w[2].east_mm - w[0].east_mm, w[2].north_mm - w[0].north_mm);
        let course = (e as f64).atan2(n as f64).to_degrees().rem_euclid(360.0);
        row.course_deg = row.course_deg.or(Some((course * 1e3).round() / 1e3));
    }
    out
}

/// The same drive at another time.
pub fn shifted(rows: &[Row], by_ms: u64) -> Vec<Row> {
    let later = |r: &Row| Row {
        time_ms: r.time_ms + by_ms,
        ..*r
    };
    rows.iter().map(later).collect()
}

/// The same drive in a mirror: east for west.
pub fn mirrored(rows: &[Row]) -> Vec<Row> {
    let other = |r: &Row| Row {
        east_mm: -r.east_mm,
        course_deg: r.course_deg.map(|c| (-c).rem_euclid(360.0)),
        ..*r
    };
    rows.iter().map(other).collect()
}

/// The same drive on a map turned by an angle (degrees counter-clockwise) and moved.
pub fn turned(rows: &[Row], by_deg: f64, east_m: f64, north_m: f64) -> Vec<Row> {
    let (sin, cos) = by_deg.to_radians().sin_cos();
    let turn = |r: &Row| {
        let (e, n) = (r.east_mm as f64, r.north_mm as f64);
        Row {
            east_mm: (cos * e - sin * n + east_m * 1e3).round() as i64,
            north_mm: (sin * e + cos * n + north_m * 1e3).round() as i64,
            course_deg: r.course_deg.map(|c| (c - by_deg).rem_euclid(360.0)),
            ..*r
        }
    };
    rows.iter().map(turn).collect()
}

/// How a table names and scales what it holds.
#[derive(Clone, Copy, Debug)]
pub struct Units {
    /// Name and length of the unit of time, seconds.
    pub time: (&'static str, f64),
    /// Name and size of the unit of speed, m/s.
    pub speed: (&'static str, f64),
}

/// Seconds and metres.
pub const SI: Units = Units {
    time: ("time_s", 1.0),
    speed: ("speed_mps", 1.0),
};

/// A table in a plane. Decimals enough that a unit changes nothing an `f32` of m/s can hold.
pub fn table(rows: &[Row], units: &Units) -> String {
    let mut out = format!("{},x_m,y_m,{},course_deg\n", units.time.0, units.speed.0);
    for r in rows {
        let time = r.time_ms as f64 * 1e-3 / units.time.1;
        let speed = r.speed_mps / units.speed.1;
        let course = r.course_deg.map_or(String::new(), |c| format!("{c:.3}"));
        let (e, n) = (r.east_mm as f64 * 1e-3, r.north_mm as f64 * 1e-3);
        writeln!(out, "{time:.6},{e:.3},{n:.3},{speed:.9},{course}").expect("a string");
    }
    out
}

/// Where the plane touches the globe: somewhere in the middle latitudes.
const GLOBE: Plane = Plane::Geodetic {
    lat_deg: 47.2,
    lon_deg: 8.9,
};

fn degrees(r: &Row) -> (i32, i32) {
    let at = GLOBE.position(r.east_mm as f64 * 1e-3, r.north_mm as f64 * 1e-3);
    let Position::Geodetic { lat_e7, lon_e7 } = at else {
        panic!("on the globe");
    };
    (lat_e7, lon_e7)
}

/// A table on the globe.
pub fn globe(rows: &[Row]) -> String {
    let mut out = String::from("time_s,lat_deg,lon_deg,speed_mps,course_deg\n");
    for r in rows {
        let (lat, lon) = degrees(r);
        let course = r.course_deg.map_or(String::new(), |c| format!("{c:.3}"));
        writeln!(
            out,
            "{:.3},{:.7},{:.7},{:.6},{course}",
            r.time_ms as f64 * 1e-3,
            f64::from(lat) * 1e-7,
            f64::from(lon) * 1e-7,
            r.speed_mps
        )
        .expect("a string");
    }
    out
}

/// The same as a receiver's sentences: RMC, with seven digits of a minute and five of a knot.
pub fn nmea(rows: &[Row]) -> String {
    const KNOT_MPS: f64 = 1852.0 / 3600.0;
    let mut out = String::new();
    for r in rows {
        let (lat, lon) = degrees(r);
        let ms = r.time_ms % 86_400_000;
        let (h, m, s) = (ms / 3_600_000, ms / 60_000 % 60, ms % 60_000);
        let minutes = |e7: i32| {
            let e7 = f64::from(e7.unsigned_abs());
            let whole = (e7 * 1e-7).floor();
            (whole, (e7 * 1e-7 - whole) * 60.0)
        };
        let ((lat_d, lat_m), (lon_d, lon_m)) = (minutes(lat), minutes(lon));
        let course = r.course_deg.map_or(String::new(), |c| format!("{c:.3}"));
        let body = format!(
            "GNRMC,{h:02}{m:02}{:02}.{:03},A,{lat_d:02}{lat_m:010.7},N,{lon_d:03}{lon_m:010.7},E,{:.6},\
             {course},120625,,,A",
            s / 1000,
            s % 1000,
            r.speed_mps / KNOT_MPS
        );
        let sum = body.bytes().fold(0, |a, b| a ^ b);
        write!(out, "${body}*{sum:02X}\r\n").expect("a string");
    }
    out
}

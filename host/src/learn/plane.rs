//! The plane a reference is laid in: around the middle of what was driven.

use cuepost_engine::{Frame, Position, Sample};

/// Which kind of position the recordings have, and a frame in their middle.
///
/// `None` without any position or when both kinds are mixed.
pub fn choose(takes: &[&[Sample]]) -> Option<Frame> {
    let positions = takes
        .iter()
        .flat_map(|t| t.iter())
        .filter_map(|s| s.position);
    let (mut first, mut count, mut sum) = (None, 0_i64, (0_i64, 0_i64));
    for position in positions {
        let base = *first.get_or_insert(position);
        let (a, b) = match (base, position) {
            (
                Position::Geodetic { lat_e7, lon_e7 },
                Position::Geodetic {
                    lat_e7: lat,
                    lon_e7: lon,
                },
            ) => {
                // Zero latitude and longitude is what receivers say when they know nothing.
                if lat == 0 && lon == 0 {
                    continue;
                }
                let turn = 3_600_000_000;
                let east = (i64::from(lon) - i64::from(lon_e7) + turn / 2).rem_euclid(turn);
                (i64::from(lat) - i64::from(lat_e7), east - turn / 2)
            }
            (
                Position::Local { east_mm, north_mm },
                Position::Local {
                    east_mm: e,
                    north_mm: n,
                },
            ) => (n.saturating_sub(north_mm), e.saturating_sub(east_mm)),
            _ => return None,
        };
        count += 1;
        sum = (sum.0.saturating_add(a), sum.1.saturating_add(b));
    }
    let (north, east) = (sum.0.checked_div(count)?, sum.1.checked_div(count)?);
    Some(match first? {
        Position::Geodetic { lat_e7, lon_e7 } => {
            let lat = f64::from(lat_e7) + north as f64;
            let lon = f64::from(lon_e7) + east as f64;
            crate::geodesy::frame_at(lat * 1e-7, lon * 1e-7)
        }
        // Whole metres, so that people can compare.
        Position::Local { east_mm, north_mm } => Frame::Local {
            east_mm: east_mm.saturating_add(east) / 1000 * 1000,
            north_mm: north_mm.saturating_add(north) / 1000 * 1000,
        },
    })
}

/// A place of a frame's plane as a position; the inverse of [`Frame::locate`] to a millimetre or
/// a unit of 1e-7 degree.
pub fn position(frame: &Frame, east_m: f64, north_m: f64) -> Position {
    match *frame {
        Frame::Geodetic {
            lat_e7,
            lon_e7,
            east_m: per_lon,
            east_lat_m,
            north_m: per_lat,
            north_lon2_m,
        } => {
            let (mut lat, mut lon) = (0.0, 0.0);
            for _ in 0..4 {
                lat = (north_m - f64::from(north_lon2_m) * lon * lon) / f64::from(per_lat);
                lon = east_m / (f64::from(per_lon) + f64::from(east_lat_m) * lat);
            }
            let turn = 3_600_000_000_i64;
            let lon = (i64::from(lon_e7) + lon.round() as i64 + turn / 2).rem_euclid(turn);
            Position::Geodetic {
                lat_e7: lat_e7.saturating_add(lat.round() as i32),
                lon_e7: (lon - turn / 2) as i32,
            }
        }
        Frame::Local { east_mm, north_mm } => Position::Local {
            east_mm: east_mm.saturating_add((east_m * 1e3).round() as i64),
            north_mm: north_mm.saturating_add((north_m * 1e3).round() as i64),
        },
    }
}

/// A start line as `--start` takes it.
pub fn start_text(frame: &Frame, east_m: f64, north_m: f64, bearing_deg: f64) -> String {
    match position(frame, east_m, north_m) {
        Position::Geodetic { lat_e7, lon_e7 } => format!(
            "{:.7},{:.7},{bearing_deg:.1}",
            f64::from(lat_e7) * 1e-7,
            f64::from(lon_e7) * 1e-7
        ),
        Position::Local { east_mm, north_mm } => format!(
            "{:.3},{:.3},{bearing_deg:.1}",
            east_mm as f64 * 1e-3,
            north_mm as f64 * 1e-3
        ),
    }
}

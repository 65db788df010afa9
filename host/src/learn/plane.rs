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
            frame_at(lat * 1e-7, (lon * 1e-7 + 540.0).rem_euclid(360.0) - 180.0)
        }
        // Whole metres, so that people can compare.
        Position::Local { east_mm, north_mm } => Frame::Local {
            east_mm: east_mm.saturating_add(east) / 1000 * 1000,
            north_mm: north_mm.saturating_add(north) / 1000 * 1000,
        },
    })
}

/// The frame whose plane touches WGS 84 at a place, to second order: a step north changes the
/// circle of latitude by -M sin φ, and that circle bends away from the plane's east by
/// N cos φ sin φ / 2.
fn frame_at(lat_deg: f64, lon_deg: f64) -> Frame {
    const A_M: f64 = 6_378_137.0;
    const E2: f64 = 6.694_379_990_14e-3;
    let unit = 1e-7_f64.to_radians();
    let (sin, cos) = lat_deg.to_radians().sin_cos();
    let w = (1.0 - E2 * sin * sin).sqrt();
    let (across, along) = (A_M / w, A_M * (1.0 - E2) / w.powi(3));
    Frame::Geodetic {
        lat_e7: (lat_deg * 1e7).round() as i32,
        lon_e7: (lon_deg * 1e7).round() as i32,
        east_m: (across * cos * unit) as f32,
        east_lat_m: (-along * sin * unit * unit) as f32,
        north_m: (along * unit) as f32,
        north_lon2_m: (0.5 * across * cos * sin * unit * unit) as f32,
    }
}

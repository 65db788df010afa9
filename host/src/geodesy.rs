//! The plane of a reference from WGS 84 latitude and longitude.

use cuepost_engine::reference::Frame;

/// Equatorial radius of WGS 84, metres.
pub const WGS84_A_M: f64 = 6_378_137.0;
/// Flattening of WGS 84.
pub const WGS84_F: f64 = 1.0 / 298.257_223_563;

/// Radius of curvature in the meridian, metres, at a latitude in radians.
pub fn meridian_radius_m(lat_rad: f64) -> f64 {
    let e2 = WGS84_F * (2.0 - WGS84_F);
    WGS84_A_M * (1.0 - e2) / (1.0 - e2 * lat_rad.sin().powi(2)).powf(1.5)
}

/// Radius of curvature across the meridian, metres, at a latitude in radians.
pub fn transverse_radius_m(lat_rad: f64) -> f64 {
    let e2 = WGS84_F * (2.0 - WGS84_F);
    WGS84_A_M / (1.0 - e2 * lat_rad.sin().powi(2)).sqrt()
}

/// A frame around an origin in degrees, north and east positive.
///
/// The expansion of the ellipsoid's surface to second order in the offsets: true east and north
/// within 2 cm at 5 km from the origin, up to 80 degrees of latitude. The origin is taken at the
/// nearest 1e-7 degree, and the longitude may have any number of turns.
pub fn frame_at(lat_deg: f64, lon_deg: f64) -> Frame {
    let unit_rad = 1e-7_f64.to_radians();
    let lat_e7 = (lat_deg.clamp(-90.0, 90.0) * 1e7).round() as i32;
    let turns = (lon_deg / 360.0).round() * 360.0;
    let lon_e7 = ((lon_deg - turns) * 1e7).round() as i32;
    let lat_rad = f64::from(lat_e7) * unit_rad;
    let (sin, cos) = lat_rad.sin_cos();
    let meridian_m = meridian_radius_m(lat_rad);
    let transverse_m = transverse_radius_m(lat_rad);
    Frame::Geodetic {
        lat_e7,
        lon_e7,
        east_m: (transverse_m * cos * unit_rad) as f32,
        // The parallel's radius N cos(lat) shrinks northward by M sin(lat).
        east_lat_m: (-meridian_m * sin * unit_rad * unit_rad) as f32,
        north_m: (meridian_m * unit_rad) as f32,
        // A parallel bends away from its tangent great circle.
        north_lon2_m: (0.5 * transverse_m * sin * cos * unit_rad * unit_rad) as f32,
    }
}

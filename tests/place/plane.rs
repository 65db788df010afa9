//! The plane of a reference against published geodesy.

use cuepost_engine::{Frame, Position};
use cuepost_host::geodesy::{frame_at, meridian_radius_m, transverse_radius_m};
use cuepost_tests::csv::{Table, geodetic};

/// Metres per degree of latitude and longitude. Source: the exact M·π/180 and N·cos φ·π/180 of
/// WGS 84 (NIMA TR8350.2, from memory) and the widely printed series that agrees with them within
/// 0.06 m.
#[test]
fn metres_per_degree() {
    for (lat, m_lat, m_lon) in [
        (0.0f64, 110_574.276, 111_319.491),
        (30.0, 110_852.442, 96_486.280),
        (45.0, 111_131.777, 78_846.835),
        (50.0, 111_229.064, 71_695.754),
        (60.0, 111_412.287, 55_800.002),
        (75.0, 111_618.384, 28_902.006),
    ] {
        let p = lat.to_radians();
        let degree = std::f64::consts::PI / 180.0;
        assert!(
            (meridian_radius_m(p) * degree - m_lat).abs() < 1e-3,
            "{lat}"
        );
        let east = transverse_radius_m(p) * p.cos() * degree;
        assert!((east - m_lon).abs() < 1e-3, "{lat}: {east}");
    }
}

/// Positions against geodesics of known length and azimuth made by GeographicLib 2.1
/// (`data/published/geodesic_plane.py`), from the equator to 60 degrees, south, west of the
/// meridian and across 180 degrees.
#[test]
fn located_as_geographiclib_says() {
    let table = Table::read("published/geodesic_plane.csv");
    assert_eq!(table.len(), 192);
    for r in 0..table.len() {
        let number = |column| table.number(r, column).expect("a number");
        let frame = frame_at(number("lat0_deg"), number("lon0_deg"));
        let position = geodetic(Some(number("lat_deg")), Some(number("lon_deg"))).expect("finite");
        let (east_m, north_m) = frame.locate(position).expect("near");
        let (e, n) = (number("east_m"), number("north_m"));
        let off = (f64::from(east_m) - e).hypot(f64::from(north_m) - n);
        // A unit of 1e-7 degree is 1.1 cm.
        let allowed = if e.hypot(n) > 3_000.0 { 0.03 } else { 0.012 };
        assert!(off < allowed, "row {r}: off by {off} m");
    }
}

/// Steps of a quarter metre survive at 138.5 degrees east, where 32-bit degrees move in steps of
/// 1.4 m: https://github.com/adafruit/Adafruit_CircuitPython_GPS/issues/10
#[test]
fn fault_19_steps_of_a_quarter_metre() {
    let table = Table::read("faults/19_f32_steps.csv");
    let frame = frame_at(-35.12, 138.50);
    let east: Vec<f32> = (0..table.len())
        .map(|r| {
            let p = geodetic(table.number(r, "lat_deg"), table.number(r, "lon_deg"));
            frame.locate(p.expect("finite")).expect("near").0
        })
        .collect();
    for pair in east.windows(2) {
        let step = pair[1] - pair[0];
        assert!((step - 0.25).abs() < 0.02, "{step}");
    }
}

/// What is no place near the circuit is none.
#[test]
fn far_and_foreign_positions_are_none() {
    let frame = frame_at(45.5, 9.5);
    assert_eq!(
        frame.locate(Position::Geodetic {
            lat_e7: 0,
            lon_e7: 0
        }),
        None
    );
    for lat_e7 in [i32::MIN, i32::MAX] {
        for lon_e7 in [i32::MIN, i32::MAX] {
            assert_eq!(frame.locate(Position::Geodetic { lat_e7, lon_e7 }), None);
        }
    }
    let foreign = Position::Local {
        east_mm: 0,
        north_mm: 0,
    };
    assert_eq!(frame.locate(foreign), None);
    let local = Frame::Local {
        east_mm: i64::MAX,
        north_mm: i64::MIN,
    };
    for mm in [i64::MIN, 0, i64::MAX] {
        // No overflow, whatever the numbers.
        let _ = local.locate(Position::Local {
            east_mm: mm,
            north_mm: -(mm >> 1),
        });
    }
}

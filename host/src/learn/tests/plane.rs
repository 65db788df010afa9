//! Planes and positions.

use super::super::plane::{choose, position, start_text};
use cuepost_engine::sample::{Position, Sample};

fn at(position: Position) -> Sample {
    Sample {
        position: Some(position),
        ..Sample::default()
    }
}

fn globe(lat_e7: i32, lon_e7: i32) -> Position {
    Position::Geodetic { lat_e7, lon_e7 }
}

#[test]
fn a_plane_lies_in_the_middle_and_gives_positions_back() {
    for (lat, lon) in [
        (455_000_000, 95_000_000),
        (-338_000_000, 1_512_000_000),
        (5_000, -5_000),
        (600_000_000, 1_799_999_000),
    ] {
        // A drive of some kilometres around it, over the 180th meridian in the last case.
        let wrap = |lon: i64| {
            let turn = 3_600_000_000_i64;
            ((lon + turn / 2).rem_euclid(turn) - turn / 2) as i32
        };
        let places: Vec<Position> = [(-200_000, -150_000), (180_000, 210_000), (20_000, -60_000)]
            .iter()
            .map(|(n, e)| globe(lat + n, wrap(i64::from(lon) + e)))
            .collect();
        let samples: Vec<Sample> = places.iter().map(|p| at(*p)).collect();
        let frame = choose(&[&samples]).expect("positions");
        for place in places {
            let (east, north) = frame.locate(place).expect("near");
            assert!(east.abs() < 4_000.0 && north.abs() < 4_000.0);
            let Position::Geodetic { lat_e7, lon_e7 } = place else {
                panic!("geodetic");
            };
            let back = position(&frame, east.into(), north.into());
            let Position::Geodetic {
                lat_e7: la,
                lon_e7: lo,
            } = back
            else {
                panic!("geodetic");
            };
            assert!((la - lat_e7).abs() <= 1, "{la} {lat_e7}");
            assert!(
                (i64::from(lo) - i64::from(lon_e7)).abs() <= 1,
                "{lo} {lon_e7}"
            );
        }
    }
}

/// What receivers say when they know nothing does not draw the plane to the Gulf of Guinea.
#[test]
fn zero_latitude_and_longitude_is_no_place() {
    let samples = [
        at(globe(455_000_000, 95_000_000)),
        at(globe(0, 0)),
        at(globe(455_002_000, 95_001_000)),
    ];
    let frame = choose(&[&samples]).expect("positions");
    let (east, north) = frame.locate(globe(455_001_000, 95_000_500)).expect("near");
    assert!(east.hypot(north) < 1.0, "{east} {north}");
}

#[test]
fn a_start_line_is_printed_as_it_is_read() {
    let samples = [at(Position::Local {
        east_mm: 1_234_567,
        north_mm: -7_654_321,
    })];
    let frame = choose(&[&samples]).expect("positions");
    let text = start_text(&frame, 1.5, 2.25, 92.04);
    // The plane's origin is at whole metres.
    assert_eq!(text, "1235.500,-7651.750,92.0");
    let start = super::super::StartAt::parse(&text, false).expect("as printed");
    let line = start.locate(&frame).expect("near");
    assert!((line.east_m - 1.5).abs() < 1e-3 && (line.north_m - 2.25).abs() < 1e-3);
    assert!((line.bearing_deg() - 92.0).abs() < 1e-6);
}

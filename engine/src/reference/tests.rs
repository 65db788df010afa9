//! The file codec against a made circuit.

use super::test_circuit::{Store, circuit, word};
use super::*;
use crate::facts::Measured;
use std::boxed::Box;
use std::vec;

fn file(store: &Store) -> std::vec::Vec<u8> {
    let mut out = vec![0; 40_000];
    let n = encode(&store.view(), &mut out).unwrap();
    out.truncate(n);
    out
}

fn same(a: &Store, b: &Store) {
    assert_eq!(a.frame, b.frame);
    assert_eq!(a.spacing_m, b.spacing_m);
    assert_eq!(a.nodes, b.nodes);
    assert_eq!(a.corners, b.corners);
    assert_eq!(a.landmarks, b.landmarks);
    assert_eq!(a.car, b.car);
    assert_eq!(a.session, b.session);
}

#[test]
fn seven_kilometres_and_twenty_corners_fit_16_kib_and_come_back_exactly() {
    let store = circuit(1400, 5.0, 20);
    let bytes = file(&store);
    assert!(bytes.len() <= 16_384, "{} bytes", bytes.len());
    std::println!("{} bytes", bytes.len());
    let mut back = Box::new(Store::new());
    let id = decode(&bytes, &mut back).unwrap();
    same(&store, &back);
    assert_eq!(super::id(&bytes), Some(id));
}

#[test]
fn every_cut_every_flipped_bit_and_every_longer_file_is_refused() {
    let store = circuit(64, 5.0, 2);
    let bytes = file(&store);
    let mut back = Box::new(Store::new());
    for end in 0..bytes.len() {
        let fault = decode(&bytes[..end], &mut back).unwrap_err();
        assert!(fault.at <= end as u32, "{fault}");
        assert!(back.nodes.is_empty() && back.spacing_m == 0.0);
    }
    let mut bad = bytes.clone();
    for bit in 0..bytes.len() * 8 {
        bad[bit / 8] ^= 1 << (bit % 8);
        assert!(decode(&bad, &mut back).is_err(), "bit {bit}");
        bad[bit / 8] ^= 1 << (bit % 8);
    }
    bad.push(0);
    assert!(decode(&bad, &mut back).is_err());
}

/// A change to a reference, and the part and field that must be named for it.
type Spoil = (fn(&mut Store), crate::file::Part, u16, &'static str);

#[test]
fn what_is_not_valid_is_not_written_and_named() {
    use crate::file::{MakeFault, Part::*, Problem};
    let spoils: std::vec::Vec<Spoil> = vec![
        (|s| s.spacing_m = f32::NAN, Head, 0, "spacing_m"),
        (|s| s.nodes.truncate(15), Head, 0, "nodes"),
        (|s| s.session.lap_time_us = 0, Session, 0, "lap_time_us"),
        (|s| s.session.rate_hz = f32::INFINITY, Session, 0, "rate_hz"),
        (|s| s.session.mass_kg = Some(0.0), Session, 0, "mass_kg"),
        (|s| s.session.name = word("a\u{1b}[2J"), Session, 0, "name"),
        (|s| s.car.brake_cmps2[3] = -1, Car, 0, "brake_cmps2"),
        (|s| s.corners[1].turn = 0, Corner, 1, "turn"),
        (|s| s.corners[1].gear = Some(-2), Corner, 1, "gear"),
        (|s| s.corners[1].apex_m = f32::NAN, Corner, 1, "apex_m"),
        (|s| s.corners[1].exit_m = 1e6, Corner, 1, "exit_m"),
        (|s| s.corners[1].facts.corner = 1, Corner, 1, "facts.corner"),
        (
            |s| s.corners[1].spread.full_m = -1.0,
            Corner,
            1,
            "spread.full_m",
        ),
        (|s| s.corners[1].note = word("\n"), Corner, 1, "note"),
        (
            |s| s.corners[1].facts.brake_m = Some(Measured::new(f32::NAN, 1.0)),
            Corner,
            1,
            "brake_m",
        ),
        (
            |s| s.corners[1].facts.exit_mps = Some(Measured::new(40.0, -1.0)),
            Corner,
            1,
            "exit_mps",
        ),
        // Places out of order, spans out of order, one corner twice.
        (
            |s| s.corners[0].apex_m = s.corners[0].middle_end_m + 1.0,
            Corner,
            0,
            "apex_m",
        ),
        (
            |s| s.corners[0].exit_m = s.corners[0].middle_end_m - 1.0,
            Corner,
            0,
            "exit_m",
        ),
        (
            |s| s.corners[1].begin_m = s.corners[0].begin_m,
            Corner,
            1,
            "begin_m",
        ),
        (|s| s.landmarks[1].side = 2, Landmark, 1, "side"),
        (
            |s| s.landmarks[1].progress_m = -1.0,
            Landmark,
            1,
            "progress_m",
        ),
        (|s| s.landmarks.swap(0, 2), Landmark, 1, "progress_m"),
        (|s| s.nodes[0].time_ms = 1, Node, 0, "time_ms"),
        (
            |s| s.nodes[9].time_ms = s.nodes[8].time_ms,
            Node,
            9,
            "time_ms",
        ),
        (|s| s.nodes[9].speed_cmps = 0, Node, 9, "speed_cmps"),
        (
            |s| s.nodes[9].east_mm += 6000,
            Node,
            9,
            "step from the node before",
        ),
        (|s| s.nodes.truncate(63), Node, 62, "step to the first node"),
    ];
    for (spoil, part, index, field) in spoils {
        let mut store = circuit(64, 5.0, 2);
        spoil(&mut store);
        let problem = Problem::Value { part, index, field };
        let result = encode(&store.view(), &mut vec![0; 40_000]);
        assert_eq!(result, Err(MakeFault::Invalid(problem)));
    }
}

#[test]
fn frames_out_of_range_are_refused() {
    use crate::file::{MakeFault, Part, Problem};
    let good = Frame::Geodetic {
        lat_e7: 465_000_000,
        lon_e7: -1_799_999_999,
        east_m: 0.00767,
        east_lat_m: -1.4e-12,
        north_m: 0.01112,
        north_lon2_m: 6e-13,
    };
    let mut store = circuit(64, 5.0, 2);
    store.frame = good;
    let bytes = file(&store);
    let mut back = Box::new(Store::new());
    decode(&bytes, &mut back).unwrap();
    same(&store, &back);
    let Frame::Geodetic {
        lat_e7,
        lon_e7,
        east_m,
        east_lat_m,
        north_m,
        north_lon2_m,
    } = good
    else {
        unreachable!()
    };
    let with = |lat_e7, east_m, north_m| Frame::Geodetic {
        lat_e7,
        lon_e7,
        east_m,
        east_lat_m,
        north_m,
        north_lon2_m,
    };
    for (bad, field) in [
        (with(900_000_000, east_m, north_m), "lat_e7"),
        (with(lat_e7, f32::NAN, north_m), "east_m"),
        (with(lat_e7, east_m, 1.0), "north_m"),
    ] {
        store.frame = bad;
        let problem = Problem::Value {
            part: Part::Head,
            index: 0,
            field,
        };
        let result = encode(&store.view(), &mut vec![0; 40_000]);
        assert_eq!(result, Err(MakeFault::Invalid(problem)));
    }
}

#[test]
fn another_version_a_foreign_file_and_a_small_store_are_named() {
    use crate::file::{Part, Problem};
    let store = circuit(64, 5.0, 2);
    let bytes = file(&store);
    let mut back = Box::new(Store::new());
    let mut refused = |bytes: &[u8]| decode(bytes, &mut back).unwrap_err();
    for version in [0, 1, 255] {
        let mut other = bytes.clone();
        other[8] = version;
        let fault = refused(&other);
        assert_eq!((fault.at, fault.what), (8, Problem::Version(version)));
    }
    let fault = refused(b"CUEPOSTC\x02");
    assert_eq!((fault.at, fault.what), (7, Problem::Foreign));
    let fault = refused(b"");
    assert_eq!((fault.at, fault.what), (0, Problem::Foreign));
    let mut small = Box::new(ReferenceStore::<63, 32, 64>::new());
    let fault = decode(&bytes, &mut small).unwrap_err();
    let what = Problem::Capacity {
        part: Part::Node,
        most: 63,
        found: 64,
    };
    assert_eq!(fault.what, what);
    assert!(small.nodes.is_empty());
    assert_eq!(
        crate::file::stated_len(&MAGIC, &bytes),
        Some(bytes.len() as u32)
    );
}

/// Files with any content and the right checksum: refused with a byte inside the file, or valid.
#[test]
fn hostile_content_is_refused_or_valid() {
    let store = circuit(64, 5.0, 2);
    let bytes = file(&store);
    let mut back = Box::new(Store::new());
    let mut state = 7u64;
    let mut random = |end: usize| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        (state >> 33) as usize % end
    };
    let mut accepted = 0;
    for _ in 0..20_000 {
        let mut bad = bytes.clone();
        for _ in 0..1 + random(3) {
            let at = crate::file::HEAD + random(bad.len() - crate::file::HEAD - 4);
            bad[at] = random(256) as u8;
        }
        let end = bad.len() - 4;
        let crc = crate::wire::frame::crc32(&bad[..end]);
        bad[end..].copy_from_slice(&crc.to_le_bytes());
        match decode(&bad, &mut back) {
            Ok(id) => {
                assert_eq!(id, crc);
                assert_eq!(check(&back.view()), Ok(()));
                accepted += 1;
            }
            Err(fault) => {
                assert!((fault.at as usize) < bad.len(), "{fault}");
                assert!(back.nodes.is_empty());
            }
        }
    }
    // Most bytes of a file are values with some room.
    assert!((1000..19_000).contains(&accepted), "{accepted}");
}

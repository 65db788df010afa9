//! The file codec against a made circuit.

use super::*;
use crate::facts::Measured;
use std::boxed::Box;
use std::vec;

type Store = ReferenceStore<2000, 32, 64>;

fn word<const N: usize>(s: &str) -> String<N> {
    String::try_from(s).unwrap()
}

/// A closed line of `n` nodes: a circle bent by harmonics, speeds from the curvature, every
/// field of every corner filled.
fn circuit(n: usize, spacing_m: f32, corners: u8) -> Box<Store> {
    let mut store = Box::new(Store::new());
    let length = spacing_m * n as f32;
    store.frame = Frame::Local {
        east_mm: -12_345,
        north_mm: 1 << 40 >> 10,
    };
    store.spacing_m = spacing_m;
    // Heading whose mean turns once round, with k corners of alternating sign on top.
    let k = f64::from(corners);
    let heading = |s: f64| {
        let u = s / f64::from(length) * std::f64::consts::TAU;
        u + 1.2 * (k * u).sin()
    };
    let (mut e, mut north, mut line) = (0.0f64, 0.0f64, vec![]);
    let fine = 50;
    for i in 0..n {
        line.push((e, north));
        for j in 0..fine {
            let s = (i as f64 + (f64::from(j) + 0.5) / f64::from(fine)) * f64::from(spacing_m);
            let h = heading(s);
            e += h.cos() * f64::from(spacing_m) / f64::from(fine);
            north += h.sin() * f64::from(spacing_m) / f64::from(fine);
        }
    }
    // Close what is left open evenly.
    for (i, p) in line.iter_mut().enumerate() {
        p.0 -= e * i as f64 / n as f64;
        p.1 -= north * i as f64 / n as f64;
    }
    let mut time = 0.0f64;
    let mut v_before = None;
    for (i, p) in line.iter().enumerate() {
        let s = i as f64 * f64::from(spacing_m);
        let d = 0.5;
        let curvature = (heading(s + d) - heading(s - d)) / (2.0 * d);
        let v = (14.0 / curvature.abs().max(14.0 / 6400.0)).sqrt();
        if let Some(before) = v_before {
            time += 2.0 * f64::from(spacing_m) / (before + v);
        }
        v_before = Some(v);
        let node = Node {
            east_mm: (p.0 * 1e3).round() as i32,
            north_mm: (p.1 * 1e3).round() as i32,
            time_ms: (time * 1e3).round() as u32,
            speed_cmps: (v * 1e2).round() as u16,
            curvature_e5: (curvature * 1e5).round() as i16,
        };
        store.nodes.push(node).unwrap();
    }
    store.session.lap_time_us = (time * 1e6) as u64 + 100_000;
    store.session.name = word("An invented circuit, long layout");
    store.session.conditions = word("dry, 18 °C");
    store.session.rate_hz = 25.0;
    store.session.mass_kg = Some(1250.0);
    for i in 0..corners {
        let begin = length * (f32::from(i) + 0.3) / f32::from(corners);
        let corner = corner(i + 1, begin, length / f32::from(corners), length);
        store.corners.push(corner).unwrap();
    }
    for i in 0..2 * corners {
        let landmark = Landmark {
            progress_m: length * f32::from(i) / f32::from(2 * corners),
            side: (i % 3) as i8 - 1,
            name: word("second board"),
        };
        store.landmarks.push(landmark).unwrap();
    }
    for (i, x) in store.car.coast_cmps2.iter_mut().enumerate() {
        *x = -(i as i16) * 17;
    }
    store.car.brake_cmps2 = [1200; CURVE_POINTS];
    store.car.lateral_cmps2 = [1400; CURVE_POINTS];
    store
}

fn corner(number: u8, begin: f32, span: f32, length: f32) -> Corner {
    let at = |share: f32| (begin + span * share) % length;
    let some = |x: f32| Some(Measured::new(x, 0.4));
    Corner {
        kind: CornerKind::Braked,
        begin_m: begin,
        turn_m: at(0.3),
        middle_begin_m: at(0.35),
        apex_m: at(0.45),
        middle_end_m: at(0.55),
        exit_m: at(0.7),
        turn: if number.is_multiple_of(2) { -1 } else { 1 },
        gear: Some(3),
        facts: Facts {
            lap: 4,
            corner: number,
            usable: true,
            brake_m: some(at(0.1)),
            brake_mps: some(61.0),
            peak_decel_mps2: some(11.0),
            mean_decel_mps2: some(9.0),
            turn_in_m: some(at(0.2)),
            release_m: some(at(0.4)),
            trail_m: some(20.0),
            slowest_m: some(at(0.44)),
            slowest_mps: some(25.0),
            throttle_m: some(at(0.5)),
            full_m: some(at(0.6)),
            lift_s: some(0.0),
            coast_s: some(0.2),
            offset_slowest_m: some(0.1),
            offset_exit_m: some(-0.2),
            exit_mps: some(40.0),
            loss_entry_s: some(0.0),
            loss_middle_s: some(0.0),
            loss_exit_s: some(0.0),
            ..Facts::default()
        },
        spread: Spread {
            laps: 5,
            brake_m: 1.5,
            ..Spread::default()
        },
        name: word("the long left"),
        note: word("brake two metres past the second board"),
        unproven: number == 2,
    }
}

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

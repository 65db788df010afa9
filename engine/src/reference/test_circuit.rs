//! A made circuit with every field of every corner filled.

use super::*;
use crate::facts::Measured;
use std::boxed::Box;
use std::vec;

pub type Store = ReferenceStore<2000, 32, 64>;

pub fn word<const N: usize>(s: &str) -> String<N> {
    String::try_from(s).unwrap()
}

/// A closed line of `n` nodes: a circle bent by harmonics, speeds from the curvature, every
/// field of every corner filled.
pub fn circuit(n: usize, spacing_m: f32, corners: u8) -> Box<Store> {
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

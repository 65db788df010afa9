//! A round circuit as a reference.

use cuepost_engine::reference::ReferenceStore;
use cuepost_engine::{Corner, Facts, Node};

/// A circle of `nodes` at 5 m, driven at 30 m/s, with corners of equal length.
pub fn circuit(nodes: u16, corners: u8) -> Box<ReferenceStore<256, 16, 4>> {
    let mut store = Box::new(ReferenceStore::new());
    let length_m = 5.0 * f64::from(nodes);
    let radius_m = length_m / std::f64::consts::TAU;
    store.spacing_m = 5.0;
    for i in 0..nodes {
        let way_m = 5.0 * f64::from(i);
        let angle = way_m / radius_m;
        let node = Node {
            east_mm: (radius_m * angle.cos() * 1e3).round() as i32,
            north_mm: (radius_m * angle.sin() * 1e3).round() as i32,
            time_ms: (way_m / 30.0 * 1e3).round() as u32,
            speed_cmps: 3000,
            curvature_e5: (1e5 / radius_m).round() as i16,
        };
        store.nodes.push(node).unwrap();
    }
    for i in 0..corners {
        let at = |share: f32| {
            let way = length_m as f32 * (f32::from(i) + share) / f32::from(corners);
            way % length_m as f32
        };
        let corner = Corner {
            begin_m: at(0.3),
            turn_m: at(0.4),
            middle_begin_m: at(0.5),
            apex_m: at(0.6),
            middle_end_m: at(0.7),
            exit_m: at(0.8),
            turn: 1,
            facts: Facts {
                corner: i + 1,
                ..Facts::default()
            },
            ..Corner::default()
        };
        store.corners.push(corner).unwrap();
    }
    store.session.lap_time_us = (length_m / 30.0 * 1e6) as u64;
    store
}

//! The smallest reference there is, and a cue, for tests that care about neither.

use cuepost_engine::reference::{self, ReferenceStore};
use cuepost_engine::{Advice, Cue, Frame, Node, Phase, Size, Told};

/// The file of a reference: a ring of a radius in metres, driven anticlockwise at 30 m/s.
pub fn ring(radius_m: f64) -> Vec<u8> {
    let mut store = Box::new(ReferenceStore::<512, 4, 4>::new());
    let length_m = radius_m * core::f64::consts::TAU;
    let count = (length_m / 5.0) as usize;
    store.frame = Frame::Local {
        east_mm: 0,
        north_mm: 0,
    };
    store.spacing_m = (length_m / count as f64) as f32;
    for i in 0..count {
        let turned = i as f64 / count as f64;
        let angle = turned * core::f64::consts::TAU;
        let node = Node {
            east_mm: (radius_m * 1e3 * angle.cos()).round() as i32,
            north_mm: (radius_m * 1e3 * angle.sin()).round() as i32,
            time_ms: (turned * length_m / 30.0 * 1e3).round() as u32,
            speed_cmps: 3_000,
            curvature_e5: (1e5 / radius_m).round() as i16,
        };
        store.nodes.push(node).expect("room for it");
    }
    store.session.lap_time_us = (length_m / 30.0 * 1e6) as u64;
    store.session.rate_hz = 25.0;
    let mut bytes = vec![0; 16_384];
    let len = reference::encode(&store.view(), &mut bytes).expect("a valid one");
    bytes.truncate(len);
    bytes
}

/// Corner 5, throttle sooner, 12 m.
pub fn cue() -> Cue {
    Cue {
        lap: 2,
        corner: 5,
        phase: Phase::Throttle,
        advice: Advice::Sooner,
        told: Told::After,
        size: Size::Metres(12.0),
        size_s: None,
        loss_s: Some(0.2),
        time_us: 100_000_000,
        progress_m: 1_391.0,
    }
}

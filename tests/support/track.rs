//! Reference lines for tests: made from points, without the corners and curves of a learned one.

use cuepost_engine::reference::{Node, ReferenceStore};
use cuepost_engine::{Frame, Position};

/// A reference large enough for every test.
pub type Store = ReferenceStore<8192, 64, 16>;

/// Where a plane is.
pub const HERE: Frame = Frame::Local {
    east_mm: 0,
    north_mm: 0,
};

/// A closed line through points (metres in the frame's plane), evenly spaced by about
/// `spacing_m`, with time and speed of a car at a constant speed.
pub fn line_through(points: &[(f64, f64)], spacing_m: f64, speed_mps: f64, frame: Frame) -> Store {
    let fine = densified(points, 16);
    let (nodes, step_m) = resampled(&fine, spacing_m);
    let curvature = curvatures(&nodes, step_m);
    let mut store = Store::new();
    store.frame = frame;
    store.spacing_m = step_m as f32;
    for (i, (&(e, n), k)) in nodes.iter().zip(curvature).enumerate() {
        let node = Node {
            east_mm: (e * 1e3).round() as i32,
            north_mm: (n * 1e3).round() as i32,
            time_ms: (i as f64 * step_m / speed_mps * 1e3) as u32,
            speed_cmps: (speed_mps * 100.0) as u16,
            curvature_e5: (k * 1e5).round().clamp(-32000.0, 32000.0) as i16,
        };
        store.nodes.push(node).expect("capacity");
    }
    store.session.lap_time_us = (nodes.len() as f64 * step_m / speed_mps * 1e6) as u64;
    store
}

/// The points of one lap, thinned to at least `apart_m` and smoothed over three of them.
pub fn lap_points(points: &[(f64, f64)], apart_m: f64) -> Vec<(f64, f64)> {
    let mut kept: Vec<(f64, f64)> = Vec::new();
    for &p in points {
        if kept.last().is_none_or(|&q| far(p, q) >= apart_m) {
            kept.push(p);
        }
    }
    while kept.len() > 3 && far(kept[0], kept[kept.len() - 1]) < 0.5 * apart_m {
        kept.pop();
    }
    kept
}

/// Positions in metres of a frame.
pub fn located(frame: &Frame, positions: &[Position]) -> Vec<(f64, f64)> {
    positions
        .iter()
        .map(|&p| {
            let (e, n) = frame.locate(p).expect("near the origin");
            (f64::from(e), f64::from(n))
        })
        .collect()
}

fn far(a: (f64, f64), b: (f64, f64)) -> f64 {
    (a.0 - b.0).hypot(a.1 - b.1)
}

/// Catmull-Rom points between the given ones.
fn densified(points: &[(f64, f64)], parts: usize) -> Vec<(f64, f64)> {
    let n = points.len();
    let at = |i: usize| points[i % n];
    let mut fine = Vec::new();
    for i in 0..n {
        let (a, b, c, d) = (at(i + n - 1), at(i), at(i + 1), at(i + 2));
        for k in 0..parts {
            let u = k as f64 / parts as f64;
            let cubic = |a: f64, b: f64, c: f64, d: f64| {
                let (m0, m1) = (0.5 * (c - a), 0.5 * (d - b));
                let (h, h2, h3) = (u, u * u, u * u * u);
                b * (2.0 * h3 - 3.0 * h2 + 1.0)
                    + m0 * (h3 - 2.0 * h2 + h)
                    + c * (3.0 * h2 - 2.0 * h3)
                    + m1 * (h3 - h2)
            };
            fine.push((cubic(a.0, b.0, c.0, d.0), cubic(a.1, b.1, c.1, d.1)));
        }
    }
    fine
}

/// Evenly spaced points along a closed polygon, the first on its first corner.
fn resampled(fine: &[(f64, f64)], spacing_m: f64) -> (Vec<(f64, f64)>, f64) {
    let n = fine.len();
    let mut along = vec![0.0];
    for i in 0..n {
        along.push(along[i] + far(fine[i], fine[(i + 1) % n]));
    }
    let length = along[n];
    let count = (length / spacing_m).round().max(4.0) as usize;
    let step = length / count as f64;
    let mut k = 0;
    let nodes = (0..count)
        .map(|i| {
            let s = i as f64 * step;
            while along[k + 1] < s {
                k += 1;
            }
            let f = (s - along[k]) / (along[k + 1] - along[k]);
            let (a, b) = (fine[k], fine[(k + 1) % n]);
            (a.0 + f * (b.0 - a.0), a.1 + f * (b.1 - a.1))
        })
        .collect();
    (nodes, step)
}

/// Curvature at each node from the turn of the chords two nodes to either side.
fn curvatures(nodes: &[(f64, f64)], step_m: f64) -> Vec<f64> {
    let n = nodes.len();
    let angle = |a: (f64, f64), b: (f64, f64)| (b.1 - a.1).atan2(b.0 - a.0);
    (0..n)
        .map(|i| {
            let (a, o, b) = (nodes[(i + n - 2) % n], nodes[i], nodes[(i + 2) % n]);
            let turn = angle(o, b) - angle(a, o);
            let turn = turn - (turn / std::f64::consts::TAU).round() * std::f64::consts::TAU;
            turn / (2.0 * step_m)
        })
        .collect()
}

//! A point mass on race lines of real circuits (TUMFTM racetrack-database, LGPL-3.0, geometry
//! © OpenStreetMap contributors).

use super::{data, learned, near};
use cuepost_engine::Sample;
use cuepost_engine::sample::Position;
use cuepost_host::learn::Options;

struct Driven {
    samples: Vec<Sample>,
    lap_s: f64,
    length_m: f64,
    /// Places where braking gives way to drive, a lap.
    slow_places: usize,
}

fn points(name: &str) -> Vec<[f64; 2]> {
    let text = std::fs::read_to_string(data(name)).expect(name);
    text.lines()
        .filter(|l| !l.starts_with('#'))
        .map(|l| {
            let (x, y) = l.split_once(',').expect("two columns");
            [x.parse().expect("x"), y.parse().expect("y")]
        })
        .collect()
}

/// Curvature of the circle through three points of the line, 15 m apart.
fn curvature(p: &[[f64; 2]], i: usize) -> f64 {
    let n = p.len();
    let (a, b, c) = (p[(i + n - 3) % n], p[i], p[(i + 3) % n]);
    let side = |p: [f64; 2], q: [f64; 2]| (q[0] - p[0]).hypot(q[1] - p[1]);
    let cross = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
    2.0 * cross / (side(a, b) * side(b, c) * side(a, c))
}

/// Drives three and a half laps at the limits of grip (12 m/s²) and drive (4 m/s²).
fn drive(name: &str) -> Driven {
    let p = points(name);
    let n = p.len();
    let step = |i: usize| {
        let (a, b) = (p[i % n], p[(i + 1) % n]);
        (b[0] - a[0]).hypot(b[1] - a[1])
    };
    let (grip, pull) = (12.0, 4.0);
    let mut v: Vec<f64> = (0..n)
        .map(|i| (grip / curvature(&p, i).abs().max(1e-6)).sqrt().min(70.0))
        .collect();
    for k in 0..2 * n {
        let most = (v[k % n].powi(2) + 2.0 * pull * step(k)).sqrt();
        v[(k + 1) % n] = v[(k + 1) % n].min(most);
    }
    for k in (0..2 * n).rev() {
        let most = (v[(k + 1) % n].powi(2) + 2.0 * grip * step(k)).sqrt();
        v[k % n] = v[k % n].min(most);
    }
    let mut lap_s = 0.0;
    let mut length_m = 0.0;
    for i in 0..n {
        lap_s += 2.0 * step(i) / (v[i] + v[(i + 1) % n]);
        length_m += step(i);
    }
    let mut samples = Vec::new();
    let (mut i, mut into, mut time_us) = (0_usize, 0.0, 0_u64);
    while i < 7 * n / 2 {
        let (a, b) = (p[i % n], p[(i + 1) % n]);
        let f = into / step(i);
        let (u, w) = (v[i % n], v[(i + 1) % n]);
        // Speed changes evenly in time along a step.
        let speed = (u * u + f * (w * w - u * u)).sqrt();
        samples.push(Sample {
            time_us,
            position: Some(Position::Local {
                east_mm: ((a[0] + f * (b[0] - a[0])) * 1e3).round() as i64,
                north_mm: ((a[1] + f * (b[1] - a[1])) * 1e3).round() as i64,
            }),
            speed_mps: Some(speed as f32),
            ..Sample::default()
        });
        time_us += 40_000;
        let mut left_s = 0.04;
        let mut now = speed;
        loop {
            let (u, w) = (v[i % n], v[(i + 1) % n]);
            let rest = step(i) - into;
            let needed = 2.0 * rest / (now + w);
            if needed > left_s {
                let acceleration = (w * w - u * u) / (2.0 * step(i));
                into += now * left_s + 0.5 * acceleration * left_s * left_s;
                break;
            }
            left_s -= needed;
            now = w;
            into = 0.0;
            i += 1;
        }
    }
    Driven {
        samples,
        lap_s,
        length_m,
        slow_places: slow_places(&v),
    }
}

/// Minima of the speed that 4 m/s are lost for, and more than that regained behind.
fn slow_places(v: &[f64]) -> usize {
    let top = (0..v.len())
        .max_by(|&a, &b| v[a].total_cmp(&v[b]))
        .expect("speeds");
    let (mut high, mut low, mut count) = (v[top], v[top], 0);
    for k in 0..=v.len() {
        let now = v[(top + k) % v.len()];
        low = low.min(now);
        if high - low > 4.0 && now > low + 4.0 {
            count += 1;
            (high, low) = (now, now);
        }
        if now > high {
            (high, low) = (now, now);
        }
    }
    count
}

/// Lengths of the race lines as published with the data; the second crosses over itself.
#[test]
fn race_lines_of_real_circuits_become_references() {
    for (name, published_m, turning_deg) in [
        ("Norisring.raceline.csv", 2260.0, 360.0),
        ("Suzuka.raceline.csv", 5747.0, 0.0),
    ] {
        let truth = drive(name);
        near(truth.length_m, published_m, 3.0, name);
        let out = learned(&truth.samples, &Options::default());
        assert!(out.cut.laps.len() >= 2, "{name}");
        for lap in &out.cut.laps {
            assert_eq!(lap.fault, None, "{name}");
            near(lap.time_s, truth.lap_s, 0.02, name);
        }
        let view = out.reference.view();
        near(
            view.length_m().into(),
            published_m,
            0.003 * published_m,
            name,
        );
        let turned: f64 = view
            .nodes
            .iter()
            .map(|n| f64::from(n.curvature_e5) * 1e-5 * f64::from(view.spacing_m))
            .sum();
        near(turned.to_degrees().abs(), turning_deg, 2.0, name);
        let slow = view
            .corners
            .iter()
            .filter(|c| c.kind != cuepost_engine::CornerKind::Flat)
            .count();
        // Smaller dips of speed may or may not be corners of their own.
        assert!(
            slow >= truth.slow_places,
            "{name}: {slow} of {}",
            truth.slow_places
        );
        assert!(
            slow <= truth.slow_places + 3,
            "{name}: {slow} of {}",
            truth.slow_places
        );
    }
}

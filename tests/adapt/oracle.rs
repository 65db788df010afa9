//! The same laps by another program: `trajectory-planning-helpers` 0.79 from PyPI (LGPL-3.0), run
//! in an environment of its own and not part of this one. Published circuits, equal spacing.

use crate::point::{Point, lap};
use crate::published;
use cuepost_tests::python::{compare, python};
use serde_json::{Value, json};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Metres between nodes.
const STEP_M: f64 = 0.5;

/// Race lines of real circuits, 5 m spacing, closed.
const CIRCUITS: [&str; 4] = [
    "adapt/BrandsHatch.raceline.csv",
    "adapt/Budapest.raceline.csv",
    "learn/Norisring.raceline.csv",
    "learn/Suzuka.raceline.csv",
];

/// An environment with the package in it.
fn interpreter() -> PathBuf {
    python(
        Path::new(env!("CARGO_TARGET_TMPDIR")),
        "trajectory_planning_helpers",
        // Its own wish for an old quadprog cannot be built any more, so it comes without its wishes.
        &[
            ("--upgrade", "compare/requirements.txt"),
            ("--no-deps", "compare/oracle.txt"),
        ],
    )
}

/// What the package says of these laps.
fn ask(laps: &[Value]) -> Vec<Value> {
    let mut child = Command::new(interpreter())
        .arg(compare().join("oracle.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("started");
    let mut input = child.stdin.take().expect("piped");
    input
        .write_all(Value::from(laps.to_vec()).to_string().as_bytes())
        .expect("read");
    drop(input);
    let out = child.wait_with_output().expect("ended");
    assert!(out.status.success(), "the oracle failed");
    serde_json::from_slice(&out.stdout).expect("JSON")
}

/// Curvature at nodes about [`STEP_M`] apart: circles through three points of the published line,
/// smoothed over five, linear between them, beginning where the line is straightest.
fn bends(name: &str) -> (Vec<f64>, f64) {
    let points = published(name);
    let n = points.len();
    let apart = |a: [f64; 2], b: [f64; 2]| (b[0] - a[0]).hypot(b[1] - a[1]);
    let raw: Vec<f64> = (0..n)
        .map(|i| {
            let (a, b, c) = (points[(i + n - 1) % n], points[i], points[(i + 1) % n]);
            let cross = (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0]);
            2.0 * cross / (apart(a, b) * apart(b, c) * apart(a, c))
        })
        .collect();
    let smooth = |i: usize| (0..5).map(|k| raw[(i + n + k - 2) % n]).sum::<f64>() / 5.0;
    let smooth: Vec<f64> = (0..n).map(smooth).collect();
    let mut at = vec![0.0];
    for i in 0..n {
        at.push(at[i] + apart(points[i], points[(i + 1) % n]));
    }
    let nodes = (at[n] / STEP_M).round();
    let step = at[n] / nodes;
    let bend = |k: usize| {
        let s = k as f64 * step;
        let i = at.partition_point(|a| *a <= s).clamp(1, n) - 1;
        let part = (s - at[i]) / (at[i + 1] - at[i]);
        (smooth[i] + (smooth[(i + 1) % n] - smooth[i]) * part).abs()
    };
    ((0..nodes as usize).map(bend).collect(), step)
}

#[test]
fn four_published_circuits_take_as_long_as_the_package_says() {
    let car = Point {
        mu: 1.3,
        drive_mps2: 6.0,
        power_w: 250e3,
        drag: 0.6,
        ..Point::default()
    };
    let mut ours = Vec::new();
    let mut theirs = Vec::new();
    for name in CIRCUITS {
        let (mut bends, step) = bends(name);
        // Node 0 where the car accelerates, in the middle of the longest way between braking.
        let before = lap(car, &bends, step);
        let speed = &before.speed_mps;
        let n = speed.len();
        let drives = |i: usize| speed[(i + 1) % n] > speed[i];
        let run = |i: usize| (0..n).take_while(|k| drives((i + k) % n)).count();
        let longest = (0..n).max_by_key(|i| run(*i)).expect("nodes");
        bends.rotate_left((longest + run(longest) / 2) % n);
        let found = lap(car, &bends, step);
        // Where the lap begins changes nothing.
        assert!((found.lap_s() - before.lap_s()).abs() < 1e-9);
        theirs.push(json!({
            "curvature_pm": &bends, "step_m": step, "mu": car.mu, "drive_mps2": car.drive_mps2,
            "power_w": car.power_w, "mass_kg": car.mass_kg, "drag": car.drag,
        }));
        ours.push((name, found));
    }
    for ((name, found), theirs) in ours.iter().zip(ask(&theirs)) {
        let number = |key: &str| theirs[key].as_f64().expect("a number");
        let by_s = found.lap_s() - number("lap_s");
        let slowest = found
            .speed_mps
            .iter()
            .copied()
            .fold(f64::INFINITY, f64::min);
        let fastest = found.speed_mps.iter().copied().fold(0.0, f64::max);
        println!(
            "{name}: {:.3} s, the package {:.3} s ({by_s:+.3}); {slowest:.3} to {fastest:.3} m/s, {:.3} to {:.3}",
            found.lap_s(),
            number("lap_s"),
            number("slowest_mps"),
            number("fastest_mps"),
        );
        assert!(by_s.abs() < 0.05, "{name}: {by_s} s");
        assert!((slowest - number("slowest_mps")).abs() < 0.05, "{name}");
        assert!((fastest - number("fastest_mps")).abs() < 0.2, "{name}");
    }
}

//! A reference recomputed: nothing changes nothing, a change does what it does to the laps
//! themselves, and what was computed says so.

use crate::point::{OnLine, Point, lap};
use crate::{asks_for_no_more, data, published};
use cuepost_engine::{Position, Sample};
use cuepost_host::adapt::qss::Solution;
use cuepost_host::adapt::{Change, adapt};
use cuepost_host::learn::profile::Profile;
use cuepost_host::learn::{Options, StartAt, Take, learn};
use cuepost_host::reference_file::{self, HostReference};
use cuepost_tests::command::{Folder, cuepost};

/// Samples a second.
const RATE_HZ: f64 = 50.0;

/// The published line of a circuit: points every metre and their curvature without sign.
fn line(name: &str) -> (Vec<[f64; 2]>, Vec<f64>, f64) {
    let corner = published(name);
    // A closed cubic through the points (Catmull and Rom 1974), then even metres along it.
    let n = corner.len();
    let at = |i: usize, t: f64| -> [f64; 2] {
        let p = |k: usize| corner[(i + n + k - 1) % n];
        std::array::from_fn(|d| {
            let (a, b, c, e) = (p(0)[d], p(1)[d], p(2)[d], p(3)[d]);
            b + 0.5
                * t
                * ((c - a) + t * ((2.0 * a - 5.0 * b + 4.0 * c - e) + t * (3.0 * (b - c) + e - a)))
        })
    };
    let fine: Vec<[f64; 2]> = (0..n * 20)
        .map(|k| at(k / 20, (k % 20) as f64 / 20.0))
        .collect();
    let apart = |a: [f64; 2], b: [f64; 2]| (b[0] - a[0]).hypot(b[1] - a[1]);
    let mut way = vec![0.0];
    for i in 0..fine.len() {
        way.push(way[i] + apart(fine[i], fine[(i + 1) % fine.len()]));
    }
    let nodes = way[fine.len()].round();
    let step = way[fine.len()] / nodes;
    let mut i = 0;
    let points: Vec<[f64; 2]> = (0..nodes as usize)
        .map(|k| {
            let s = k as f64 * step;
            while way[i + 1] < s {
                i += 1;
            }
            let t = (s - way[i]) / (way[i + 1] - way[i]);
            let (a, b) = (fine[i], fine[(i + 1) % fine.len()]);
            [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t]
        })
        .collect();
    let m = points.len();
    // Over six metres either way, as a car's path is smooth.
    let bends = (0..m)
        .map(|k| {
            let (a, b, c) = (points[(k + m - 6) % m], points[k], points[(k + 6) % m]);
            let cross = (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0]);
            (2.0 * cross / (apart(a, b) * apart(b, c) * apart(a, c))).abs()
        })
        .collect();
    (points, bends, step)
}

/// Computed laps one behind the other as a receiver without noise would send them, and a little of
/// the last one again.
pub fn samples(points: &[[f64; 2]], laps: &[Solution]) -> Vec<Sample> {
    let n = points.len();
    let mut out = Vec::new();
    let (mut time_s, mut next_s) = (0.0, 0.0);
    for k in 0..laps.len() * n + 200 {
        let i = k % n;
        let found = &laps[(k / n).min(laps.len() - 1)];
        let (v, w) = (found.speed_mps[i], found.speed_mps[(i + 1) % n]);
        let took = found.segment_s(i);
        while next_s < time_s + took {
            let t = next_s - time_s;
            let accel = (w - v) / took;
            let share = (v * t + 0.5 * accel * t * t) / found.step_m;
            let (a, b) = (points[i], points[(i + 1) % n]);
            let at = |d: usize| ((a[d] + (b[d] - a[d]) * share) * 1e3).round() as i64;
            out.push(Sample {
                time_us: (next_s * 1e6_f64).round() as u64,
                position: Some(Position::Local {
                    east_mm: at(0),
                    north_mm: at(1),
                }),
                speed_mps: Some((v + accel * t) as f32),
                ..Sample::default()
            });
            next_s += 1.0 / RATE_HZ;
        }
        time_s += took;
    }
    out
}

/// A reference learned from a point mass's laps, and those laps.
pub struct Learned {
    pub reference: Box<HostReference>,
    pub profiles: Vec<Profile>,
    pub bends: Vec<f64>,
    pub step_m: f64,
    pub points: Vec<[f64; 2]>,
    /// Metres from the reference's start line to the line's first point.
    shift_m: f64,
}

pub fn learned(car: Point) -> Learned {
    let (points, bends, step_m) = line("adapt/Budapest.raceline.csv");
    let found = lap(car, &bends, step_m);
    // The start line where the car is fastest.
    let fastest = (0..points.len())
        .max_by(|a, b| found.speed_mps[*a].total_cmp(&found.speed_mps[*b]))
        .expect("points")
        .saturating_sub(300);
    let (a, b) = (points[fastest], points[fastest + 1]);
    let start = StartAt::Plane {
        east_m: a[0],
        north_m: a[1],
        bearing_deg: (b[0] - a[0]).atan2(b[1] - a[1]).to_degrees(),
    };
    let samples = samples(&points, &vec![found.clone(); 3]);
    let options = Options {
        start: Some(start),
        ..Options::default()
    };
    let take = Take {
        name: "point",
        samples: &samples,
    };
    let learned = learn(&[take], &options, &mut |_, _| {}).expect("a reference");
    Learned {
        reference: learned.reference,
        profiles: learned.profiles,
        bends,
        step_m,
        points,
        shift_m: fastest as f64 * step_m,
    }
}

pub const CAR: Point = Point {
    mu: 1.3,
    drive_mps2: 6.0,
    power_w: 250e3,
    mass_kg: 1200.0,
    drag: 0.6,
    downforce: 0.0,
};

#[test]
fn a_change_moves_the_reference_as_it_moves_the_laps() {
    let base = learned(CAR);
    let before = lap(CAR, &base.bends, base.step_m);
    for (name, car, change) in [
        (
            "grip +5 %",
            Point {
                mu: CAR.mu * 1.05,
                ..CAR
            },
            Change {
                grip: 1.05,
                ..Change::default()
            },
        ),
        (
            "grip -10 %",
            Point {
                mu: CAR.mu * 0.9,
                ..CAR
            },
            Change {
                grip: 0.9,
                ..Change::default()
            },
        ),
        (
            "power +10 %",
            Point {
                drive_mps2: CAR.drive_mps2 * 1.1,
                power_w: CAR.power_w * 1.1,
                ..CAR
            },
            Change {
                power: 1.1,
                ..Change::default()
            },
        ),
        (
            "drag +20 %",
            Point {
                drag: CAR.drag * 1.2,
                ..CAR
            },
            Change {
                drag: 1.2,
                ..Change::default()
            },
        ),
    ] {
        let after = lap(car, &base.bends, base.step_m);
        let adapted = adapt(&base.reference, change, false).expect("adapted");
        let view = adapted.reference.view();
        let old = base.reference.view();
        let lap_s = (view.session.lap_time_us as f64 - old.session.lap_time_us as f64) * 1e-6;
        let truth_s = after.lap_s() - before.lap_s();
        println!("{name}: lap {lap_s:+.3} s, solved anew {truth_s:+.3} s");
        assert!(
            (lap_s - truth_s).abs() < 0.05 + 0.15 * truth_s.abs(),
            "{name}"
        );
        let (mut brake, mut slow) = (Vec::new(), Vec::new());
        for (was, is) in old.corners.iter().zip(view.corners) {
            let (Some(a), Some(b)) = (was.facts.brake_m, is.facts.brake_m) else {
                continue;
            };
            let node = |m: f32| (f64::from(m) + base.shift_m) / base.step_m;
            let n = base.bends.len();
            let apex = node(was.apex_m).round() as usize % n;
            let onset = |car: Point, found: &Solution| {
                let on = OnLine {
                    car,
                    bend_pm: &base.bends,
                };
                let reach = node(view.wrap_m(was.apex_m - was.begin_m)) - node(0.0);
                found.onset_before(&on, apex, reach as usize)
            };
            if let (Some(p), Some(q)) = (onset(CAR, &before), onset(car, &after)) {
                let moved = f64::from(old.ahead_m(a.value, b.value));
                brake.push(moved - (p.before_m - q.before_m));
            }
            if let (Some(a), Some(b)) = (was.facts.slowest_mps, is.facts.slowest_mps) {
                let truth = after.speed_mps[apex] - before.speed_mps[apex];
                slow.push(f64::from(b.value - a.value) - truth);
            }
        }
        let rms = |all: &[f64]| (all.iter().map(|x| x * x).sum::<f64>() / all.len() as f64).sqrt();
        let most = |all: &[f64]| all.iter().map(|x| x.abs()).fold(0.0, f64::max);
        println!(
            "  {} brake points: {:.2} m rms, {:.2} m at most; {} slowest speeds: {:.3} m/s rms, {:.3} at most",
            brake.len(),
            rms(&brake),
            most(&brake),
            slow.len(),
            rms(&slow),
            most(&slow)
        );
        assert!(brake.len() >= 6);
        assert!(rms(&brake) < 1.5 && most(&brake) < 3.0, "{name}");
        assert!(rms(&slow) < 0.05, "{name}");
    }
}

#[test]
fn nothing_changed_changes_no_fact() {
    let folder = Folder::new("adapt-nothing");
    let recording = data("learn/s5_touring.25hz.csv").display().to_string();
    let (club, same) = (folder.file("club.ref"), folder.file("same.ref"));
    cuepost(&["learn", &recording, "-o", &club]).expect("a reference");
    cuepost(&["adapt", &club, "-o", &same, "--grip", "1", "--mass", "0"]).expect("adapted");
    let (a, _) = reference_file::read(club.as_ref()).expect("readable");
    let (b, _) = reference_file::read(same.as_ref()).expect("readable");
    assert_eq!(a.nodes, b.nodes);
    assert_eq!(a.car, b.car);
    assert_eq!(a.session.lap_time_us, b.session.lap_time_us);
    for (a, b) in a.corners.iter().zip(&b.corners) {
        assert_eq!(a.facts, b.facts);
        assert_eq!((a.kind, a.begin_m, a.spread), (b.kind, b.begin_m, b.spread));
        assert!(!a.unproven && b.unproven);
    }
    assert!(b.session.computed);
}

/// With less tyre nothing is later, nothing faster, and the lap takes longer the less there is;
/// whatever is computed is a valid reference.
#[test]
fn less_tyre_never_asks_for_more() {
    let folder = Folder::new("adapt-less");
    for name in [
        "learn/s5_touring.25hz.csv",
        "streams/s2_gt.base.10hz.csv",
        "streams/s6_gt.base.10hz.csv",
    ] {
        let recording = data(name).display().to_string();
        let club = folder.file("club.ref");
        cuepost(&["learn", &recording, "-o", &club]).expect("a reference");
        let (kept, _) = reference_file::read(club.as_ref()).expect("readable");
        let was = kept.view();
        let mut slower_us = was.session.lap_time_us;
        for grip in [0.97, 0.9, 0.8, 0.65, 0.5] {
            let change = Change {
                grip,
                ..Change::default()
            };
            let adapted = adapt(&kept, change, false).expect("adapted");
            let is = adapted.reference.view();
            assert!(is.session.lap_time_us > slower_us, "{name} {grip}");
            slower_us = is.session.lap_time_us;
            asks_for_no_more(&was, &is, &format!("{name} {grip}"));
            assert!(is.corners.iter().all(|c| c.unproven));
            assert!(
                adapted.residual_mps < 0.25,
                "{name}: {}",
                adapted.residual_mps
            );
        }
    }
}

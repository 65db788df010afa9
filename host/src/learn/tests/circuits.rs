//! Lines, laps and corners of circuits whose truth is a formula.

use super::super::{LearnError, Learned, Options, StartAt, Take, learn};
use super::track::{Drive, STADIUM};
use cuepost_engine::{CornerKind, Sample};

fn learned(samples: &[Sample], options: &Options) -> Result<Learned, LearnError> {
    let take = Take {
        name: "test",
        samples,
    };
    learn(&[take], options, &mut |_, _| {})
}

/// The start line of the [`Drive`]s: their origin, eastward.
fn at_origin() -> Options {
    Options {
        start: Some(StartAt::Plane {
            east_m: 12_345.678,
            north_m: -7_654.321,
            bearing_deg: 90.0,
        }),
        ..Options::default()
    }
}

fn near(a: f64, b: f64, within: f64) {
    assert!(
        (a - b).abs() <= within + 1e-9,
        "{a} is not within {within} of {b}"
    );
}

/// Closed form of the stadium (two straights of L, two half circles of R, a point mass): corner
/// speed, top speed, braking distance and lap time from v² = 2 a s.
#[test]
fn the_stadium_is_learned_as_its_formulas_say() {
    let (grip, drive) = (1.2 * 9.81, 4.0);
    let corner = (grip * 50.0_f64).sqrt();
    let top = (corner * corner + 2.0 * 400.0 * drive * grip / (drive + grip)).sqrt();
    let braking = (top * top - corner * corner) / (2.0 * grip);
    let lap =
        2.0 * ((top - corner) * (1.0 / drive + 1.0 / grip) + std::f64::consts::PI * 50.0 / corner);
    near(lap, 33.2477, 1e-3);
    let car = Drive::new(&STADIUM, grip, drive, 90.0);
    for (rate, noise, within) in [(25.0, [0.0, 0.0], 0.005), (10.0, [0.05, 0.05], 0.02)] {
        let samples = car.samples(-150.0, 3.4 * car.length_m(), rate, noise);
        let out = learned(&samples, &at_origin()).expect("laps");
        assert_eq!(out.cut.laps.len(), 3);
        assert!(out.cut.laps.iter().all(|l| l.fault.is_none()));
        for l in &out.cut.laps {
            near(l.time_s, lap, within);
        }
        let view = out.reference.view();
        near(view.length_m().into(), car.length_m(), 0.5);
        near(view.session.lap_time_us as f64 * 1e-6, lap, within);
        let corners = view.corners;
        assert_eq!(corners.len(), 2);
        for (c, straight) in corners.iter().zip([200.0, 200.0 + 157.08 + 400.0]) {
            assert_eq!((c.kind, c.turn), (CornerKind::Braked, 1));
            let ends = straight + 157.08;
            assert!(f64::from(c.begin_m) < straight - braking - 60.0, "{c:?}");
            near(c.turn_m.into(), straight, 12.0);
            assert!(
                f64::from(c.apex_m) > straight && f64::from(c.apex_m) < ends,
                "{c:?}"
            );
            near(c.exit_m.into(), ends, 12.0);
            near(view.speed_mps(c.apex_m).into(), corner, 0.15);
        }
        near(view.speed_mps((200.0 - braking) as f32).into(), top, 0.4);
    }
}

/// Curvature of a circle of 50 m: 0.02 within a thousandth, as the geometry oracle (a spline
/// through 157 points of such a circle, trajectory-planning-helpers 0.79) finds 0.0200027.
#[test]
fn a_circle_keeps_its_radius() {
    let round = std::f64::consts::TAU * 50.0;
    let car = Drive::new(&[(round, 0.02)], 10.0, 4.0, 20.0);
    for (noise, within) in [([0.0, 0.0], 1e-3), ([0.02, 0.05], 0.04)] {
        let samples = car.samples(-20.0, 4.2 * round, 25.0, noise);
        let out = learned(&samples, &at_origin()).expect("laps");
        let view = out.reference.view();
        near(view.length_m().into(), round, 1e-3 * round);
        for node in view.nodes {
            let curvature = f64::from(node.curvature_e5) * 1e-5;
            near(curvature / 0.02, 1.0, within);
        }
        assert!(out.cut.laps.iter().all(|l| l.fault.is_none()));
    }
}

#[test]
fn the_start_line_is_found_on_a_straight() {
    let car = Drive::new(&STADIUM, 11.8, 4.0, 90.0);
    let samples = car.samples(-150.0, 4.3 * car.length_m(), 25.0, [0.1, 0.05]);
    let out = learned(&samples, &Options::default()).expect("laps");
    assert!(out.start_found);
    // Straights run east at north 0 and west at north 100.
    let (east, north) = out
        .reference
        .frame
        .locate(samples[0].position.expect("place"))
        .expect("near");
    let above = out.start.north_m - f64::from(north);
    let along = out.start.east_m - f64::from(east);
    assert!(above.abs() < 1.0 || (above - 100.0).abs() < 1.0, "{above}");
    assert!((-240.0..150.0).contains(&along), "{along}");
    assert_eq!(out.cut.laps.iter().filter(|l| l.fault.is_none()).count(), 4);
    assert_eq!(out.reference.corners.len(), 2);
}

/// Two loops to either side that cross in the middle, one over the other.
#[test]
fn a_figure_eight_is_one_lap() {
    let loop_m = 1.5 * std::f64::consts::PI * 60.0;
    let straight = 60.0;
    let eight = [
        (straight, 0.0),
        (loop_m, 1.0 / 60.0),
        (2.0 * straight, 0.0),
        (loop_m, -1.0 / 60.0),
        (straight, 0.0),
    ];
    let car = Drive::new(&eight, 12.0, 5.0, 60.0);
    let samples = car.samples(20.0, 4.5 * car.length_m(), 25.0, [0.2, 0.05]);
    for (options, laps) in [(Options::default(), 4), (at_origin(), 3)] {
        let out = learned(&samples, &options).expect("laps");
        let view = out.reference.view();
        near(view.length_m().into(), car.length_m(), 2.0);
        assert_eq!(out.cut.laps.len(), laps);
        assert!(out.cut.laps.iter().all(|l| l.fault.is_none()));
        let turned: f64 = view
            .nodes
            .iter()
            .map(|n| f64::from(n.curvature_e5) * 1e-5 * f64::from(view.spacing_m))
            .sum();
        near(turned, 0.0, 0.02);
        let mut turns: Vec<i8> = view.corners.iter().map(|c| c.turn).collect();
        turns.sort_unstable();
        assert_eq!(turns, [-1, 1]);
    }
}

/// A chicane of two quick bends, a hairpin, a kink taken flat, and a double apex.
#[test]
fn corners_of_all_kinds_are_told_apart() {
    let deg = f64::to_radians;
    let arc = |radius: f64, angle: f64| (radius * deg(angle).abs(), angle.signum() / radius);
    let pieces = [
        (400.0, 0.0),
        arc(30.0, 45.0),
        (15.0, 0.0),
        arc(30.0, -45.0),
        (350.0, 0.0),
        arc(14.0, 180.0),
        (300.0, 0.0),
        arc(260.0, 20.0),
        (320.0, 0.0),
        arc(45.0, 70.0),
        (10.0, 0.0),
        arc(45.0, 70.0),
        (300.0, 0.0),
    ];
    // This road does not close; only its profile is looked at.
    let car = Drive::new(&pieces, 12.0, 4.0, 62.0);
    let (curves, profile) = open_lap(&car);
    let found = super::super::corners::corners(&profile, &curves);
    let kinds: Vec<(CornerKind, i8)> = found.iter().map(|c| (c.kind, c.turn)).collect();
    assert_eq!(
        kinds,
        [
            (CornerKind::Braked, 1),
            (CornerKind::Braked, 1),
            (CornerKind::Flat, 1),
            (CornerKind::Braked, 1),
        ],
        "{found:#?}"
    );
    // The chicane's way out ends behind its second bend, the double apex behind its second.
    assert!(found[0].exit_m > 400.0 + 23.6 + 15.0, "{:?}", found[0]);
}

/// A lap's profile straight from the truth, without recording it.
fn open_lap(car: &Drive) -> (super::super::curves::Curves, super::super::profile::Profile) {
    use super::super::curves::Curves;
    use super::super::profile::Profile;
    let n = car.length_m() as usize;
    let mut lap = Profile {
        step_m: 1.0,
        ..Profile::default()
    };
    let mut time = 0.0;
    for k in 0..n {
        let s = k as f64;
        let (_, d0, v) = car.at(s);
        let (_, d1, w) = car.at(s + 1.0);
        lap.time_s.push(time);
        time += 2.0 / (v + w);
        lap.speed_mps.push(v);
        lap.accel_mps2.push((w * w - v * v) / 2.0);
        let turned = (d1 - d0).rem_euclid(std::f64::consts::TAU);
        let turned = if turned > std::f64::consts::PI {
            turned - std::f64::consts::TAU
        } else {
            turned
        };
        lap.curvature_pm.push(if k + 1 < n { turned } else { 0.0 });
        lap.offset_m.push(0.0);
    }
    lap.lap_s = time;
    (Curves::learn(std::slice::from_ref(&lap)), lap)
}

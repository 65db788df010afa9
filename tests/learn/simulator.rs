//! A touring car of a driving simulator with its own tyre physics: two whole laps at 25 Hz, the
//! pedals hidden from the learning and used as truth.

use super::{learned, near, read, without_pedals};
use cuepost_engine::CornerKind;
use cuepost_host::learn::{Options, StartAt};
use cuepost_tests::csv::Table;

/// Where and when the simulator's own start line was crossed: its distance begins anew.
struct Crossing {
    time_s: f64,
    east_m: f64,
    north_m: f64,
    bearing_deg: f64,
}

fn crossings(table: &Table) -> Vec<Crossing> {
    let column = |name: &str| table.column(name);
    let (t, x, y, v) = (
        column("t_s"),
        column("x_m"),
        column("y_m"),
        column("speed_mps"),
    );
    let (lap, distance) = (column("lap"), column("dist_from_start"));
    (1..t.len())
        .filter(|&i| lap[i] != lap[i - 1])
        .map(|i| {
            // The distance runs along the centre line, which is as good as straight here.
            let back_s = distance[i] / v[i];
            let (e, n) = (x[i] - x[i - 1], y[i] - y[i - 1]);
            let length = e.hypot(n);
            Crossing {
                time_s: t[i] - back_s,
                east_m: x[i] - back_s * v[i] * e / length,
                north_m: y[i] - back_s * v[i] * n / length,
                bearing_deg: e.atan2(n).to_degrees().rem_euclid(360.0),
            }
        })
        .collect()
}

/// Braking by the pedal: above 0.15 until below 0.05, joined when less than 0.6 s apart, and
/// 2.5 m/s at least. Time of onset and lowest speed.
fn brakings(table: &Table, from_s: f64, to_s: f64) -> Vec<(f64, f64)> {
    let (t, v, b) = (
        table.column("t_s"),
        table.column("speed_mps"),
        table.column("brake"),
    );
    let mut zones: Vec<(usize, usize)> = Vec::new();
    let mut on = false;
    for i in 0..t.len() {
        if t[i] < from_s || t[i] > to_s {
            continue;
        }
        on = b[i] > if on { 0.05 } else { 0.15 };
        if !on {
            continue;
        }
        match zones.last_mut() {
            Some(z) if t[i] - t[z.1] < 0.6 => z.1 = i,
            _ => zones.push((i, i)),
        }
    }
    zones
        .iter()
        .enumerate()
        .map(|(k, &(a, z))| {
            // The car may go on slowing down after the release, until the next braking.
            let next = zones.get(k + 1).map_or(t.len(), |z| z.0);
            let least = (a..next)
                .take_while(|&i| t[i] < t[z] + 1.0)
                .fold(f64::MAX, |least, i| v[i].min(least));
            (t[a], v[a], least)
        })
        .filter(|(_, before, least)| before - least >= 2.5)
        .map(|(on_s, _, least)| (on_s, least))
        .collect()
}

fn at_the_simulators_line(table: &Table) -> Options {
    let line = &crossings(table)[0];
    Options {
        start: Some(StartAt::Plane {
            east_m: line.east_m,
            north_m: line.north_m,
            bearing_deg: line.bearing_deg,
        }),
        ..Options::default()
    }
}

#[test]
fn laps_are_timed_as_the_simulator_did() {
    let table = Table::read("learn/s5_touring.25hz.csv");
    let truth = crossings(&table);
    assert_eq!(truth.len(), 3);
    let samples = without_pedals(&read("s5_touring.25hz.csv"));
    let out = learned(&samples, &at_the_simulators_line(&table));
    assert_eq!(out.cut.laps.len(), 2);
    for (lap, ends) in out.cut.laps.iter().zip(truth.windows(2)) {
        assert_eq!(lap.fault, None);
        near(lap.time_s, ends[1].time_s - ends[0].time_s, 0.005, "lap");
    }
    let fastest = (truth[1].time_s - truth[0].time_s).min(truth[2].time_s - truth[1].time_s);
    let kept = out.reference.session.lap_time_us as f64 * 1e-6;
    near(kept, fastest, 0.005, "reference lap");
}

#[test]
fn every_braking_is_a_corner_and_nothing_else_is_braked() {
    let table = Table::read("learn/s5_touring.25hz.csv");
    let samples = without_pedals(&read("s5_touring.25hz.csv"));
    let out = learned(&samples, &at_the_simulators_line(&table));
    let lap = &out.cut.laps[out.chosen];
    let first_s = table.column("t_s")[0];
    let begin_s = first_s + lap.begin_s;
    let truth = brakings(&table, begin_s, begin_s + lap.time_s);
    let view = out.reference.view();
    let braked: Vec<_> = view
        .corners
        .iter()
        .filter(|c| c.kind == CornerKind::Braked)
        .collect();
    assert_eq!(braked.len(), truth.len());
    let mut far = 0;
    for (corner, &(on_s, slowest_mps)) in braked.iter().zip(&truth) {
        let time = |m: f32| begin_s + f64::from(view.time_s(m));
        let facts = &corner.facts;
        // The onset is the kink half way up the pedal's ramp, the truth where it passed 0.15.
        let brake = facts.brake_m.expect("onset").value;
        near(time(brake), on_s, 0.12, "brake onset");
        if let Some(slowest) = facts.slowest_mps {
            near(slowest.value.into(), slowest_mps, 0.3, "slowest");
        }
        // The span holds braking that comes earlier than the reference's: by 60 m and more, but
        // where a corner follows the one before at once.
        let early = view.ahead_m(corner.begin_m, brake);
        assert!(early > 5.0, "begin {} brake {brake}", corner.begin_m);
        far += usize::from(early > 60.0);
    }
    assert!(far >= 8, "{far} corners with room before them");
}

/// With and without pedals the same road is found to be corners.
#[test]
fn pedals_do_not_change_what_a_corner_is() {
    let samples = read("s5_touring.25hz.csv");
    let table = Table::read("learn/s5_touring.25hz.csv");
    let options = at_the_simulators_line(&table);
    let with = learned(&samples, &options);
    let without = learned(&without_pedals(&samples), &options);
    assert!(with.reference.session.pedals && !without.reference.session.pedals);
    let (with, without) = (with.reference.view(), without.reference.view());
    assert_eq!(with.corners.len(), without.corners.len());
    for (a, b) in with.corners.iter().zip(without.corners) {
        assert_eq!((a.kind, a.turn), (b.kind, b.turn));
        near(a.begin_m.into(), b.begin_m.into(), 25.0, "begin");
        near(a.apex_m.into(), b.apex_m.into(), 15.0, "apex");
        near(a.exit_m.into(), b.exit_m.into(), 15.0, "exit");
        let brake = |c: &cuepost_engine::Corner| f64::from(c.facts.brake_m.expect("onset").value);
        near(brake(a), brake(b), 8.0, "brake onset");
    }
}

/// What the car can do, without pedals: full throttle against what the pedal says.
#[test]
fn the_cars_curves_are_what_the_pedals_show() {
    let samples = read("s5_touring.25hz.csv");
    let with = learned(&samples, &Options::default());
    let without = learned(&without_pedals(&samples), &Options::default());
    let (with, without) = (&with.reference.car, &without.reference.car);
    for speed in [20.0_f32, 25.0, 30.0, 35.0, 40.0, 45.0] {
        let (a, b) = (with.full_mps2(speed), without.full_mps2(speed));
        near(b.into(), a.into(), 0.6, "full throttle");
        assert!(without.coast_mps2(speed) < -0.3 && without.coast_mps2(speed) > -3.0);
        assert!(without.coast_mps2(speed) < b, "coasting is no drive");
    }
    near(without.brake_mps2(35.0).into(), 10.0, 1.5, "braking");
    near(without.lateral_mps2(25.0).into(), 12.0, 2.5, "cornering");
}

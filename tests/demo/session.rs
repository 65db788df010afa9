//! The demonstration end to end: what it shows is what happened.

use cuepost_engine::{Event, Told};
use cuepost_host::demo::fault::FaultKind;
use cuepost_host::demo::receiver::{Plane, ReceiverModel};
use cuepost_host::demo::session::{Session, Wish};
use cuepost_host::demo::{files, show};
use cuepost_host::report::units::Units;
use cuepost_host::source;
use std::sync::LazyLock;

fn usual(seed: u64) -> Session {
    Session::hold(&Wish::usual(seed, ReceiverModel::usual(25.0))).expect("a reference")
}

/// Seed 1, the same for all tests.
static FIRST: LazyLock<Session> = LazyLock::new(|| usual(1));

#[test]
fn losses_are_measured_and_most_faults_are_named() {
    let session = &*FIRST;
    let (mut planted, mut right) = (0, 0);
    for lap in 1..=session.driven.laps() {
        for row in session.rows(lap) {
            let Some(fault) = row.planted() else { continue };
            planted += 1;
            right += u32::from(row.right() == Some(true));
            let (lost, measured) = (row.lost_s.expect("driven"), row.measured_s);
            let measured = f64::from(measured.expect("measured"));
            // Corners begin in slightly different places for the plan and for the reference.
            assert!(
                (lost - measured).abs() < 0.1,
                "lap {lap}, {}: lost {lost:.3} s, measured {measured:.3} s",
                fault.kind.name()
            );
        }
    }
    assert_eq!(planted, 11, "the programme has eleven faults");
    assert!(
        right >= 7,
        "only {right} of {planted} were named as a coach would:\n{}",
        show::text(session, Units::Si)
    );
}

/// In a hairpin the car is far slower than the reference by then, and slows at its slip angle:
/// neither makes the throttle less overdue.
#[test]
fn a_late_throttle_in_a_hairpin_is_told_while_it_is_late() {
    let session = &*FIRST;
    let mut late = 0;
    for lap in 1..=session.driven.laps() {
        for row in session.rows(lap) {
            if row.planted().map(|f| f.kind) != Some(FaultKind::ThrottleLate) {
                continue;
            }
            late += 1;
            let now = row.told.iter().find(|c| c.told == Told::Now);
            let now = now.expect("told at once");
            let known_s = session.known_s(&row).expect("it came out");
            let delay_s = now.time_us as f64 * 1e-6 - known_s;
            assert!((-0.05..0.6).contains(&delay_s), "lap {lap}: {delay_s} s");
        }
    }
    assert_eq!(late, 2);
}

#[test]
fn a_lap_that_is_slower_everywhere_is_told_once() {
    let session = &*FIRST;
    let paces: Vec<_> = session
        .events
        .iter()
        .filter_map(|e| match e {
            Event::Pace(p) => Some((p.lap, p.ratio)),
            _ => None,
        })
        .collect();
    assert_eq!(paces.len(), 1, "{paces:?}");
    let (lap, ratio) = paces[0];
    assert_eq!(lap, 5);
    // Grip and drive of 95 %: times longer by its square root, 2.6 %.
    assert!(
        (f64::from(ratio) - (1.0f64 / 0.95).sqrt()).abs() < 0.01,
        "{ratio}"
    );
}

#[test]
fn the_same_seed_shows_the_same_and_no_faults_show_none() {
    let (a, b) = (usual(3), usual(3));
    assert_eq!(show::text(&a, Units::Metric), show::text(&b, Units::Metric));
    let mut wish = Wish::usual(3, ReceiverModel::usual(25.0));
    for lap in &mut wish.laps {
        lap.faults.clear();
        lap.pace = 1.0;
    }
    let clean = Session::hold(&wish).expect("a reference");
    let text = show::text(&clean, Units::Metric);
    assert!(text.contains("0 faults planted, 0 told"), "{text}");
}

/// What the files hold is what was received, in both forms of position and with pedals.
#[test]
fn files_read_back_as_they_were_received() {
    let folder = std::env::temp_dir().join(format!("cuepost-demo-{}", std::process::id()));
    let globe = Plane::Geodetic {
        lat_deg: -33.2,
        lon_deg: 179.999,
    };
    for (plane, pedals) in [(Plane::Local, true), (globe, false)] {
        let receiver = ReceiverModel {
            plane,
            pedals,
            ..ReceiverModel::usual(10.0)
        };
        let mut wish = Wish::usual(2, receiver);
        wish.laps.truncate(1);
        let session = Session::hold(&wish).expect("a reference");
        let written = files::write(&session, &folder).expect("a folder to write into");
        let read: Vec<_> = source::open(&written.driver, &source::Options::default())
            .expect("a table")
            .map(|s| s.expect("a good row"))
            .collect();
        assert_eq!(read.len(), session.driven_samples.len());
        for (r, s) in read.iter().zip(&session.driven_samples) {
            assert_eq!((r.time_us, r.position), (s.time_us, s.position));
            let speeds = (r.speed_mps.expect("read"), s.speed_mps.expect("made"));
            assert!((speeds.0 - speeds.1).abs() < 0.001);
            assert_eq!(r.brake.is_some(), pedals);
            assert_eq!(r.gear, s.gear);
        }
        let (again, _) =
            cuepost_host::reference_file::read(&written.reference).expect("a reference");
        assert_eq!(again.corners.len(), session.learned.reference.corners.len());
        let truth = std::fs::read_to_string(&written.truth).expect("the truth");
        assert_eq!(truth.lines().count(), 1 + session.driver.plan.turns.len());
    }
    std::fs::remove_dir_all(&folder).expect("only our own files");
}

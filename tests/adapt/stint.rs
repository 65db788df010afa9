//! A stint with tyres that fade, and the notes of a session.

use crate::computed::{CAR, learned, samples};
use crate::point::{Point, lap};
use cuepost_engine::Config;
use cuepost_engine::wire::Header;
use cuepost_host::debrief::grip;
use cuepost_host::record::{Pace, Writer};
use cuepost_host::session::measure;
use cuepost_host::source;
use cuepost_tests::command::Folder;

/// What the tyres lose a lap, as a share.
const FADES: f64 = 0.01;

#[test]
fn tyres_that_fade_by_a_percent_a_lap_are_seen_to() {
    let base = learned(CAR);
    let laps: Vec<_> = (0..8)
        .map(|k| {
            let mu = CAR.mu * (1.0 - FADES * f64::from(k));
            lap(Point { mu, ..CAR }, &base.bends, base.step_m)
        })
        .collect();
    let driven = samples(&base.points, &laps);
    let all = driven.iter().map(|s| Ok::<_, std::convert::Infallible>(*s));
    let config = Config::default();
    let (session, _) = measure(all, &base.reference.view(), &config);
    let found = grip::laps(&session, &base.reference.view());
    assert!(found.len() >= 7, "{found:?}");
    let points = |f: fn(&grip::LapGrip) -> Option<f32>| -> Vec<(f32, f32)> {
        let known = found.iter().filter_map(|l| Some((f32::from(l.lap), f(l)?)));
        known.collect()
    };
    let cornering = grip::trend(&points(|l| l.cornering)).expect("a trend");
    let braking = grip::trend(&points(|l| l.braking)).expect("a trend");
    println!("cornering {cornering:?}, braking {braking:?}, {found:.3?}");
    // Lateral acceleration at the slowest point goes with the grip; so does braking, less the drag.
    assert!((f64::from(cornering.a_lap) + FADES).abs() < 0.002);
    assert!((f64::from(braking.a_lap) + FADES).abs() < 0.004);
    let said = grip::words(&found);
    assert!(said.iter().all(|s| s.contains("fell by")), "{said:?}");
    // And the same laps without fading say nothing.
    let same = samples(&base.points, &vec![laps[0].clone(); 8]);
    let all = same.iter().map(|s| Ok::<_, std::convert::Infallible>(*s));
    let (session, _) = measure(all, &base.reference.view(), &config);
    let said = grip::words(&grip::laps(&session, &base.reference.view()));
    assert!(said.iter().all(|s| s.contains("no trend")), "{said:?}");
}

#[test]
fn a_recording_keeps_the_notes_of_its_session() {
    let folder = Folder::new("conditions");
    let header = Header {
        conditions: "damp, 12 C air".try_into().expect("short"),
        ..Header::default()
    };
    let mut writer = Writer::new(Vec::new(), Pace::Bulk, &header).expect("written");
    let sample = cuepost_engine::Sample {
        time_us: 1,
        speed_mps: Some(20.0),
        ..cuepost_engine::Sample::default()
    };
    writer.sample(&sample).expect("written");
    let path = folder.file("drive.rec");
    std::fs::write(&path, writer.finish().expect("written")).expect("written");
    let opened = source::open(path.as_ref(), &source::Options::default()).expect("opened");
    assert_eq!(opened.conditions(), "damp, 12 C air");
}

//! The same drive as a receiver would send it, in NMEA and in UBX, and as it was.
//!
//! Noise and slow wander of the position (1.5 m) are the simulator's drive degraded by a program,
//! not a real receiver's.

use super::{learned, near, read};
use cuepost_engine::Sample;
use cuepost_host::learn::{Learned, Options, StartAt};

fn good(learned: &Learned) -> Vec<f64> {
    let laps = learned.cut.laps.iter();
    laps.filter(|l| l.fault.is_none())
        .map(|l| l.time_s)
        .collect()
}

/// The start line that was found on one form of the drive, for the others.
fn options(samples: &[Sample]) -> (Options, [f64; 2]) {
    let out = learned(samples, &Options::default());
    let cuepost_engine::Frame::Local { east_mm, north_mm } = out.reference.frame else {
        panic!("the clean drive is in metres");
    };
    let start = out.start;
    let at = [
        start.east_m + east_mm as f64 * 1e-3,
        start.north_m + north_mm as f64 * 1e-3,
    ];
    let options = Options {
        start: Some(StartAt::Plane {
            east_m: at[0],
            north_m: at[1],
            bearing_deg: start.bearing_deg(),
        }),
        ..Options::default()
    };
    (options, at)
}

/// The plane's origin on the globe: where the receiver said it was, less where it was.
fn on_the_globe(at: [f64; 2], bearing_deg: f64, clean: &[Sample], sent: &[Sample]) -> StartAt {
    use cuepost_engine::Position;
    use cuepost_host::geodesy::{meridian_radius_m, transverse_radius_m};
    let (mut lat, mut lon, mut east, mut north) = (0.0, 0.0, 0.0, 0.0);
    for s in sent {
        let Some(Position::Geodetic { lat_e7, lon_e7 }) = s.position else {
            panic!("a receiver tells latitude and longitude");
        };
        lat += f64::from(lat_e7) * 1e-7 / sent.len() as f64;
        lon += f64::from(lon_e7) * 1e-7 / sent.len() as f64;
    }
    for s in clean {
        let Some(Position::Local { east_mm, north_mm }) = s.position else {
            panic!("the clean drive is in metres");
        };
        east += east_mm as f64 * 1e-3 / clean.len() as f64;
        north += north_mm as f64 * 1e-3 / clean.len() as f64;
    }
    let phi = lat.to_radians();
    StartAt::Globe {
        lat_deg: lat + ((at[1] - north) / meridian_radius_m(phi)).to_degrees(),
        lon_deg: lon + ((at[0] - east) / (transverse_radius_m(phi) * phi.cos())).to_degrees(),
        bearing_deg,
    }
}

#[test]
fn nmea_and_ubx_give_the_laps_and_corners_of_the_clean_drive() {
    let clean_samples = read("s1_good12.clean.csv");
    let (clean_options, at) = options(&clean_samples);
    let clean = learned(&clean_samples, &clean_options);
    assert_eq!(good(&clean).len(), 2);
    for name in ["s1_good12.nmea", "s1_good12.ubx"] {
        let sent = read(name);
        let start = on_the_globe(at, clean.start.bearing_deg(), &clean_samples, &sent);
        let options = Options {
            start: Some(start),
            ..Options::default()
        };
        let out = learned(&sent, &options);
        for (a, b) in good(&out).iter().zip(good(&clean)) {
            near(*a, b, 0.02, name);
        }
        assert_eq!(good(&out).len(), 2, "{name}");
        let (a, b) = (out.reference.view(), clean.reference.view());
        near(a.length_m().into(), b.length_m().into(), 6.0, "length");
        assert_eq!(a.corners.len(), b.corners.len(), "{name}");
        for (a, b) in a.corners.iter().zip(b.corners) {
            assert_eq!((a.kind, a.turn), (b.kind, b.turn), "{name}");
            near(a.apex_m.into(), b.apex_m.into(), 25.0, "apex");
            let (Some(a), Some(b)) = (a.facts.brake_m, b.facts.brake_m) else {
                continue;
            };
            near(a.value.into(), b.value.into(), 10.0, "brake onset");
        }
    }
}

/// Both forms carry the same fixes; only their digits differ.
#[test]
fn nmea_and_ubx_agree() {
    let learn = |name| learned(&read(name), &Options::default());
    let (nmea, ubx) = (learn("s1_good12.nmea"), learn("s1_good12.ubx"));
    for (a, b) in good(&nmea).iter().zip(good(&ubx)) {
        near(*a, b, 0.003, "lap");
    }
    let (a, b) = (nmea.reference.view(), ubx.reference.view());
    assert_eq!(a.corners.len(), b.corners.len());
    for (a, b) in a.corners.iter().zip(b.corners) {
        assert_eq!((a.kind, a.turn), (b.kind, b.turn));
        near(a.apex_m.into(), b.apex_m.into(), 3.0, "apex");
    }
}

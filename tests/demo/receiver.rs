//! Samples are the drive, plus the errors that were asked for and no others.

use cuepost_engine::sample::{Position, Sample};
use cuepost_host::demo::car::Car;
use cuepost_host::demo::drive::Drive;
use cuepost_host::demo::driver::{Driver, LapPlan, Scatter};
use cuepost_host::demo::plan::Style;
use cuepost_host::demo::quillmere;
use cuepost_host::demo::receiver::{Plane, ReceiverModel, sample};
use geographiclib_rs::{Geodesic, InverseGeodesic};

fn one_lap() -> Drive {
    let circuit = quillmere::circuit().expect("the pieces fit");
    let driver = Driver::practised(&circuit, &Car::touring(), Style::STEADY, Scatter::CLUB);
    driver.drive(&circuit, &[LapPlan::clean()], 5)
}

fn speed_errors(drive: &Drive, samples: &[Sample]) -> Vec<f64> {
    samples
        .iter()
        .map(|s| {
            let truth = drive
                .at_time(s.time_us as f64 * 1e-6)
                .expect("inside the drive");
            f64::from(s.speed_mps.expect("always told")) - truth.moment.speed_mps
        })
        .collect()
}

fn sd(x: &[f64]) -> f64 {
    (x.iter().map(|e| e * e).sum::<f64>() / x.len() as f64).sqrt()
}

#[test]
fn speed_noise_has_the_ordered_size_and_memory() {
    let drive = one_lap();
    let white = ReceiverModel {
        speed_sd_mps: 0.07,
        ..ReceiverModel::perfect(100.0)
    };
    let e = speed_errors(&drive, &sample(&drive, &white, 1));
    // 9,700 samples: the sd of an sd is 0.7 %, and 3 sd are allowed.
    assert!((sd(&e) - 0.07).abs() < 0.0016, "{}", sd(&e));
    let next: f64 = e.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / e.len() as f64;
    assert!((next / 0.07f64.powi(2)).abs() < 0.04);
    let slow = ReceiverModel {
        speed_tau_s: 0.1,
        ..white
    };
    let e = speed_errors(&drive, &sample(&drive, &slow, 1));
    let next: f64 = e.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / e.len() as f64;
    let remembered = next / sd(&e).powi(2);
    assert!((remembered - (-0.1f64).exp()).abs() < 0.03, "{remembered}");
}

#[test]
fn a_perfect_receiver_tells_the_drive_and_a_lag_only_delays_the_speed() {
    let drive = one_lap();
    let perfect = sample(&drive, &ReceiverModel::perfect(25.0), 3);
    assert!(sd(&speed_errors(&drive, &perfect)) < 1e-3);
    assert!(
        perfect
            .windows(2)
            .all(|w| (w[1].time_us - w[0].time_us).abs_diff(40_000) <= 1)
    );
    let lagging = ReceiverModel {
        speed_lag_s: 0.16,
        ..ReceiverModel::perfect(25.0)
    };
    for s in sample(&drive, &lagging, 3) {
        let t = s.time_us as f64 * 1e-6;
        let then = drive.at_time(t - 0.16).expect("inside").moment.speed_mps;
        assert!((f64::from(s.speed_mps.expect("told")) - then).abs() < 1e-3);
        let now = drive.at_time(t).expect("inside");
        let Some(Position::Local { east_mm, .. }) = s.position else {
            panic!("a local position")
        };
        assert!((east_mm as f64 * 1e-3 - now.east_m).abs() < 1e-3);
    }
}

#[test]
fn gaps_come_as_often_and_as_long_as_ordered() {
    let drive = one_lap();
    let gappy = ReceiverModel {
        gaps_per_min: 6.0,
        gap_s: 0.8,
        ..ReceiverModel::usual(25.0)
    };
    let gaps: Vec<u64> = sample(&drive, &gappy, 4)
        .windows(2)
        .map(|w| w[1].time_us - w[0].time_us)
        .filter(|&d| d > 41_000)
        .collect();
    assert!((2..25).contains(&gaps.len()), "{} gaps", gaps.len());
    assert!(
        gaps.iter().all(|&d| (760_000..=1_700_000).contains(&d)),
        "{gaps:?}"
    );
}

/// Degrees are right when the geodesic to them is as long and goes where the plane says. Up to
/// 4 km the plane and the ellipsoid differ by less than a millimetre.
#[test]
fn degrees_agree_with_the_geodesic() {
    let plane = Plane::Geodetic {
        lat_deg: 45.5,
        lon_deg: 9.5,
    };
    for (east, north) in [
        (0.0, 1000.0),
        (3000.0, 2000.0),
        (-2500.0, 1200.0),
        (10.0, -4000.0),
    ] {
        let Position::Geodetic { lat_e7, lon_e7 } = plane.position(east, north) else {
            panic!("degrees")
        };
        let (metres, bearing, _, _): (f64, f64, f64, f64) = Geodesic::wgs84().inverse(
            45.5,
            9.5,
            f64::from(lat_e7) * 1e-7,
            f64::from(lon_e7) * 1e-7,
        );
        // 1e-7 degree is 11 mm.
        assert!((metres - east.hypot(north)).abs() < 0.012, "{metres}");
        let wanted = east.atan2(north).to_degrees();
        assert!(
            (bearing - wanted).abs() < 1e-3,
            "{bearing} instead of {wanted}"
        );
    }
}

#[test]
fn the_same_seed_gives_the_same_samples() {
    let drive = one_lap();
    let model = ReceiverModel::usual(18.0);
    let a = sample(&drive, &model, 9);
    assert_eq!(a, sample(&drive, &model, 9));
    assert_ne!(a, sample(&drive, &model, 10));
}

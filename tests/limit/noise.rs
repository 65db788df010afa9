//! The noise of a source, learned while a car brakes and drives.

use cuepost_engine::noise::{Learned, Noise, RECENT};
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;

/// What is learned at 25 Hz from a car that changes between braking and drive every two seconds,
/// in noise of first order.
fn learned(sd_mps: f64, rho: f64) -> Noise {
    let mut random = Pcg64::seed_from_u64(3);
    let (mut learned, mut recent, mut last) = (Learned::default(), [0.0f32; RECENT], 0.0);
    for k in 0..8000 {
        let fresh: f64 = StandardNormal.sample(&mut random);
        last = rho * last + sd_mps * (1.0 - rho * rho).sqrt() * fresh;
        let phase_s = f64::from(k % 100) * 0.04;
        let speed_mps = 50.0 - 8.0 * (2.0 - (phase_s - 2.0).abs()) + last;
        recent.rotate_right(1);
        recent[0] = speed_mps as f32;
        if k >= RECENT as i32 {
            learned.push(recent);
        }
    }
    learned.noise()
}

#[test]
fn size_and_correlation_of_the_noise_are_found() {
    for (sd_mps, rho) in [
        (0.02, 0.0),
        (0.05, 0.0),
        (0.3, 0.3),
        (0.05, 0.6),
        (1.0, 0.5),
    ] {
        let found = learned(sd_mps, rho);
        let fresh_mps = sd_mps * (1.0 - rho * rho).sqrt();
        println!("{sd_mps} m/s, {rho}: {found:?}, fresh {fresh_mps:.4}");
        assert!(
            (f64::from(found.rho) - rho).abs() < 0.15,
            "{found:?} for {rho}"
        );
        let off = f64::from(found.fresh_mps) / fresh_mps;
        assert!((off - 1.0).abs() < 0.12, "{found:?} for {fresh_mps}");
    }
}

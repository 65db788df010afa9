//! Noise of acceleration: a straight line fitted to 2n+1 speeds.
//!
//! Source of the figures: Savitzky and Golay, Analytical Chemistry 36 (1964) 1627-1639, first
//! derivative of first and second degree; from memory, and equal to `scipy.signal.savgol_coeffs`:
//! `sd = σ f √(12 / N(N²-1))`.

use cuepost_engine::gate::Admitted;
use cuepost_engine::motion::Motion;
use cuepost_engine::progress::Place;
use cuepost_engine::{CarCurves, HealthState, Why};
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;

const SIGMA_MPS: f64 = 0.05;
const ROUNDS: usize = 40_000;

/// Measured and stated standard deviation of the acceleration at a constant speed.
fn noise_of(rate_hz: f64) -> (f64, f64) {
    let mut random = Pcg64::seed_from_u64(7);
    let mut normal = || {
        let uniform = |r: &mut Pcg64| f64::from(r.next_u32()) / f64::from(u32::MAX);
        (0..12).map(|_| uniform(&mut random)).sum::<f64>() - 6.0
    };
    let mut motion = Motion::default();
    let (mut square, mut stated, mut count) = (0.0, 0.0, 0.0);
    for k in 0..ROUNDS {
        let time_us = (k as f64 / rate_hz * 1e6).round() as u64;
        let at = Admitted {
            time_us,
            dt_s: if k == 0 { 0.0 } else { (1.0 / rate_hz) as f32 },
            gone_s: if k == 0 { 0.0 } else { (1.0 / rate_hz) as f32 },
            east_m: 0.0,
            north_m: 0.0,
            located: true,
            speed_mps: (40.0 + SIGMA_MPS * normal()) as f32,
            direction_rad: None,
            yaw_rate_rps: None,
            brake: None,
            throttle: None,
            speed_sd_mps: None,
            broken: false,
            trust: Why::Good,
            rough: false,
        };
        let place = Place {
            progress_m: 0.0,
            offset_m: 0.0,
            step_m: 0.0,
            slip_rad: None,
            lap: 1,
            crossing: None,
            state: HealthState::Ok,
            why: Why::Good,
        };
        let Some(now) = motion.push(&CarCurves::default(), &at, &place) else {
            continue;
        };
        // The first moments come before rate and noise of the source are known.
        if k > ROUNDS / 10 {
            square += f64::from(now.acc_mps2).powi(2);
            stated += f64::from(now.acc_sd_mps2());
            count += 1.0;
        }
    }
    (f64::sqrt(square / count), stated / count)
}

#[test]
fn acceleration_is_as_noisy_as_a_fitted_line() {
    for (rate_hz, points) in [(10.0, 3.0), (25.0, 5.0), (100.0, 19.0f64)] {
        let want = SIGMA_MPS * rate_hz * (12.0 / (points * (points * points - 1.0))).sqrt();
        let (measured, stated) = noise_of(rate_hz);
        println!("{rate_hz} Hz: {measured:.4} m/s², stated {stated:.4}, published {want:.4}");
        assert!(
            (measured / want - 1.0).abs() < 0.03,
            "{measured} for {want}"
        );
        // What the engine states rests on its own estimate of the source's noise.
        assert!((stated / want - 1.0).abs() < 0.15, "{stated} for {want}");
    }
}

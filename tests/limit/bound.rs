//! The limits, and the kinds of braking they are for.

use cuepost_tests::csv::Table;

/// One kind of braking, and what can be known of it at best.
#[derive(Clone, Copy, Debug)]
pub struct Cell {
    /// Correlation of the noise from one sample to the next; 0 is white.
    pub rho: f64,
    /// Samples a second.
    pub rate_hz: f64,
    /// Standard deviation of the speed's noise.
    pub noise_mps: f64,
    /// By how much the deceleration grows.
    pub step_mps2: f64,
    /// Over how long.
    pub ramp_s: f64,
    /// Least standard deviation of the time of the ramp's middle.
    pub bound_s: f64,
    /// Least mean delay from the ramp's begin at one false alarm an hour, the speed before known.
    pub delay_s: f64,
    /// The same with the speed before fitted to half a second.
    pub delay_fitted_s: f64,
}

/// All of them.
pub fn cells() -> Vec<Cell> {
    let table = Table::read("published/limits.csv");
    (0..table.len())
        .map(|i| {
            let number = |column| table.number(i, column).expect("a number");
            Cell {
                rho: number("rho"),
                rate_hz: number("rate_hz"),
                noise_mps: number("noise_mps"),
                step_mps2: number("step_mps2"),
                ramp_s: number("ramp_s"),
                bound_s: number("bound_ms") * 1e-3,
                delay_s: number("delay_ms") * 1e-3,
                delay_fitted_s: number("delay_fitted_ms") * 1e-3,
            }
        })
        .collect()
}

/// `σ/|A| √(8 / f W)` with half a second on either side: broken-stick regression (Feder 1975,
/// Hinkley 1969; from memory), for many samples in the window.
#[test]
fn the_bounds_are_the_closed_form_where_there_is_one() {
    let sharp = |c: &Cell| c.rho == 0.0 && c.ramp_s == 0.0;
    let mut seen = 0;
    for c in cells().into_iter().filter(sharp) {
        let closed_s = c.noise_mps / c.step_mps2 * (8.0 / (c.rate_hz * 0.5)).sqrt();
        // The half sample at each end is a share of the window.
        let few = 0.25 / c.rate_hz;
        let off = c.bound_s / closed_s - 1.0;
        assert!((-1e-3..few).contains(&off), "{c:?}: {closed_s}");
        seen += 1;
    }
    assert_eq!(seen, 30);
}

/// A rising signal `A t` in white noise: `Σ (A t)² / 2σ² = ln(hour · f)`, so the delay is
/// `(6 σ² ln(hour · f) / (A² f))^⅓` (Lorden 1971), to half a sample.
#[test]
fn the_delays_are_the_closed_form_where_there_is_one() {
    for c in cells()
        .into_iter()
        .filter(|c| c.rho == 0.0 && c.ramp_s == 0.0)
    {
        let need = (3600.0 * c.rate_hz).ln();
        let square = 6.0 * (c.noise_mps / c.step_mps2).powi(2) * need / c.rate_hz;
        let closed_s = square.cbrt();
        assert!(
            (c.delay_s - closed_s).abs() < 0.6 / c.rate_hz,
            "{c:?}: {closed_s}"
        );
        assert!(c.delay_fitted_s >= c.delay_s, "{c:?}");
    }
}

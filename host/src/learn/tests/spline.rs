//! The closed smoothing spline against what its mathematics says.

use super::super::spline::Spline;
use super::track::Dice;
use std::f64::consts::TAU;

fn circle(
    n: usize,
    radius: f64,
    mut ripple: impl FnMut(f64) -> f64,
) -> (Vec<(f64, [f64; 2])>, f64) {
    let span = TAU * radius;
    let points = (0..n).map(|i| {
        let u = span * i as f64 / n as f64;
        let r = radius + ripple(u);
        (u, [r * (u / radius).cos(), r * (u / radius).sin()])
    });
    (points.collect(), span)
}

/// At the cut-off wavelength half the amplitude is left, at half of it 1/65 (a sixth-order low
/// pass), at double of it 64/65.
#[test]
fn ripples_fade_with_the_sixth_power() {
    let radius = 200.0;
    let cutoff = TAU * radius / 40.0;
    for (waves, left) in [(20.0, 64.0 / 65.0), (40.0, 0.5), (80.0, 1.0 / 65.0)] {
        let (points, span) = circle(2000, radius, |u| 0.1 * (waves * u / radius).sin());
        let spline = Spline::fit(&points, span, 400, cutoff).expect("enough points");
        let mut amplitude = 0.0;
        for i in 0..4000 {
            let u = span * f64::from(i) / 4000.0;
            let at = spline.at(u).at;
            let off = at[0].hypot(at[1]) - radius;
            amplitude += 2.0 * off * (waves * u / radius).sin() / 4000.0;
        }
        let share = amplitude / 0.1;
        assert!(
            (share - left).abs() < 0.01,
            "{waves}: {share} is not {left}"
        );
    }
}

/// The fit of a sum of data is the sum of the fits, and with the smoothing all but off the misfit
/// is at right angles to every wave the curve could follow: least squares.
#[test]
fn it_is_the_least_squares_solution() {
    let mut dice = Dice(3);
    let (points, span) = circle(300, 60.0, |_| 0.3 * dice.normal());
    let (others, _) = circle(300, 20.0, |_| 0.3 * dice.normal());
    let sum: Vec<(f64, [f64; 2])> = points
        .iter()
        .zip(&others)
        .map(|((u, p), (_, q))| (*u, [p[0] + q[0], p[1] + q[1]]))
        .collect();
    let others: Vec<(f64, [f64; 2])> = points
        .iter()
        .zip(&others)
        .map(|((u, _), (_, q))| (*u, *q))
        .collect();
    let fit = |points: &[(f64, [f64; 2])]| Spline::fit(points, span, 90, 25.0).expect("fits");
    let (a, b, both) = (fit(&points), fit(&others), fit(&sum));
    for i in 0..200 {
        let u = span * f64::from(i) / 200.0;
        let (a, b, both) = (a.at(u).at, b.at(u).at, both.at(u).at);
        assert!((a[0] + b[0] - both[0]).abs() < 1e-9 && (a[1] + b[1] - both[1]).abs() < 1e-9);
    }
    let sharp = Spline::fit(&points, span, 90, 0.5).expect("fits");
    for waves in [0.0, 1.0, 5.0, 11.0] {
        let sums = points.iter().fold((0.0, 0.0), |sums, (u, p)| {
            let at = sharp.at(*u).at;
            let wave = (waves * TAU * u / span).cos();
            (
                sums.0 + (p[0] - at[0]) * wave,
                sums.1 + (p[1] - at[1]) * wave,
            )
        });
        assert!(
            sums.0.abs() < 0.05 && sums.1.abs() < 0.05,
            "{waves}: {sums:?}"
        );
    }
}

#[test]
fn too_few_points_or_knots_are_refused() {
    let (points, span) = circle(5, 10.0, |_| 0.0);
    assert!(Spline::fit(&points, span, 20, 10.0).is_none());
    let (points, span) = circle(50, 10.0, |_| 0.0);
    assert!(Spline::fit(&points, span, 5, 10.0).is_none());
    assert!(Spline::fit(&points, 0.0, 20, 10.0).is_none());
    assert!(Spline::fit(&points, f64::NAN, 20, 10.0).is_none());
}

/// Curvature is continuous where the loop closes.
#[test]
fn the_seam_cannot_be_seen() {
    let (points, span) = circle(400, 80.0, |u| 2.0 * (3.0 * u / 80.0).sin());
    let spline = Spline::fit(&points, span, 120, 18.0).expect("fits");
    let (a, b) = (spline.at(-1e-6), spline.at(1e-6));
    assert!((a.at[0] - b.at[0]).hypot(a.at[1] - b.at[1]) < 1e-5);
    assert!((a.curvature() - b.curvature()).abs() < 1e-6);
    let (a, b) = (spline.at(span * 0.5 - 1e-6), spline.at(span * 2.5 + 1e-6));
    assert!((a.curvature() - b.curvature()).abs() < 1e-6);
}

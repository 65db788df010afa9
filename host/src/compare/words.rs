//! What two cars differ in, in words.

use super::fit::{Fit, NAMES};
use super::measure::{CURVES, Measured};
use crate::adapt::limits::speed_of;
use crate::report::units::Units;
use std::fmt::Write;

/// A difference below so many of its own standard deviations is none.
const SURE: f64 = 2.0;

/// Both cars' curves, what B has less or more of, and the change that comes nearest.
pub fn compared(a: &Measured, b: &Measured, fit: Option<&Fit>, units: Units) -> String {
    let mut out = format!(
        "A: {} laps; B: {} laps; ± is one standard deviation\n\n",
        a.laps, b.laps
    );
    for curve in 0..CURVES.len() {
        table(&mut out, a, b, curve, units);
    }
    out.push('\n');
    for curve in 0..CURVES.len() {
        let _ = writeln!(out, "{}", difference(a, b, curve, units));
    }
    out.push('\n');
    match fit {
        Some(fit) => fitted(&mut out, fit, units),
        None => out.push_str(
            "What would make A behave like B cannot be told: the cars were near their limits at \
             too few of the same speeds.\n",
        ),
    }
    out
}

fn table(out: &mut String, a: &Measured, b: &Measured, curve: usize, units: Units) {
    let known: Vec<usize> = (1..speed_count())
        .filter(|i| a.seen[curve][*i] || b.seen[curve][*i])
        .collect();
    if known.is_empty() {
        return;
    }
    let _ = writeln!(out, "{:<14}{:>19}{:>19}", CURVES[curve], "A", "B");
    for i in known {
        let one = |car: &Measured| {
            if !car.seen[curve][i] {
                return "-".to_owned();
            }
            let value = units.deceleration(car.value[curve][i]);
            format!("{value} ±{}", units.deceleration(car.sd[curve][i]))
        };
        let speed = units.speed(speed_of(i));
        let _ = writeln!(out, "at {speed:>10} {:>19}{:>19}", one(a), one(b));
    }
}

const fn speed_count() -> usize {
    cuepost_engine::reference::CURVE_POINTS
}

/// One curve in a sentence.
fn difference(a: &Measured, b: &Measured, curve: usize, units: Units) -> String {
    let name = CURVES[curve];
    let common = a.common(b, curve);
    let (Some(first), Some(last)) = (common.first(), common.last()) else {
        return format!("{name}: not seen at the same speeds");
    };
    // Weighted mean of the difference; neighbouring speeds are not independent, so that it is no
    // surer than its surest value.
    let (mut sum, mut weights, mut level, mut least) = (0.0, 0.0, 0.0, f64::INFINITY);
    for i in &common {
        let sd = a.sd[curve][*i].hypot(b.sd[curve][*i]);
        let weight = 1.0 / (sd * sd);
        // More of what there is, also where it slows the car down.
        let (one, other) = (a.value[curve][*i], b.value[curve][*i]);
        sum += weight * (other - one) * one.signum();
        weights += weight;
        level += weight * a.value[curve][*i].abs();
        least = least.min(sd);
    }
    let (by, level) = (sum / weights, level / weights);
    let between = format!(
        "between {} and {}",
        units.speed(speed_of(*first)),
        units.speed(speed_of(*last))
    );
    let percent = |x: f64| 100.0 * x / level.max(0.1);
    if by.abs() < SURE * least {
        return format!(
            "{name}: no difference that is sure {between} (±{:.0} %)",
            percent(least)
        );
    }
    let way = if by < 0.0 { "less" } else { "more" };
    format!(
        "{name}: B has {} {way} ({:.0} % ±{:.0} %) {between}",
        units.deceleration(by.abs()),
        percent(by.abs()),
        percent(least)
    )
}

fn fitted(out: &mut String, fit: &Fit, units: Units) {
    out.push_str("What makes A behave like B\n");
    for (k, name) in NAMES.iter().enumerate() {
        let over = if k == 0 { "" } else { " over mass" };
        let name = format!("{name}{over}");
        let _ = if fit.told[k] {
            writeln!(
                out,
                "  {name:<20} x{:.3}  ±{:.0} %",
                fit.factor[k],
                100.0 * fit.sd[k]
            )
        } else {
            writeln!(out, "  {name:<20} not told by these data")
        };
    }
    let _ = writeln!(
        out,
        "It leaves {} of {} over {} values ({:.1} times what their uncertainty allows)",
        units.deceleration(fit.left_mps2),
        units.deceleration(fit.before_mps2),
        fit.values,
        fit.chi2_a_value.sqrt()
    );
    for (j, k) in &fit.together {
        let _ = writeln!(
            out,
            "{} and {} cannot be told apart: more of the one does what more or less of the other does",
            NAMES[*j], NAMES[*k]
        );
    }
    out.push_str(
        "Mass cannot be told from power, drag and downforce: a car heavier by a tenth with a tenth more of each drives alike\n",
    );
    let told: Vec<String> = NAMES
        .iter()
        .enumerate()
        .filter(|(k, _)| fit.told[*k])
        .map(|(k, name)| format!("--{name} {:.3}", fit.factor[k]))
        .collect();
    if !told.is_empty() {
        let _ = writeln!(
            out,
            "\nFor a reference of A\n  cuepost adapt A.ref {} -o B.ref",
            told.join(" ")
        );
    }
}

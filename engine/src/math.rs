//! The few functions `core` lacks, from `libm`, so that every target computes the same bits.

/// Square root.
pub fn sqrt(x: f32) -> f32 {
    libm::sqrtf(x)
}

/// Length of a plane vector.
pub fn hypot(x: f32, y: f32) -> f32 {
    libm::sqrtf(x * x + y * y)
}

/// Direction of a plane vector, radians counter-clockwise from the x axis, in [-π, π].
pub fn atan2(y: f32, x: f32) -> f32 {
    libm::atan2f(y, x)
}

/// Sine and cosine of an angle within a few turns, within 3e-7. The library's go by way of double
/// precision, which a board has to emulate.
pub fn sin_cos(a: f32) -> (f32, f32) {
    const QUARTER: f32 = core::f32::consts::FRAC_PI_2;
    // What the quarter lacks of half a pi.
    const REST: f32 = -4.371_139e-8;
    let quarters = libm::roundf(wrap_angle(a) / QUARTER);
    let r = wrap_angle(a) - quarters * QUARTER - quarters * REST;
    // Their series, cut where no bit is left within half a quarter.
    let r2 = r * r;
    let sin =
        r + r * r2 * (-1.0 / 6.0 + r2 * (1.0 / 120.0 + r2 * (-1.0 / 5_040.0 + r2 / 362_880.0)));
    let cos = 1.0 + r2 * (-0.5 + r2 * (1.0 / 24.0 + r2 * (-1.0 / 720.0 + r2 / 40_320.0)));
    match quarters as i32 {
        0 => (sin, cos),
        1 => (cos, -sin),
        -1 => (-cos, sin),
        _ => (-sin, -cos),
    }
}

/// An angle brought into [-π, π]. Bounded work for any input; NaN stays NaN.
#[inline]
pub fn wrap_angle(a: f32) -> f32 {
    const TURN: f32 = core::f32::consts::TAU;
    const HALF: f32 = core::f32::consts::PI;
    // The difference of two angles is at most one turn out: then no rounding is needed.
    if a.abs() <= HALF {
        a
    } else if a.abs() <= HALF + TURN {
        if a > 0.0 { a - TURN } else { a + TURN }
    } else {
        unwound(a)
    }
}

#[cold]
fn unwound(a: f32) -> f32 {
    const TURN: f32 = core::f32::consts::TAU;
    a - TURN * libm::roundf(a / TURN)
}

/// `x` brought into `[least, most]`; NaN stays NaN. `f32::clamp` panics on bounds that are in the
/// wrong order or no numbers, so it links a panic wherever they are not constants.
#[inline]
pub fn clamp(x: f32, least: f32, most: f32) -> f32 {
    if x < least {
        least
    } else if x > most {
        most
    } else {
        x
    }
}

/// Microseconds as seconds; more than an hour counts as one. 32 bits, as all times are that anything
/// is decided by, become a float at once, 64 bits by a call on boards.
#[inline]
pub fn seconds(us: u64) -> f32 {
    us.min(3_600_000_000) as u32 as f32 * 1e-6
}

/// Seconds from one time to a later one, microseconds; 0 when it isn't later.
#[inline]
pub fn since_s(from_us: u64, to_us: u64) -> f32 {
    seconds(to_us.saturating_sub(from_us))
}

/// The larger of two numbers, `b` when `a` is none. A comparison; `f32::max` is a call on boards.
#[inline]
pub fn larger(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// The smaller of two numbers, `b` when `a` is none. A comparison; `f32::min` is a call on boards.
#[inline]
pub fn smaller(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

/// Sorts a few numbers, least first. The library's sort links a panic for more than a handful.
pub fn sort_few(numbers: &mut [f32]) {
    for _ in 0..numbers.len() {
        let mut before: Option<&mut f32> = None;
        for number in numbers.iter_mut() {
            if let Some(before) = before
                && before.total_cmp(number).is_gt()
            {
                core::mem::swap(before, number);
            }
            before = Some(number);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clamped_as_the_library_does_where_that_does_not_panic() {
        for x in [-3.0, -1.0, 0.0, 0.5, 2.0, 7.0, f32::INFINITY] {
            assert_eq!(clamp(x, -1.0, 2.0), x.clamp(-1.0, 2.0));
        }
        assert!(clamp(f32::NAN, -1.0, 2.0).is_nan());
        assert_eq!(clamp(5.0, 2.0, f32::NAN), 5.0);
    }

    #[test]
    fn sine_and_cosine_are_the_librarys() {
        for k in -40_000..40_000 {
            let a = k as f32 * 3e-4;
            let (sin, cos) = sin_cos(a);
            let (want_sin, want_cos) = (f64::from(a).sin(), f64::from(a).cos());
            // The angle itself is known no better than its last bit.
            let within = 3e-7 + 6e-8 * f64::from(a.abs());
            assert!((f64::from(sin) - want_sin).abs() < within, "{a}");
            assert!((f64::from(cos) - want_cos).abs() < within, "{a}");
        }
        assert!(sin_cos(f32::NAN).0.is_nan());
    }

    #[test]
    fn sorted_as_the_library_does() {
        let mut ours = [3.0, -1.0, f32::NAN, 2.0, 2.0, -0.0, 0.0, 9.0, 1.0];
        let mut theirs = ours;
        sort_few(&mut ours);
        theirs.sort_by(f32::total_cmp);
        assert_eq!(ours.map(f32::to_bits), theirs.map(f32::to_bits));
    }
}

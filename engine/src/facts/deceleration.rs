//! The mean fully developed deceleration of a braking.

use super::Measured;
use heapless::Vec;

/// Speeds kept of a braking, one every [`STEP_US`] at first.
const POINTS: usize = 54;
/// Time between two of them, microseconds; twice as long whenever there is no more room.
const STEP_US: u32 = 100_000;
/// Speeds this far apart or nearer show the braking as the reference's did, seconds.
const APART_S: f32 = 0.1;

/// The course of a braking, thinned: metres into the corner and speed.
#[derive(Clone, Debug)]
pub struct Braking {
    points: Vec<(f32, f32), POINTS>,
    next_us: u64,
    step_us: u32,
    /// The longest time between two speeds offered, seconds.
    apart_s: f32,
}

impl Default for Braking {
    fn default() -> Self {
        Self {
            points: Vec::new(),
            next_us: 0,
            step_us: STEP_US,
            apart_s: 0.0,
        }
    }
}

impl Braking {
    /// Takes the speed at a place, `dt_s` after the moment before, when the next one is due.
    pub fn push(&mut self, time_us: u64, dt_s: f32, into_m: f32, speed_mps: f32) {
        self.apart_s = self.apart_s.max(dt_s);
        if time_us >= self.next_us {
            if self.points.is_full() {
                self.thin();
            }
            let _ = self.points.push((into_m, speed_mps));
            self.next_us = time_us.saturating_add(u64::from(self.step_us));
        }
    }

    /// Leaves out every second speed, and takes them half as often from now on.
    fn thin(&mut self) {
        let mut odd = true;
        self.points.retain(|_| {
            odd = !odd;
            !odd
        });
        self.step_us = self.step_us.saturating_mul(2);
    }

    /// Over the road on which the middle of the speed was taken off, from 20 % to 90 % of what
    /// was taken off: `(v₁² - v₂²) / 2(s₂ - s₁)`, the form of UN R13-H annex 3 for a braking that
    /// does not end in a stop.
    pub fn mean(&self, from_mps: f32, to_mps: f32) -> Option<Measured> {
        if from_mps - to_mps < 2.0 {
            return None;
        }
        let (x1, v1) = self.place(from_mps - 0.2 * (from_mps - to_mps))?;
        let (x2, v2) = self.place(from_mps - 0.9 * (from_mps - to_mps))?;
        if x2 - x1 < 1.0 {
            return None;
        }
        let value = (v1 * v1 - v2 * v2) / (2.0 * (x2 - x1));
        // Speeds farther apart than a fit's usual window round the braking off at both ends, by
        // the square of the share that two of them have in it.
        let took_s = 2.0 * (x2 - x1) / (v1 + v2).max(1.0);
        let rounded_s2 = 4.0 * (self.apart_s * self.apart_s - APART_S * APART_S).max(0.0);
        let sd = value.abs()
            * (0.3 / (x2 - x1) + 0.1 / (from_mps - to_mps) + rounded_s2 / (took_s * took_s))
            + 0.02;
        Some(Measured::new(value, sd))
    }

    /// Where the speed fell to a value.
    fn place(&self, speed_mps: f32) -> Option<(f32, f32)> {
        let mut before: Option<(f32, f32)> = None;
        for &(x, v) in &self.points {
            if v <= speed_mps {
                let (x0, v0) = before.unwrap_or((x, v));
                let share = if v0 > v {
                    ((v0 - speed_mps) / (v0 - v)).clamp(0.0, 1.0)
                } else {
                    1.0
                };
                return Some((x0 + (x - x0) * share, speed_mps.max(v)));
            }
            before = Some((x, v));
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A constant deceleration is returned as it is (UN R13-H annex 3: 100 km/h at 6.43 m/s²).
    #[test]
    fn constant_deceleration_is_its_own_mean() {
        // The last one takes 13 s.
        for (from, to, decel) in [
            (100.0 / 3.6, 0.0f32, 6.43f32),
            (200.0 / 3.6, 20.0, 12.0),
            (60.0, 8.0, 4.0),
        ] {
            let mut braking = Braking::default();
            for k in 0..140u64 {
                let t = k as f32 * 0.1;
                let v = (from - decel * t).max(to);
                let t = t.min((from - to) / decel);
                braking.push(
                    k * u64::from(STEP_US),
                    0.1,
                    from * t - 0.5 * decel * t * t,
                    v,
                );
            }
            let mean = braking.mean(from, to).expect("a mean");
            assert!(
                (mean.value - decel).abs() < 0.02 * decel,
                "{} for {decel}",
                mean.value
            );
        }
    }
}

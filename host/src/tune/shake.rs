//! The same passage as it might have been measured another time.

use cuepost_engine::{Facts, Measured};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::SeedableRng;

/// How many facts there are to move.
const FACTS: usize = 19;

/// How far each fact of one passage is moved, in its own standard deviations.
///
/// Each on its own: that some of them share their noise is left out, but for the offsets, in which
/// the day's common one is the same.
pub struct Shake {
    by: [f32; FACTS],
    offset: f32,
    exit: f32,
}

impl Shake {
    /// Of a passage: the same seed moves it the same way each time.
    pub fn of(seed: u64, lap: u16, corner: u8) -> Self {
        let passage = u64::from(lap) << 8 | u64::from(corner);
        let mixed = seed
            .wrapping_mul(0x9e37_79b9_7f4a_7c15)
            .wrapping_add(passage);
        let mut random = Pcg64Mcg::seed_from_u64(mixed);
        let mut draw = || StandardNormal.sample(&mut random);
        Self {
            exit: draw(),
            offset: draw(),
            by: std::array::from_fn(|_| draw()),
        }
    }

    /// The facts moved.
    pub fn facts(&self, facts: &Facts) -> Facts {
        let mut moved = *facts;
        let all = [
            &mut moved.brake_m,
            &mut moved.brake_mps,
            &mut moved.peak_decel_mps2,
            &mut moved.mean_decel_mps2,
            &mut moved.turn_in_m,
            &mut moved.release_m,
            &mut moved.trail_m,
            &mut moved.slowest_m,
            &mut moved.slowest_mps,
            &mut moved.slowed_mps,
            &mut moved.throttle_m,
            &mut moved.full_m,
            &mut moved.lift_s,
            &mut moved.dip_mps,
            &mut moved.missing_m,
            &mut moved.coast_s,
            &mut moved.exit_mps,
            &mut moved.loss_entry_s,
            &mut moved.loss_middle_s,
        ];
        for (fact, by) in all.into_iter().zip(self.by) {
            *fact = moved_by(*fact, by);
        }
        for fact in [
            &mut moved.offset_begin_m,
            &mut moved.offset_slowest_m,
            &mut moved.offset_exit_m,
        ] {
            *fact = moved_by(*fact, self.offset);
        }
        moved.loss_exit_s = self.exit_s(moved.loss_exit_s);
        moved
    }

    /// The loss at the exit moved.
    pub fn exit_s(&self, exit_s: Option<Measured>) -> Option<Measured> {
        moved_by(exit_s, self.exit)
    }
}

fn moved_by(fact: Option<Measured>, by: f32) -> Option<Measured> {
    fact.map(|m| Measured::new(m.value + by * m.sd, m.sd))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever facts are added: all that have an uncertainty are moved.
    #[test]
    fn no_fact_is_left_out() {
        use crate::report::json::corner_row;
        let flat = serde_json::to_value(corner_row(&Facts::default())).unwrap();
        let names = flat.as_object().unwrap().keys();
        let measured = names.filter(|n| n.contains("_sd_")).count();
        assert_eq!(
            measured,
            FACTS + 3 + 1,
            "three offsets and the loss at the exit"
        );
    }

    #[test]
    fn facts_move_by_their_own_uncertainty() {
        let facts = Facts {
            brake_m: Some(Measured::new(100.0, 0.5)),
            loss_exit_s: Some(Measured::new(0.2, 0.0)),
            ..Facts::default()
        };
        let moves: Vec<f32> = (0..4000)
            .map(|seed| {
                let moved = Shake::of(seed, 2, 3).facts(&facts);
                assert_eq!(moved.loss_exit_s, facts.loss_exit_s);
                assert_eq!(moved.throttle_m, None);
                moved.brake_m.unwrap().value - 100.0
            })
            .collect();
        let mean = moves.iter().sum::<f32>() / 4000.0;
        let sd = (moves.iter().map(|m| m * m).sum::<f32>() / 4000.0).sqrt();
        // Four standard errors of the mean and of the standard deviation.
        assert!(mean.abs() < 4.0 * 0.5 / 63.2, "{mean}");
        assert!((sd - 0.5).abs() < 4.0 * 0.5 / 89.4, "{sd}");
    }
}

//! Position, speed and direction that do not tell one story.

use crate::gate::{SPEED, faulty, states};
use cuepost_engine::event::HealthState;
use cuepost_engine::{Position, Sample};

/// Speed and position that contradict one another: wrong units, swapped axes, a stuck speed.
#[test]
fn contradictions() {
    type Spoil = fn(&mut Sample);
    let factor = [3.6f32, 2.237, 1.944, 1.0 / 1.944, 1.0 / 3.6];
    for f in factor {
        let run = faulty(4.0, |_, s| s.speed_mps = Some(SPEED as f32 * f));
        for step in states(&run, 1.0, 4.0) {
            assert_ne!(step.health.0, HealthState::Ok, "x{f} {step:?}");
        }
        let last = run.steps.last().unwrap();
        assert_eq!(last.health.0, HealthState::Ok, "x{f} {last:?}");
    }
    let spoils: [Spoil; 3] = [
        |s| s.speed_mps = Some(0.0),
        |s| {
            let Some(Position::Local { east_mm, north_mm }) = s.position else {
                return;
            };
            s.position = Some(Position::Local {
                east_mm: north_mm,
                north_mm: east_mm,
            });
        },
        |s| s.direction_rad = s.direction_rad.map(|d| std::f32::consts::FRAC_PI_2 - d),
    ];
    for (k, spoil) in spoils.into_iter().enumerate() {
        let run = faulty(4.0, |_, s| spoil(s));
        for step in states(&run, 1.0, 4.0) {
            // A mirrored direction is right twice a turn.
            if step
                .place
                .is_none_or(|p| p.slip_rad.is_none_or(|s| s.abs() > 0.7))
            {
                assert_ne!(step.health.0, HealthState::Ok, "{k} {step:?}");
            }
        }
        for step in states(&run, 6.0, 9.9) {
            assert_eq!(step.health.0, HealthState::Ok, "{k} {step:?}");
        }
    }
}

/// A burst of noise on the speed is named; noise as receivers have it is not.
#[test]
fn rough_speed() {
    let mut rng = 1u64;
    let mut noise = move || {
        rng = rng.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        (rng >> 40) as f32 / 8_388_608.0 - 1.0
    };
    let fine = faulty(6.0, |_, s| {
        s.speed_mps = s.speed_mps.map(|v| v + 0.3 * noise())
    });
    assert!(
        fine.steps[30..]
            .iter()
            .all(|s| s.health.0 == HealthState::Ok)
    );
    let mut noise = {
        let mut rng = 2u64;
        move || {
            rng = rng.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (rng >> 40) as f32 / 8_388_608.0 - 1.0
        }
    };
    let rough = faulty(4.0, |_, s| {
        s.speed_mps = s.speed_mps.map(|v| v + 3.0 * noise())
    });
    let bad = states(&rough, 0.5, 4.0);
    let named = bad.iter().filter(|s| s.health.0 != HealthState::Ok).count();
    assert!(named * 10 >= bad.len() * 9, "{named} of {}", bad.len());
}

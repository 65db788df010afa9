//! Driving without a braking: how often the engine takes it for one.

use crate::bound::Cell;
use crate::drive::{COAST_MPS2, FULL_MPS2, Motion, Noise, SPEED_MPS, Seen, WARM, circuit, sample};
use cuepost_engine::{Config, Engine};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// Drives steadily for a time and counts how often the engine takes the car for braking.
pub fn alarms(cell: &Cell, seconds: f64, seed: u64) -> usize {
    let samples = (seconds * cell.rate_hz) as usize;
    let taken = taken(cell, samples, seed, &mut |time_s| {
        (SPEED_MPS * time_s, SPEED_MPS)
    });
    taken.into_iter().filter(|time_s| *time_s > 20.0).count()
}

/// Lifts from full throttle again and again, and counts how many of so many lifts the engine takes
/// for braking.
pub fn lifts(cell: &Cell, count: usize, seed: u64) -> usize {
    let mut random = Pcg64::seed_from_u64(seed);
    let mut motion = Motion::begin();
    motion.on(0.2, FULL_MPS2);
    let mut begin_s = Vec::new();
    for k in 0..count + WARM {
        motion.on(1.0 + 0.1 * random.random::<f64>(), FULL_MPS2);
        if k >= WARM {
            begin_s.push(motion.last()[0]);
        }
        motion.on(cell.ramp_s, COAST_MPS2);
        motion.on(2.0, COAST_MPS2);
        motion.on(0.2, FULL_MPS2);
        let gained_mps = motion.last()[2] - SPEED_MPS + 1.05 * FULL_MPS2;
        motion.on(0.5, COAST_MPS2);
        motion.on((gained_mps / -COAST_MPS2).max(0.1), COAST_MPS2);
        motion.on(0.2, FULL_MPS2);
    }
    let samples = (motion.last()[0] * cell.rate_hz) as usize;
    let taken = taken(cell, samples, seed + 1, &mut |time_s| motion.at(time_s));
    let near = |from_s: f64| taken.iter().any(|t| (from_s..from_s + 2.0).contains(t));
    begin_s.into_iter().filter(|&from_s| near(from_s)).count()
}

/// When the engine begins to take the car for braking, on a drive of places and speeds.
fn taken(
    cell: &Cell,
    samples: usize,
    seed: u64,
    drive: &mut dyn FnMut(f64) -> (f64, f64),
) -> Vec<f64> {
    let mut noise = Noise::new(cell, seed);
    let store = circuit();
    let view = store.view();
    let mut engine = Engine::new(Config::default());
    let mut seen = Seen::default();
    let mut taken = Vec::new();
    for k in 0..samples {
        let time_s = k as f64 / cell.rate_hz;
        let (s, v) = drive(time_s);
        let before = seen.braking;
        engine.feed_watched(&view, &sample(time_s, s, v + noise.next()), &mut seen);
        if seen.braking && !before {
            taken.push(time_s);
        }
    }
    taken
}

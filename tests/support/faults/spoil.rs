//! What the faults of a source do to a sample.

use super::fault::Fault;
use cuepost_engine::{Position, Sample};
use rand::{Rng, RngExt};
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64;

/// Moves a sample to the left of a direction.
pub(super) fn aside(sample: &mut Sample, direction_rad: f64, left_m: f64) {
    let (sin, cos) = direction_rad.sin_cos();
    moved(sample, -left_m * sin, left_m * cos);
}

fn moved(sample: &mut Sample, east_m: f64, north_m: f64) {
    if let Some(Position::Local { east_mm, north_mm }) = &mut sample.position {
        *east_mm = east_mm.saturating_add((east_m * 1e3) as i64);
        *north_mm = north_mm.saturating_add((north_m * 1e3) as i64);
    }
}

/// What is the same for a whole episode.
pub(super) struct Spoil {
    fault: Fault,
    hz: f64,
    way: (f64, f64),
    size_m: f64,
    rate_mps: f64,
    factor: f32,
    choice: u8,
    pub(super) behind: usize,
    place: Normal<f64>,
    speed: Normal<f64>,
}

impl Spoil {
    pub(super) fn new(fault: Fault, hz: f64, rng: &mut Pcg64) -> Self {
        let angle = rng.random_range(0.0..std::f64::consts::TAU);
        let lag_s: f64 = rng.random_range(0.2..1.0);
        Self {
            fault,
            hz,
            way: (angle.cos(), angle.sin()),
            size_m: 15.0 * 200f64.powf(rng.random_range(0.0..1.0)),
            rate_mps: rng.random_range(0.3..3.0),
            factor: [3.6, 2.237, 1.944, 1.0 / 3.6][rng.random_range(0..4)],
            choice: rng.random_range(0..4),
            behind: if fault == Fault::Lag {
                (lag_s * hz) as usize
            } else {
                0
            },
            place: Normal::new(0.0, 8.0).expect("a deviation"),
            speed: Normal::new(0.0, 3.0).expect("a deviation"),
        }
    }

    /// Which of the samples are left when most are missing.
    pub(super) fn phase(&self) -> usize {
        usize::from(self.choice)
    }

    pub(super) fn sample(
        &self,
        mut s: Sample,
        k: usize,
        clean: &[Sample],
        behind: usize,
        rng: &mut impl Rng,
    ) -> Sample {
        let (east, north) = self.way;
        match self.fault {
            Fault::Leap => moved(&mut s, east * self.size_m, north * self.size_m),
            Fault::Drift => {
                let off_m = f64::min(self.rate_mps * k as f64 / self.hz, 60.0);
                moved(&mut s, east * off_m, north * off_m);
            }
            Fault::Freeze => {
                let first = &clean[behind - k];
                s.position = first.position;
                s.speed_mps = first.speed_mps;
                s.direction_rad = first.direction_rad;
            }
            Fault::Noise => {
                moved(&mut s, self.place.sample(rng), self.place.sample(rng));
                s.speed_mps = s
                    .speed_mps
                    .map(|v| (v + self.speed.sample(rng) as f32).max(0.0));
            }
            Fault::NotANumber => match self.choice {
                0 => s.speed_mps = Some(f32::NAN),
                1 => s.speed_mps = Some(f32::INFINITY),
                2 => s.direction_rad = Some(f32::NAN),
                _ => s.position_sd_m = Some(f32::NAN),
            },
            Fault::Void => {
                s.position = None;
                if self.choice.is_multiple_of(2) {
                    s.speed_mps = None;
                }
            }
            Fault::Units => s.speed_mps = s.speed_mps.map(|v| v * self.factor),
            Fault::Axes => {
                if let Some(Position::Local { east_mm, north_mm }) = &mut s.position {
                    std::mem::swap(east_mm, north_mm);
                }
            }
            Fault::Lag => s.position = clean[behind].position,
            Fault::Missing => match self.choice {
                0 => s.speed_mps = None,
                _ => s.direction_rad = None,
            },
            _ => {}
        }
        s
    }
}

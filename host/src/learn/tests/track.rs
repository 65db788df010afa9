//! Circuits with closed forms and a point mass that drives them.

use cuepost_engine::Sample;
use cuepost_engine::sample::Position;

/// A piece of road: its length and curvature (left positive).
pub type Piece = (f64, f64);

/// Two straights of 400 m and two half circles of 50 m radius, begun in the middle of a straight.
pub const STADIUM: [Piece; 5] = {
    let half = std::f64::consts::PI * 50.0;
    [
        (200.0, 0.0),
        (half, 0.02),
        (400.0, 0.0),
        (half, 0.02),
        (200.0, 0.0),
    ]
};

/// What a point mass does on a closed road of pieces: grip for cornering and braking, and drive.
pub struct Drive {
    pieces: Vec<Piece>,
    /// Place, direction and speed at every [`STEP_M`].
    at: Vec<([f64; 2], f64, f64)>,
}

const STEP_M: f64 = 0.05;

impl Drive {
    pub fn new(pieces: &[Piece], grip_mps2: f64, drive_mps2: f64, top_mps: f64) -> Self {
        let mut at = Vec::new();
        let (mut place, mut direction) = ([0.0, 0.0], 0.0_f64);
        for &(length, curvature) in pieces {
            let steps = (length / STEP_M).round() as usize;
            let step = length / steps as f64;
            let limit = (grip_mps2 / f64::abs(curvature).max(1e-9))
                .sqrt()
                .min(top_mps);
            for _ in 0..steps {
                at.push((place, direction, limit));
                let turned = direction + 0.5 * step * curvature;
                place = [
                    place[0] + step * turned.cos(),
                    place[1] + step * turned.sin(),
                ];
                direction += step * curvature;
            }
        }
        let n = at.len();
        // Twice round, so that the ends agree.
        for k in 0..2 * n {
            let reach = (at[k % n].2.powi(2) + 2.0 * drive_mps2 * STEP_M).sqrt();
            at[(k + 1) % n].2 = at[(k + 1) % n].2.min(reach);
        }
        for k in (0..2 * n).rev() {
            let reach = (at[(k + 1) % n].2.powi(2) + 2.0 * grip_mps2 * STEP_M).sqrt();
            at[k % n].2 = at[k % n].2.min(reach);
        }
        Self {
            pieces: pieces.to_vec(),
            at,
        }
    }

    pub fn length_m(&self) -> f64 {
        self.pieces.iter().map(|p| p.0).sum()
    }

    /// Place, direction and speed at a distance driven, any number of rounds.
    pub fn at(&self, driven_m: f64) -> ([f64; 2], f64, f64) {
        let n = self.at.len();
        let x = driven_m.rem_euclid(self.length_m()) / self.length_m() * n as f64;
        let i = (x as usize).min(n - 1);
        let (a, b) = (self.at[i], self.at[(i + 1) % n]);
        let f = x - i as f64;
        let mix = |p: f64, q: f64| p + (q - p) * f;
        (
            [mix(a.0[0], b.0[0]), mix(a.0[1], b.0[1])],
            a.1,
            mix(a.2, b.2),
        )
    }

    /// Samples over a stretch of road, with noise of position and speed.
    pub fn samples(&self, from_m: f64, to_m: f64, rate_hz: f64, noise: [f64; 2]) -> Vec<Sample> {
        let mut dice = Dice(7);
        let (mut driven, mut time) = (from_m, 0.0);
        let mut out = Vec::new();
        let fine = 20;
        let dt = 1.0 / rate_hz / f64::from(fine);
        while driven < to_m {
            let (p, _, v) = self.at(driven);
            let mm = |x: f64, e: f64| ((x + noise[0] * e) * 1e3).round() as i64;
            out.push(Sample {
                time_us: 5_000_000 + (time * 1e6_f64).round() as u64,
                position: Some(Position::Local {
                    east_mm: mm(p[0], dice.normal()) + 12_345_678,
                    north_mm: mm(p[1], dice.normal()) - 7_654_321,
                }),
                speed_mps: Some((v + noise[1] * dice.normal()).max(0.0) as f32),
                ..Sample::default()
            });
            for _ in 0..fine {
                driven += 0.5 * dt * (self.at(driven).2 + self.at(driven + v * dt).2);
                time += dt;
            }
        }
        out
    }
}

/// Even dice with a fixed seed.
pub struct Dice(pub u64);

impl Dice {
    pub fn normal(&mut self) -> f64 {
        // The sum of twelve even numbers has a standard deviation of 1.
        (0..12)
            .map(|_| {
                self.0 = self
                    .0
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1_442_695_040_888_963_407);
                (self.0 >> 11) as f64 / (1_u64 << 53) as f64
            })
            .sum::<f64>()
            - 6.0
    }
}

//! The noise of the source's speed: how large, and how much one sample's tells of the next's.
//!
//! Third differences of a smooth drive are small, and those of noise are not. A running mean of
//! their size, clipped, passes over most of what the driver does, and where he changes the
//! acceleration nothing is learned. Taken over neighbours and over every second sample they tell
//! noise of first order: with a correlation `ρ` from one sample to the next their variance is
//! `σ² (20 - 30ρ + 12ρ² - 2ρ³)`, and the same with `ρ²`.

use crate::math;

/// Speeds that a third difference of every second sample spans.
pub const RECENT: usize = 7;
/// Noise assumed before any was seen, m/s (common for receivers at 5 to 25 Hz).
const BEGIN_MPS: f32 = 0.05;
/// No source is believed to be better than this, m/s.
const LEAST_MPS: f32 = 0.004;
/// Or worse than this.
const MOST_MPS: f32 = 2.0;
/// Step of a running mean, as a share of it: at first, and in the end.
const STEP_BEGIN: f32 = 0.05;
const STEP_END: f32 = 0.001;
/// From one step to the next.
const STEP_DECAY: f32 = 0.985;
/// Correlations that are believed.
const RHO_LEAST: f32 = -0.2;
const RHO_MOST: f32 = 0.85;

/// Standard deviation of a third difference of white noise of 1.
const ROOT_20: f32 = 4.472_136;
/// Sizes are clipped at this many standard deviations, and then have this mean for normal noise.
const CLIP: f32 = 1.5;
const MEAN_OF_CLIPPED: f32 = 0.739_27;
/// A second difference over six samples beyond three standard deviations (`√6` of white noise) is
/// the driver's doing.
const STEADY: f32 = 7.3;

/// What is known of it so far.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Learned {
    /// Of neighbours, as the deviation of white noise, m/s.
    near_mps: f32,
    /// Of every second sample.
    wide_mps: f32,
    step: f32,
}

impl Default for Learned {
    fn default() -> Self {
        Self::stated(None)
    }
}

/// Noise of first order.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Noise {
    /// Standard deviation of what is new in each sample, m/s.
    pub fresh_mps: f32,
    /// Correlation from one sample to the next.
    pub rho: f32,
}

impl Learned {
    /// Nothing seen yet; what the source says of itself, if it does.
    pub fn stated(sd_mps: Option<f32>) -> Self {
        let begin_mps = sd_mps.unwrap_or(BEGIN_MPS).clamp(LEAST_MPS, MOST_MPS);
        Self {
            near_mps: begin_mps,
            wide_mps: begin_mps,
            step: STEP_BEGIN,
        }
    }

    /// Takes the last speeds, newest first.
    pub fn push(&mut self, [a, b, c, d, e, _, g]: [f32; RECENT]) {
        if (a - 2.0 * d + g).abs() > STEADY * self.near_mps {
            return;
        }
        self.step = math::larger(self.step * STEP_DECAY, STEP_END);
        let near = (a - 3.0 * b + 3.0 * c - d).abs() * (1.0 / ROOT_20);
        let wide = (a - 3.0 * c + 3.0 * e - g).abs() * (1.0 / ROOT_20);
        self.near_mps = towards(self.near_mps, near, self.step);
        self.wide_mps = towards(self.wide_mps, wide, self.step);
    }

    /// The noise as of first order. Asked for only when something is dated.
    pub fn noise(&self) -> Noise {
        let ratio = self.wide_mps / self.near_mps;
        let rho = correlation(ratio * ratio);
        // The variance of neighbours is 2 (1 - ρ)(10 - 5ρ + ρ²), of what is new 1 - ρ².
        let share = (1.0 + rho) * 10.0 / (10.0 - 5.0 * rho + rho * rho);
        Noise {
            fresh_mps: self.near_mps * math::sqrt(share),
            rho,
        }
    }
}

/// A running mean takes in one more size.
fn towards(mean_mps: f32, seen_mps: f32, step: f32) -> f32 {
    let size_mps = math::smaller(seen_mps, CLIP * mean_mps);
    let next_mps = mean_mps + step * (size_mps - MEAN_OF_CLIPPED * mean_mps);
    math::clamp(next_mps, LEAST_MPS, MOST_MPS)
}

/// The correlation at which third differences of every second sample have `ratio` times the
/// variance of those of neighbours, by halving.
fn correlation(ratio: f32) -> f32 {
    let (mut least, mut most) = (RHO_LEAST, RHO_MOST);
    for _ in 0..7 {
        let rho = 0.5 * (least + most);
        let square = rho * rho;
        let wide = (1.0 + rho) * (10.0 - 5.0 * square + square * square);
        if wide < ratio * (10.0 - 5.0 * rho + square) {
            least = rho;
        } else {
            most = rho;
        }
    }
    0.5 * (least + most)
}

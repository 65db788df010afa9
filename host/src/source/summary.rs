//! What the samples of a recording are like: rate, duration, gaps, channels, noise.

use cuepost_engine::{Position, Sample};

/// A pause between samples longer than this is a gap, microseconds: what the engine bridges.
const GAP_US: f64 = 500_000.0;
/// Sources slower than that have gaps from so many times their usual step on.
const GAP_STEPS: f64 = 2.5;
/// Bins of [`Bins`]: 64 to an octave over 32 octaves.
const BINS: usize = 64 * 32;

/// A gap between two samples.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Gap {
    /// Time of the sample before it, microseconds.
    pub from_us: u64,
    /// How long it is, microseconds.
    pub gap_us: u64,
}

/// A histogram over magnitudes, for medians in flat memory: a bin is 1.1 % wide.
#[derive(Clone, Debug)]
struct Bins {
    least: f64,
    count: u64,
    bins: Vec<u64>,
}

impl Bins {
    fn new(least: f64) -> Self {
        Self {
            least,
            count: 0,
            bins: vec![0; BINS],
        }
    }

    fn add(&mut self, value: f64) {
        let at = self.at(value);
        self.bins[at] += 1;
        self.count += 1;
    }

    fn at(&self, value: f64) -> usize {
        let octaves = (value / self.least).max(1.0).log2();
        ((octaves * 64.0) as usize).min(BINS - 1)
    }

    /// How many are in bins above that of a value.
    fn above(&self, value: f64) -> u64 {
        self.bins.iter().skip(self.at(value) + 1).sum()
    }

    fn median(&self) -> Option<f64> {
        let mut left = self.count / 2 + 1;
        let at = self.bins.iter().position(|&n| {
            left = left.saturating_sub(n);
            left == 0
        })?;
        Some(self.least * ((at as f64 + 0.5) / 64.0).exp2())
    }
}

/// The channels a sample can have besides time.
const CHANNELS: [&str; 13] = [
    "latitude and longitude",
    "plane coordinates",
    "speed",
    "direction",
    "accuracy of the position",
    "accuracy of the speed",
    "forward acceleration",
    "sideways acceleration",
    "yaw rate",
    "brake",
    "throttle",
    "steering",
    "gear",
];

/// What the samples of a recording are like.
#[derive(Clone, Debug)]
pub struct Summary {
    samples: u64,
    first_us: u64,
    last: Option<Sample>,
    before_last_mps: Option<f32>,
    steps_us: Bins,
    noise_mps: Bins,
    present: [u64; CHANNELS.len()],
    longest: Gap,
    fastest_mps: f32,
    position_sd_m: Bins,
    speed_sd_mps: Bins,
}

impl Default for Summary {
    fn default() -> Self {
        Self {
            samples: 0,
            first_us: 0,
            last: None,
            before_last_mps: None,
            steps_us: Bins::new(1.0),
            noise_mps: Bins::new(1e-5),
            present: [0; CHANNELS.len()],
            longest: Gap::default(),
            fastest_mps: 0.0,
            position_sd_m: Bins::new(1e-4),
            speed_sd_mps: Bins::new(1e-4),
        }
    }
}

impl Summary {
    /// Takes the next sample in.
    pub fn push(&mut self, sample: &Sample) {
        self.samples += 1;
        match self.last {
            None => self.first_us = sample.time_us,
            Some(last) => self.step(&last, sample),
        }
        let geodetic = matches!(sample.position, Some(Position::Geodetic { .. }));
        let has = [
            geodetic,
            sample.position.is_some() && !geodetic,
            sample.speed_mps.is_some(),
            sample.direction_rad.is_some(),
            sample.position_sd_m.is_some(),
            sample.speed_sd_mps.is_some(),
            sample.long_acc_mps2.is_some(),
            sample.lat_acc_mps2.is_some(),
            sample.yaw_rate_rps.is_some(),
            sample.brake.is_some(),
            sample.throttle.is_some(),
            sample.steer.is_some(),
            sample.gear.is_some(),
        ];
        for (count, has) in self.present.iter_mut().zip(has) {
            *count += u64::from(has);
        }
        self.fastest_mps = self.fastest_mps.max(sample.speed_mps.unwrap_or(0.0));
        if let Some(sd) = sample.position_sd_m {
            self.position_sd_m.add(f64::from(sd));
        }
        if let Some(sd) = sample.speed_sd_mps {
            self.speed_sd_mps.add(f64::from(sd));
        }
        self.before_last_mps = self.last.and_then(|last| last.speed_mps);
        self.last = Some(*sample);
    }

    fn step(&mut self, last: &Sample, sample: &Sample) {
        let step_us = sample.time_us.saturating_sub(last.time_us);
        self.steps_us.add(step_us as f64);
        if step_us > self.longest.gap_us {
            self.longest = Gap {
                from_us: last.time_us,
                gap_us: step_us,
            };
        }
        let speeds = (self.before_last_mps, last.speed_mps, sample.speed_mps);
        if let (Some(a), Some(b), Some(c)) = speeds
            && b > 3.0
        {
            self.noise_mps.add(f64::from(a - 2.0 * b + c).abs());
        }
    }

    /// How many samples there are.
    pub fn samples(&self) -> u64 {
        self.samples
    }

    /// From the first sample to the last, seconds.
    pub fn duration_s(&self) -> f64 {
        let last_us = self.last.map_or(self.first_us, |last| last.time_us);
        last_us.saturating_sub(self.first_us) as f64 * 1e-6
    }

    /// Samples a second, by the median step; `None` below two samples.
    pub fn rate_hz(&self) -> Option<f64> {
        let median_us = self.steps_us.median()?;
        let rate = 1e6 / median_us;
        // The median is known to half a bin: a whole rate near it is meant.
        let whole = rate.round();
        Some(if (rate / whole - 1.0).abs() < 0.008 {
            whole
        } else {
            rate
        })
    }

    /// How many gaps there are (longer than half a second, and than the usual step), and the
    /// longest.
    pub fn gaps(&self) -> (u64, Gap) {
        let usual = self.steps_us.median().unwrap_or(0.0) * GAP_STEPS;
        (self.steps_us.above(usual.max(GAP_US)), self.longest)
    }

    /// Seconds from the first sample to a time.
    pub fn since_first_s(&self, time_us: u64) -> f64 {
        time_us.saturating_sub(self.first_us) as f64 * 1e-6
    }

    /// Fastest speed, m/s.
    pub fn fastest_mps(&self) -> f32 {
        self.fastest_mps
    }

    /// Standard deviation of what the speed does from sample to sample above 3 m/s, m/s: noise, and
    /// what bends within two samples. Noise that is alike in neighbouring samples does not show.
    pub fn speed_noise_mps(&self) -> Option<f64> {
        // Median of the absolute second difference of white noise: 0.6745 √6 times its deviation.
        self.noise_mps
            .median()
            .filter(|_| self.noise_mps.count >= 50)
            .map(|median| median / (0.674_5 * 6f64.sqrt()))
    }

    /// Median of what the source says of its accuracy: position per axis (m) and speed (m/s).
    pub fn accuracy(&self) -> (Option<f64>, Option<f64>) {
        (self.position_sd_m.median(), self.speed_sd_mps.median())
    }

    /// Channels with the share of samples that have them.
    pub fn channels(&self) -> impl Iterator<Item = (&'static str, f64)> {
        let samples = self.samples.max(1) as f64;
        CHANNELS
            .iter()
            .zip(self.present)
            .filter(|&(_, count)| count > 0)
            .map(move |(name, count)| (*name, count as f64 / samples))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rate_gaps_and_noise() {
        let mut summary = Summary::default();
        let mut random = 1u64;
        let mut noise = || {
            // A sum of twelve uniform numbers is near enough to normal.
            let mut uniform = || {
                random = random.wrapping_add(0x9e37_79b9_7f4a_7c15);
                let mut mixed = (random ^ (random >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
                mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
                ((mixed ^ (mixed >> 31)) >> 40) as f32 / (1u64 << 24) as f32
            };
            0.1 * ((0..12).map(|_| uniform()).sum::<f32>() - 6.0)
        };
        for k in 0..10_000u64 {
            if (5_000..5_100).contains(&k) {
                continue;
            }
            summary.push(&Sample {
                time_us: k * 40_000,
                speed_mps: Some(30.0 + noise()),
                ..Sample::default()
            });
        }
        assert_eq!(summary.rate_hz(), Some(25.0));
        let (gaps, longest) = summary.gaps();
        assert_eq!((gaps, longest.gap_us), (1, 101 * 40_000));
        let noise = summary.speed_noise_mps().unwrap();
        assert!((0.095..0.105).contains(&noise), "{noise}");
        assert_eq!(summary.channels().collect::<Vec<_>>(), [("speed", 1.0)]);
    }
}

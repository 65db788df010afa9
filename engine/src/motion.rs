//! Acceleration and turning from speed and course: straight lines fitted over a short window.
//!
//! The window is centred, so what it says is as old as half of it: [`HALF_WINDOW_S`], one sample
//! at 10 Hz, two at 25 Hz, nine at 100 Hz. A centred line has the least noise of all unbiased
//! slopes, `σ·f·√(12/(N(N²-1)))` (Savitzky-Golay, first and second degree alike).

use crate::gate::Admitted;
use crate::math;
use crate::noise::{Learned, RECENT};
use crate::progress::Place;
use crate::reference::CarCurves;
use crate::trace::{Point, Trace};

/// Half of the window, seconds, rounded to whole samples and at least one.
pub const HALF_WINDOW_S: f32 = 0.09;
/// Most samples in half a window.
const HALF_MAX: u32 = 12;
/// Braking 1 is this much more deceleration than coasting, as a fraction of the car's most.
const BRAKING_UNIT: f32 = 0.12;
/// And at least this much, m/s².
const BRAKING_LEAST_MPS2: f32 = 1.0;
/// Braking 1 on the brake pedal, where there is one.
const BRAKE_PEDAL_UNIT: f32 = 0.15;
/// Least difference between full throttle and coasting that says anything, m/s².
const DRIVE_LEAST_MPS2: f32 = 0.8;
/// Full throttle gives this share of the full curve: the curve is an upper quantile, and the
/// acceleration lags the pedal.
const DRIVE_SHARE: f32 = 0.9;
/// Noise of speed assumed before any was seen, m/s (common for receivers at 5 to 25 Hz).
const NOISE_BEGIN_MPS: f32 = 0.05;
/// No source is believed to be better than this, m/s.
const NOISE_LEAST_MPS: f32 = 0.004;
/// A pedal that never moved by this much is not believed.
const PEDAL_SWING: f32 = 0.3;

/// The car at one instant, half a window ago.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moment {
    /// Running number of the point in the trace.
    pub number: u32,
    /// Source time, microseconds.
    pub time_us: u64,
    /// Seconds since the moment before.
    pub dt_s: f32,
    /// Metres from the start line.
    pub progress_m: f32,
    /// Metres left of the line.
    pub offset_m: f32,
    /// Speed, mean of the window, m/s.
    pub speed_mps: f32,
    /// Longitudinal acceleration, m/s².
    pub acc_mps2: f32,
    /// How well the window determines it: the sum of squared times from their mean, s².
    pub spread_s2: f32,
    /// Seconds from this moment to the newest sample,
    pub since_s: f32,
    /// and how much faster that is, m/s.
    pub since_mps: f32,
    /// Acceleration off both pedals at this speed, m/s².
    pub coast_mps2: f32,
    /// Acceleration at full throttle at this speed, m/s².
    pub full_mps2: f32,
    /// The measure of the brake pedal: see [`CarCurves::foot_mps2`].
    pub foot_mps2: f32,
    /// Lateral acceleration, m/s², left positive; none without a course.
    pub lat_mps2: Option<f32>,
    /// How hard the car brakes: 0 coasting or on throttle, 1 just surely braking, more for harder.
    /// From the brake pedal where there is one, else from deceleration beyond coasting.
    pub braking: f32,
    /// How much of its drive the car uses: 0 coasting, 1 full throttle. From the throttle pedal
    /// where there is one, else from acceleration between the coasting and the full curve.
    pub drive: f32,
    /// Lap under way.
    pub lap: u16,
    /// Standard deviation of the source's speed noise, m/s.
    pub noise_mps: f32,
    /// The same, steadier, and how it hangs together: what a fit needs.
    pub noise: Learned,
}

/// Losing more speed than by coasting by this much is braking, m/s².
const SLOWS_MPS2: f32 = 1.5;
/// And by this share of the lateral acceleration: tyres at a slip angle slow the car as well.
pub const SCRUB_SHARE: f32 = 0.2;

impl Moment {
    /// Standard deviation of the longitudinal acceleration, m/s².
    pub fn acc_sd_mps2(&self) -> f32 {
        self.noise_mps / math::sqrt(self.spread_s2)
    }

    /// Whether the car loses more speed than by coasting, be it seen as braking yet or not: over
    /// the window, or surely since.
    pub fn slows(&self) -> bool {
        let scrub_mps2 = SCRUB_SHARE * self.lat_mps2.map_or(0.0, f32::abs);
        let limit_mps2 = self.coast_mps2 - SLOWS_MPS2 - scrub_mps2;
        // Two standard deviations of the difference of two speeds.
        let doubt_mps = 2.0 * core::f32::consts::SQRT_2 * self.noise_mps;
        self.acc_mps2 < limit_mps2 || self.since_mps + doubt_mps < limit_mps2 * self.since_s
    }
}

/// Whether a pedal in the source is believed: only once it has been seen to move.
#[derive(Clone, Copy, Debug, Default)]
struct Pedal {
    least: f32,
    most: f32,
    seen: bool,
}

impl Pedal {
    fn believe(&mut self, value: Option<f32>) -> Option<f32> {
        let value = value?;
        if self.seen {
            self.least = math::smaller(self.least, value);
            self.most = math::larger(self.most, value);
        } else {
            *self = Self {
                least: value,
                most: value,
                seen: true,
            };
        }
        (self.most - self.least >= PEDAL_SWING).then_some(value)
    }
}

/// The memory of the motion stage.
#[derive(Clone, Debug, Default)]
pub struct Motion {
    trace: Trace,
    step_s: f32,
    noise_mps: f32,
    noise: Learned,
    last: Option<u32>,
    /// The last speeds, newest first; those of before a cut are not looked at.
    recent_mps: [f32; RECENT],
    brake: Pedal,
    throttle: Pedal,
}

impl Motion {
    /// Forgets everything, in place: the trace is too large for a board's stack.
    pub fn restart(&mut self) {
        let Self {
            trace,
            step_s,
            noise_mps,
            noise,
            last,
            recent_mps,
            brake,
            throttle,
        } = self;
        trace.restart();
        *step_s = 0.0;
        *noise_mps = 0.0;
        *noise = Learned::default();
        *last = None;
        *recent_mps = [0.0; RECENT];
        *brake = Pedal::default();
        *throttle = Pedal::default();
    }

    /// The drive of the last second or two.
    pub fn trace(&self) -> &Trace {
        &self.trace
    }

    /// Seconds between samples, a running mean.
    pub fn step_s(&self) -> f32 {
        self.step_s
    }

    /// Standard deviation of the speed noise as seen so far, m/s.
    pub fn noise_mps(&self) -> f32 {
        math::larger(self.noise_mps, NOISE_LEAST_MPS)
    }

    /// Forgets the window, keeps what is known of the source.
    pub fn cut(&mut self) {
        self.trace.cut();
        self.last = None;
    }

    /// Takes the car's place and returns the moment half a window ago, if one is due.
    pub fn push(&mut self, car: &CarCurves, at: &Admitted, place: &Place) -> Option<Moment> {
        self.learn_source(at);
        let brake = self.brake.believe(at.brake);
        let throttle = self.throttle.believe(at.throttle);
        let point = Point {
            low_us: 0,
            progress_m: place.progress_m,
            offset_m: place.offset_m,
            speed_mps: at.speed_mps,
            direction_rad: at.direction_rad.unwrap_or(f32::NAN),
            acc_mps2: 0.0,
            braking: brake.map_or(0.0, |b| b / BRAKE_PEDAL_UNIT),
            drive: throttle.unwrap_or(0.0),
            lap: place.lap,
            brake_seen: brake.is_some(),
            throttle_seen: throttle.is_some(),
        };
        let newest = self.trace.push(at.time_us, point);
        self.learn_noise(at.speed_mps);
        let samples = HALF_WINDOW_S / math::larger(self.step_s, 1e-3);
        let half = ((samples + 0.5) as u32).clamp(1, HALF_MAX);
        if self.trace.len() < 2 * half + 1 {
            return None;
        }
        let number = newest.wrapping_sub(half);
        if self
            .last
            .is_some_and(|last| number.wrapping_sub(last) > u32::MAX / 2 || number == last)
        {
            return None;
        }
        self.last = Some(number);
        self.moment(car, at, number, half)
    }

    fn learn_source(&mut self, at: &Admitted) {
        if self.step_s == 0.0 {
            self.step_s = 0.04;
            self.noise_mps = at.speed_sd_mps.unwrap_or(NOISE_BEGIN_MPS);
            self.noise = Learned::stated(at.speed_sd_mps);
        }
        if at.dt_s > 0.0 && at.dt_s < 0.5 {
            self.step_s += (at.dt_s - self.step_s) * 0.06;
        }
    }

    /// Third differences of white noise have twenty times its variance, and those of a smooth
    /// drive are small: their running median gives the noise, whatever the driver does.
    fn learn_noise(&mut self, newest_mps: f32) {
        let [b, c, d, e, f, g, _] = self.recent_mps;
        let a = newest_mps;
        self.recent_mps = [a, b, c, d, e, f, g];
        let known = self.trace.len();
        if known < 4 {
            return;
        }
        const ROOT_20: f32 = 4.472_136;
        const MEDIAN_OF_NORMAL: f32 = 0.674_49;
        let seen = (a - 3.0 * b + 3.0 * c - d).abs() / ROOT_20;
        let factor = if seen > MEDIAN_OF_NORMAL * self.noise_mps {
            1.02
        } else {
            1.0 / 1.02
        };
        self.noise_mps = (self.noise_mps * factor).clamp(NOISE_LEAST_MPS, 2.0);
        if known >= RECENT as u32 {
            self.noise.push(self.recent_mps);
        }
    }

    fn moment(
        &mut self,
        car: &CarCurves,
        newest: &Admitted,
        number: u32,
        half: u32,
    ) -> Option<Moment> {
        let noise_mps = self.noise_mps();
        let centre = self.trace.get(number)?;
        let before = self.trace.get(number.wrapping_sub(1));
        let dt_us = before.map_or(0, |p| centre.since_us(p.low_us).max(0));
        let line = self.fit(number, half, centre)?;
        let speed_mps = line.mean_mps;
        let [coast_mps2, full_mps2, brake_mps2] = car.along_mps2(speed_mps);
        let braking = if centre.brake_seen {
            centre.braking
        } else {
            let unit = math::larger(BRAKING_UNIT * brake_mps2, BRAKING_LEAST_MPS2);
            math::larger((coast_mps2 - line.acc_mps2) / unit, 0.0)
        };
        let drive = if centre.throttle_seen {
            centre.drive
        } else {
            let span = math::larger(DRIVE_SHARE * (full_mps2 - coast_mps2), DRIVE_LEAST_MPS2);
            (line.acc_mps2 - coast_mps2) / span
        };
        let since_us = (newest.time_us as u32).wrapping_sub(centre.low_us) as i32;
        let moment = Moment {
            number,
            time_us: self.trace.source_us(centre),
            dt_s: dt_us as f32 * 1e-6,
            progress_m: centre.progress_m,
            offset_m: centre.offset_m,
            speed_mps,
            acc_mps2: line.acc_mps2,
            spread_s2: line.spread_s2,
            since_s: since_us as f32 * 1e-6,
            since_mps: newest.speed_mps - centre.speed_mps,
            coast_mps2,
            full_mps2,
            foot_mps2: car.foot_mps2(),
            lat_mps2: line.yaw_rps.map(|yaw| yaw * speed_mps),
            braking,
            drive,
            lap: centre.lap,
            noise_mps,
            noise: self.noise,
        };
        if let Some(point) = self.trace.get_mut(number) {
            point.acc_mps2 = line.acc_mps2;
            point.braking = braking;
            point.drive = drive;
        }
        Some(moment)
    }

    fn fit(&self, number: u32, half: u32, centre: &Point) -> Option<Line> {
        let count = half.saturating_mul(2).saturating_add(1);
        let n = count as f32;
        let (mut st, mut stt, mut sv, mut stv) = (0.0f32, 0.0f32, 0.0f32, 0.0f32);
        let (mut sd, mut std) = (0.0f32, 0.0f32);
        for points in self.trace.run(number.wrapping_sub(half), count)? {
            for point in points {
                let t = point.since_us(centre.low_us) as f32 * 1e-6;
                let v = point.speed_mps - centre.speed_mps;
                st += t;
                stt += t * t;
                sv += v;
                stv += t * v;
                // Where one point has no direction, the sums have none either.
                let d = math::wrap_angle(point.direction_rad - centre.direction_rad);
                sd += d;
                std += t * d;
            }
        }
        let spread_s2 = stt - st * st / n;
        if spread_s2 <= 1e-9 {
            return None;
        }
        Some(Line {
            mean_mps: centre.speed_mps + sv / n,
            acc_mps2: (stv - st * sv / n) / spread_s2,
            yaw_rps: Some((std - st * sd / n) / spread_s2).filter(|yaw| !yaw.is_nan()),
            spread_s2,
        })
    }
}

/// A straight line fitted to speed, and one to the course.
struct Line {
    mean_mps: f32,
    acc_mps2: f32,
    yaw_rps: Option<f32>,
    spread_s2: f32,
}

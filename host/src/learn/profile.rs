//! One lap over the reference line: when, how fast, with how much acceleration at each metre.

use super::laps::Lap;
use super::line::Line;
use super::start::root;
use super::track::{Point, Track};

/// How far a lap is followed beyond both ends so that nothing is smoothed one-sidedly, seconds.
const PAD_S: f64 = 3.0;
/// Noise of the acceleration aimed for, m/s².
const ACCEL_NOISE: f64 = 0.35;

/// A lap at every [`Profile::step_m`] of the line, entry 0 on the start line.
#[derive(Clone, Debug, Default)]
pub struct Profile {
    /// Metres between entries, about 1.
    pub step_m: f64,
    /// Seconds since the start line.
    pub time_s: Vec<f64>,
    /// Speed, m/s.
    pub speed_mps: Vec<f64>,
    /// Longitudinal acceleration, m/s².
    pub accel_mps2: Vec<f64>,
    /// Curvature of the line, 1/m, left positive.
    pub curvature_pm: Vec<f64>,
    /// Offset from the line, metres, left positive.
    pub offset_m: Vec<f64>,
    /// Brake pedal where the source has it.
    pub brake: Option<Vec<f64>>,
    /// Throttle pedal where the source has it.
    pub throttle: Option<Vec<f64>>,
    /// Gear where the source has it.
    pub gear: Option<Vec<i8>>,
    /// Lap time between the two passages of progress 0, seconds.
    pub lap_s: f64,
    /// When the lap began, seconds from the recording's first sample.
    pub begin_s: f64,
}

/// Noise of a source, which says how much must be smoothed.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Noise {
    /// Speed, m/s from sample to sample.
    pub speed_mps: f64,
    /// Position across, metres from sample to sample.
    pub position_m: f64,
}

/// A point of the lap with its place on the line.
struct Placed {
    time_s: f64,
    /// Progress, not wrapped: 0 at the lap's begin, length at its end.
    progress_m: f64,
    offset_m: f64,
    speed_mps: f64,
    accel_mps2: f64,
    point: Point,
}

impl Profile {
    /// Follows a lap along the line. `None` when it does not go round it.
    pub fn new(track: &Track, lap: &Lap, line: &Line, noise: Noise) -> Option<Self> {
        let placed = placed(track, lap, line, noise)?;
        let length = line.length_m();
        let steps = length.round().max(1.0);
        let step_m = length / steps;
        let n = steps as usize;
        let mut out = Self {
            step_m,
            ..Self::default()
        };
        let pedals = |f: fn(&Point) -> Option<f32>| {
            placed.iter().all(|p| f(&p.point).is_some()).then(Vec::new)
        };
        out.brake = pedals(|p| p.brake);
        out.throttle = pedals(|p| p.throttle);
        out.gear = placed.iter().all(|p| p.point.gear.is_some()).then(Vec::new);
        let mut i = 0;
        let mut begin = None;
        for k in 0..=n {
            let s = k as f64 * step_m;
            while i + 1 < placed.len() && placed[i + 1].progress_m < s {
                i += 1;
            }
            let (a, b) = (&placed[i], placed.get(i + 1)?);
            if a.progress_m > s {
                return None;
            }
            let dt = b.time_s - a.time_s;
            let x = root(
                a.progress_m - s,
                b.progress_m - s,
                a.speed_mps * dt,
                b.speed_mps * dt,
            );
            let time = a.time_s + x * dt;
            let begin = *begin.get_or_insert(time);
            if k == n {
                out.lap_s = time - begin;
                out.begin_s = begin;
                break;
            }
            let mix = |p: f64, q: f64| p + (q - p) * x;
            out.time_s.push(time - begin);
            out.speed_mps.push(mix(a.speed_mps, b.speed_mps));
            out.accel_mps2.push(mix(a.accel_mps2, b.accel_mps2));
            out.offset_m.push(mix(a.offset_m, b.offset_m));
            out.curvature_pm.push(line.at(s).curvature_pm);
            let mix = |f: fn(&Point) -> Option<f32>| {
                let (p, q) = (f(&a.point), f(&b.point));
                mix(p.unwrap_or(0.0).into(), q.unwrap_or(0.0).into())
            };
            if let Some(v) = &mut out.brake {
                v.push(mix(|p| p.brake));
            }
            if let Some(v) = &mut out.throttle {
                v.push(mix(|p| p.throttle));
            }
            if let Some(v) = &mut out.gear {
                let nearer = if x < 0.5 { a } else { b };
                v.push(nearer.point.gear.unwrap_or(0));
            }
        }
        Some(out)
    }

    /// How many entries there are.
    pub fn entries(&self) -> usize {
        self.time_s.len()
    }

    /// Lateral acceleration at an entry, m/s², left positive.
    pub fn lateral_mps2(&self, i: usize) -> f64 {
        self.speed_mps[i].powi(2) * self.curvature_pm[i]
    }

    /// Seconds since the start line at a progress in `[0, length)`.
    pub fn time_at(&self, progress_m: f64) -> f64 {
        let x = progress_m / self.step_m;
        let i = (x as usize).min(self.entries() - 1);
        let next = self.time_s.get(i + 1).copied().unwrap_or(self.lap_s);
        let dt = next - self.time_s[i];
        // Speed, not time, changes evenly between entries.
        let (v, w) = (self.speed_mps[i], self.speed_mps[(i + 1) % self.entries()]);
        let f = x - i as f64;
        let bent = f * (v + w) / (v + (v * v + f * (w * w - v * v)).max(0.0).sqrt()).max(1e-9);
        self.time_s[i] + dt * bent
    }

    /// Speed at a progress in `[0, length)`.
    pub fn speed_at(&self, progress_m: f64) -> f64 {
        let x = progress_m / self.step_m;
        let i = (x as usize).min(self.entries() - 1);
        let (v, w) = (self.speed_mps[i], self.speed_mps[(i + 1) % self.entries()]);
        v + (w - v) * (x - i as f64)
    }
}

fn placed(track: &Track, lap: &Lap, line: &Line, noise: Noise) -> Option<Vec<Placed>> {
    let points = &track.points;
    let end_s = lap.begin_s + lap.time_s;
    // As far beyond the ends as there is unbroken driving.
    let mut from = lap.first;
    while from > 0
        && points[from].gap_s == 0.0
        && points[from - 1].time_s >= lap.begin_s - PAD_S
        && points[from - 1].speed_mps > 1.0
    {
        from -= 1;
    }
    let mut to = lap.end;
    while to + 1 < points.len()
        && points[to + 1].gap_s == 0.0
        && points[to + 1].time_s <= end_s + PAD_S
        && points[to + 1].speed_mps > 1.0
    {
        to += 1;
    }
    let step = track.step_s().max(1e-3);
    let half = half_width_s(noise.speed_mps, step);
    let light: f64 = if noise.speed_mps < 0.01 { 0.06 } else { 0.12 };
    let length = line.length_m();
    let mut near = points[from].driven_m - points[lap.first].driven_m;
    let mut out: Vec<Placed> = Vec::with_capacity(to - from + 1);
    for i in from..=to {
        let p = points[i];
        if i > from {
            near += p.driven_m - points[i - 1].driven_m;
        }
        let (s, offset_m) = line.project([p.east_m, p.north_m], near, 12.0);
        near += line.ahead_m(near, s).clamp(-12.0, 12.0);
        let (speed_mps, _) = local(points, i, light.max(1.01 * step));
        let (_, accel_mps2) = local(points, i, half);
        out.push(Placed {
            time_s: p.time_s,
            progress_m: near,
            offset_m,
            speed_mps: speed_mps.max(0.1),
            accel_mps2,
            point: p,
        });
    }
    steady(&mut out, noise.position_m);
    // Progress must rise for time to follow from it.
    out.dedup_by(|b, a| b.progress_m <= a.progress_m);
    let (first, last) = (out.first()?, out.last()?);
    (first.progress_m <= 0.0 && last.progress_m >= length).then_some(out)
}

/// Puts integrated speed with the smoothed difference to the projection in the projection's
/// place, so that position noise does not get into the times. Without noise nothing changes.
fn steady(placed: &mut [Placed], noise_m: f64) {
    let half_s = (noise_m / 0.05).min(1.0);
    if half_s < 0.1 || placed.is_empty() {
        return;
    }
    let from = placed[0].point.driven_m;
    let apart: Vec<f64> = placed
        .iter()
        .map(|p| p.progress_m - (p.point.driven_m - from))
        .collect();
    let (mut low, mut high, mut sum) = (0, 0, 0.0);
    for i in 0..placed.len() {
        // The same reach on both sides, so that the ends are not drawn inward.
        let reach = half_s
            .min(placed[i].time_s - placed[0].time_s)
            .min(placed[placed.len() - 1].time_s - placed[i].time_s)
            + 1e-6;
        while high < placed.len() && placed[high].time_s <= placed[i].time_s + reach {
            sum += apart[high];
            high += 1;
        }
        while placed[low].time_s < placed[i].time_s - reach {
            sum -= apart[low];
            low += 1;
        }
        while low > 0 && placed[low - 1].time_s >= placed[i].time_s - reach {
            low -= 1;
            sum += apart[low];
        }
        while high > i + 1 && placed[high - 1].time_s > placed[i].time_s + reach {
            high -= 1;
            sum -= apart[high];
        }
        placed[i].progress_m = placed[i].point.driven_m - from + sum / (high - low) as f64;
    }
}

/// Half the window whose slope has the noise aimed for: white speed noise of `noise` leaves
/// 1.5 · noise² / (rate · half³) of variance in the slope of a straight line.
fn half_width_s(noise: f64, step_s: f64) -> f64 {
    let half = (1.5 * noise * noise * step_s / (ACCEL_NOISE * ACCEL_NOISE)).cbrt();
    half.clamp(0.1, 0.35).max(2.01 * step_s)
}

/// Value and slope of the speed at a point: a parabola by least squares over `half_s` either way.
fn local(points: &[Point], i: usize, half_s: f64) -> (f64, f64) {
    let at = points[i].time_s;
    let inside = |p: &&Point| (p.time_s - at).abs() <= half_s;
    let before = points[..i].iter().rev().take_while(inside);
    let behind = points[i..].iter().take_while(inside);
    let (mut s, mut r) = ([0.0; 5], [0.0; 3]);
    for p in before.chain(behind) {
        let x = (p.time_s - at) / half_s;
        let mut power = 1.0;
        for (k, s) in s.iter_mut().enumerate() {
            *s += power;
            if let Some(r) = r.get_mut(k) {
                *r += power * p.speed_mps;
            }
            power *= x;
        }
    }
    // Normal equations of a + b x + c x², by Cramer's rule.
    let minor = |a: f64, b: f64, c: f64, d: f64| a * d - b * c;
    let m0 = minor(s[2], s[3], s[3], s[4]);
    let m1 = minor(s[1], s[3], s[2], s[4]);
    let m2 = minor(s[1], s[2], s[2], s[3]);
    let whole = s[0] * m0 - s[1] * m1 + s[2] * m2;
    if whole.abs() < 1e-6 {
        return (points[i].speed_mps, 0.0);
    }
    let value = (r[0] * m0 - s[1] * minor(r[1], s[3], r[2], s[4])
        + s[2] * minor(r[1], s[2], r[2], s[3]))
        / whole;
    let slope = (s[0] * minor(r[1], s[3], r[2], s[4]) - r[0] * m1
        + s[2] * minor(s[1], r[1], s[2], r[2]))
        / whole;
    (value, slope / half_s)
}

//! The faults, seeded.

use super::fault::{Fault, Rate};
use super::road::{Road, mix};
use super::spoil::{Spoil, aside};
use super::streams::Stream;
use cuepost_engine::Sample;
use cuepost_engine::gate::COURSE_LEAST_MPS;
use cuepost_engine::progress::ASIDE_M as LANE_M;
use cuepost_engine::reference::CarCurves;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use std::f32::consts::PI;

/// For how long a car stands that stops, seconds.
const STOOD_S: f64 = 12.0;

/// The way out of the road to the lane, and back, metres.
const RAMP_M: f64 = 60.0;
/// The shortest lane with both of them, metres.
const LANE_LEAST_M: f64 = 2.5 * RAMP_M;

/// A sample as it reaches the engine.
#[derive(Clone, Copy, Debug)]
pub struct Fed {
    /// What the engine gets.
    pub sample: Sample,
    /// True time since the drive's begin, µs.
    pub wall_us: u64,
    /// When the clean drive was here.
    pub clean_us: u64,
}

impl Fed {
    /// An untouched one.
    pub fn good(sample: Sample) -> Self {
        Self {
            sample,
            wall_us: sample.time_us,
            clean_us: sample.time_us,
        }
    }
}

/// A faulted stream and from when to when it was faulted, true time.
#[derive(Clone, Debug, Default)]
pub struct Injected {
    /// What the engine gets.
    pub samples: Vec<Fed>,
    /// The faults' begins and ends, µs: of a car that stops, while it stands; of one in the pits,
    /// while it is in the lane.
    pub episodes: Vec<(u64, u64)>,
}

/// The fault's episodes as ranges of samples.
fn episodes(
    count: usize,
    hz: f64,
    fault: Fault,
    rate: Rate,
    rng: &mut Pcg64,
) -> Vec<(usize, usize)> {
    let every_s = match rate {
        Rate::Rare => 100.0,
        Rate::Often => 20.0,
        // What cannot be constant comes as often as it can.
        Rate::Constant if fault.drives() => 60.0,
        Rate::Constant
            if matches!(
                fault,
                Fault::Stall | Fault::Leap | Fault::Clock | Fault::Restart
            ) =>
        {
            5.0
        }
        Rate::Constant => return vec![(count / 3, count)],
    };
    let (least_s, most_s) = match fault {
        Fault::Stall => (0.3, 15.0),
        Fault::Leap => (0.01, 2.0),
        Fault::Drift => (4.0, 15.0),
        Fault::Clock | Fault::Restart => (0.0, 0.0),
        Fault::Lag => (2.0, 8.0),
        Fault::Back | Fault::Pit | Fault::Stop => (4.0, 10.0),
        _ => (0.1, 6.0),
    };
    let most_s = if rate == Rate::Constant {
        f64::min(most_s, 4.0)
    } else {
        most_s
    };
    let mut all = Vec::new();
    let mut at = 10.0;
    loop {
        at += every_s * rng.random_range(0.4..1.6);
        let lasts_s = rng.random_range(least_s..=f64::max(most_s, least_s));
        let (from, to) = ((at * hz) as usize, ((at + lasts_s) * hz) as usize + 1);
        if to + 50 >= count {
            return all;
        }
        all.push((from, to));
        at += lasts_s;
    }
}

/// Puts a fault between a stream and the engine.
pub fn inject(stream: &Stream, fault: Fault, rate: Rate, seed: u64) -> Injected {
    let mut rng = Pcg64::seed_from_u64(seed ^ ((fault as u64) << 32) ^ ((rate as u64) << 48));
    let clean = &stream.samples;
    let span_s = (clean[clean.len() - 1].time_us - clean[0].time_us) as f64 * 1e-6;
    let hz = (clean.len() - 1) as f64 / span_s;
    let episodes = episodes(clean.len(), hz, fault, rate, &mut rng);
    let mut out = Tape::new(clean, stream.reference.view().car);
    for (from, to) in episodes {
        out.play(from);
        let begun = out.wall_us();
        let episode = match fault {
            Fault::Pit => out.detour(to - from, 12.0, 16.7),
            Fault::Stop => out.detour(to - from, 0.0, 0.0),
            Fault::Back => {
                out.back(to - from);
                Some((begun, out.wall_us()))
            }
            _ => {
                out.spoil(fault, to, hz, &mut rng);
                Some((begun, out.wall_us()))
            }
        };
        out.episodes.extend(episode);
    }
    out.play(clean.len());
    Injected {
        samples: out.out,
        episodes: out.episodes,
    }
}

/// The clean stream being copied.
struct Tape<'a> {
    clean: &'a [Sample],
    car: &'a CarCurves,
    next: usize,
    /// How far true time is behind the clean drive's.
    late_us: u64,
    /// How far the source's clock is off true time.
    clock_us: i64,
    out: Vec<Fed>,
    episodes: Vec<(u64, u64)>,
}

impl<'a> Tape<'a> {
    fn new(clean: &'a [Sample], car: &'a CarCurves) -> Self {
        Self {
            clean,
            car,
            next: 0,
            late_us: 0,
            clock_us: 0,
            out: Vec::new(),
            episodes: Vec::new(),
        }
    }

    fn wall_us(&self) -> u64 {
        let at = self.next.min(self.clean.len() - 1);
        self.clean[at].time_us + self.late_us
    }

    fn good(&self, at: usize) -> Fed {
        let clean = self.clean[at];
        let wall_us = clean.time_us + self.late_us;
        Fed {
            sample: Sample {
                time_us: wall_us.saturating_add_signed(self.clock_us),
                ..clean
            },
            wall_us,
            clean_us: clean.time_us,
        }
    }

    fn play(&mut self, to: usize) {
        while self.next < to {
            let fed = self.good(self.next);
            self.out.push(fed);
            self.next += 1;
        }
    }

    /// A fault of the source: the car drives on.
    fn spoil(&mut self, fault: Fault, to: usize, hz: f64, rng: &mut Pcg64) {
        let from = self.next;
        let spoil = Spoil::new(fault, hz, rng);
        match fault {
            Fault::Clock => {
                let size = 10f64.powf(rng.random_range(-0.5..3.0));
                let sign = if rng.random() { 1.0 } else { -1.0 };
                self.clock_us += (sign * size * 1e6) as i64;
                // Never before the beginning of time.
                self.clock_us = self.clock_us.max(-(self.wall_us() as i64));
            }
            Fault::Restart => self.clock_us = -(self.wall_us() as i64),
            _ => {}
        }
        while self.next < to.min(self.clean.len()) {
            let at = self.next;
            let fed = self.good(at);
            self.next += 1;
            match fault {
                Fault::Drop if rng.random() => {}
                Fault::Stall => {}
                Fault::Rate if !(at + spoil.phase()).is_multiple_of(5) => {}
                Fault::Repeat => {
                    let before = self.out.last().map_or(fed, |f| Fed {
                        sample: f.sample,
                        ..fed
                    });
                    self.out.push(fed);
                    self.out.push(if rng.random() { fed } else { before });
                }
                Fault::Reorder => {
                    self.out.push(fed);
                    if at % 2 == 1 && at > from {
                        let n = self.out.len();
                        let (a, b) = (self.out[n - 1].sample, self.out[n - 2].sample);
                        (self.out[n - 1].sample, self.out[n - 2].sample) = (b, a);
                    }
                }
                _ => {
                    let behind = spoil.behind.min(at);
                    let sample = spoil.sample(fed.sample, at - from, self.clean, at - behind, rng);
                    self.out.push(Fed { sample, ..fed });
                }
            }
        }
    }

    /// Turns round, drives back over `count` samples, turns round and drives on.
    fn back(&mut self, count: usize) {
        let turn = self.next;
        let first = turn.saturating_sub(count);
        for at in (first..turn).rev() {
            self.late_us += self.clean[at + 1].time_us - self.clean[at].time_us;
            // The time that passes while the clean drive's stands.
            let mut fed = self.good(turn);
            let there = self.clean[at];
            fed.sample.position = there.position;
            fed.sample.speed_mps = there.speed_mps;
            fed.sample.direction_rad = there.direction_rad.map(|d| d + PI);
            fed.clean_us = there.time_us;
            self.out.push(fed);
        }
        self.late_us += self.clean[turn].time_us - self.clean[first].time_us;
        self.next = first;
        self.play(turn);
    }

    /// The car slows down to a speed (0 for [`STOOD_S`]), beside the line, for the length of `count`
    /// samples of its road, and speeds up again until it is as fast as the clean drive. Gives from
    /// when to when it stood or was in the lane, true time.
    fn detour(&mut self, count: usize, beside_m: f64, speed_mps: f64) -> Option<(u64, u64)> {
        let last = self.clean.len() - 2;
        let (from, to) = (self.next, (self.next + count).min(last));
        let road = Road::over(self.clean, from, last);
        let lane_m = f64::max(
            road.length_m(to),
            if beside_m > 0.0 { LANE_LEAST_M } else { 0.0 },
        );
        let step_s = 0.04;
        let (mut along_m, mut v) = (0.0, road.speed(0.0));
        let mut stood_s = 0.0;
        let begun_us = self.wall_us();
        let mut there: Option<(u64, u64)> = None;
        let mut k = 0u64;
        let mut at = from;
        let stands = speed_mps <= 0.0;
        while at < last - 1
            && (along_m < lane_m || v < road.speed(along_m) || (stands && stood_s < STOOD_S))
        {
            // Brakes at 8 m/s², drives off as the car does, never faster than the clean drive.
            let left_m = lane_m - along_m;
            let leaving = left_m < 0.5 * lane_m;
            let held = if stands { stood_s < STOOD_S } else { !leaving };
            v = if held && v > speed_mps {
                f64::max(v - 8.0 * step_s, speed_mps)
            } else if held {
                v
            } else {
                v + f64::from(self.car.full_mps2(v as f32).max(1.0)) * step_s
            };
            v = f64::min(v, f64::max(road.speed(along_m), 1.0));
            if v <= 0.0 {
                stood_s += step_s;
            }
            along_m += v * step_s;
            k += 1;
            let u;
            (at, u) = road.at(along_m);
            let mut fed = self.good(from);
            let wall_us = begun_us + k * 40_000;
            fed.wall_us = wall_us;
            fed.sample = mix(&self.clean[at], &self.clean[at + 1], u);
            fed.sample.time_us = wall_us.saturating_add_signed(self.clock_us);
            fed.sample.speed_mps = Some(v as f32);
            let aside_m = beside(&mut fed.sample, &road, along_m, left_m, beside_m);
            let (a, b) = (self.clean[at].time_us, self.clean[at + 1].time_us);
            fed.clean_us = a + ((b - a) as f64 * u) as u64;
            self.out.push(fed);
            if aside_m > f64::from(LANE_M) || v < f64::from(COURSE_LEAST_MPS) {
                there = Some((there.map_or(wall_us, |t| t.0), wall_us + 40_000));
            }
        }
        let clean_us = self.clean[at].time_us - self.clean[from].time_us;
        self.late_us += (k * 40_000).saturating_sub(clean_us);
        self.next = at + 1;
        there
    }
}

/// Puts a car that drives through a lane beside the line, having come so far along it and with so
/// much of it left: its place, and the speed and direction of its own way, which leads out and back
/// and is longer or shorter than the line. Gives how far beside it the car is.
fn beside(sample: &mut Sample, road: &Road, along_m: f64, left_m: f64, beside_m: f64) -> f64 {
    let ramp = f64::min(along_m, left_m).clamp(0.0, RAMP_M) / RAMP_M;
    let aside_m = beside_m * ramp * ramp * (3.0 - 2.0 * ramp);
    aside(sample, road.direction_rad(along_m), aside_m);
    let way = if along_m < left_m { 1.0 } else { -1.0 };
    let outward = way * beside_m * 6.0 * ramp * (1.0 - ramp) / RAMP_M;
    let onward = 1.0 - road.curvature(along_m) * aside_m;
    sample.speed_mps = sample.speed_mps.map(|v| v * outward.hypot(onward) as f32);
    sample.direction_rad = sample
        .direction_rad
        .map(|d| d + outward.atan2(onward) as f32);
    aside_m
}

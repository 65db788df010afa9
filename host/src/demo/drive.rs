//! Time stepping: orders in, the dense trace and the truth of every passage out.

use super::car::{Car, Motion};
use super::circuit::Circuit;
use super::orders::Orders;
use super::path::Path;
use super::pilot::Pilot;
use super::truth::{Instant, Moment, Passage};
use cuepost_engine::reference::CornerKind;

/// Seconds of a step of the car.
pub const STEP_S: f64 = 0.002;
/// Steps between two kept instants (10 ms).
const KEEP: usize = 5;

/// One session on the circuit: what happened, densely and in full.
#[derive(Clone, Debug)]
pub struct Drive {
    /// Length of the circuit's line, metres.
    pub length_m: f64,
    /// Every 10 ms, from the beginning of the run-up.
    pub instants: Vec<Instant>,
    /// Every passage of every corner, in order.
    pub passages: Vec<Passage>,
    /// When the start line was crossed, seconds from the beginning.
    pub crossings_s: Vec<f64>,
}

/// Where a drive begins and ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stint {
    /// Begin, metres along (negative: before the first crossing).
    pub from_m: f64,
    /// Speed there, m/s.
    pub from_mps: f64,
    /// End, metres along.
    pub to_m: f64,
}

/// Drives a stint. `car_of` tells the car of a lap (grip may change from lap to lap).
pub(super) fn run<'c>(
    circuit: &Circuit,
    car_of: impl Fn(u16) -> &'c Car,
    path: &Path,
    orders: &[Orders],
    stint: Stint,
) -> Drive {
    let length_m = circuit.length_m();
    let mut pilot = Pilot::new(circuit, path, orders);
    let start = path.at(stint.from_m);
    let mut m = Motion {
        progress_m: stint.from_m,
        offset_m: start.offset_m,
        aslant_rad: start.slope,
        speed_mps: stint.from_mps,
        ..Motion::default()
    };
    let (mut instants, mut crossings_s) = (Vec::new(), Vec::new());
    let mut lap = 0;
    let mut car = car_of(0);
    // Nothing that drives takes longer than this: the loop is bounded.
    let steps = ((stint.to_m - stint.from_m) / 2.0 / STEP_S) as usize;
    for i in 0..steps {
        let t = i as f64 * STEP_S;
        let before = m;
        let controls = pilot.act(car, &m, t, STEP_S);
        let felt = car.step(circuit, &mut m, &controls, STEP_S);
        if i % KEEP == 0 {
            let (east_m, north_m) = circuit.place(before.progress_m, before.offset_m);
            let (_, _, heading) = circuit.pose(before.progress_m);
            let turns = (before.progress_m / length_m).floor() * circuit.turning_rad();
            instants.push(Instant {
                moment: Moment {
                    time_s: t,
                    along_m: before.progress_m,
                    speed_mps: before.speed_mps,
                },
                offset_m: before.offset_m,
                east_m,
                north_m,
                direction_rad: heading + turns + before.aslant_rad,
                long_mps2: felt.long_mps2,
                lat_mps2: felt.lat_mps2,
                asked: felt.asked,
                steered_pm: before.steered_pm,
                brake: controls.brake,
                throttle: controls.throttle,
                gear: car.gear(before.speed_mps) as u8,
            });
        }
        let line = f64::from(lap) * length_m;
        if before.progress_m < line && m.progress_m >= line {
            let part = (line - before.progress_m) / (m.progress_m - before.progress_m);
            crossings_s.push(t + part * STEP_S);
            lap += 1;
            car = car_of(lap);
        }
        if m.progress_m >= stint.to_m {
            break;
        }
    }
    let mut drive = Drive {
        length_m,
        instants,
        passages: std::mem::take(&mut pilot.passages),
        crossings_s,
    };
    drive.finish(orders);
    drive
}

impl Drive {
    /// Laps driven from line to line.
    pub fn laps(&self) -> u16 {
        self.crossings_s.len().saturating_sub(1) as u16
    }

    /// Lap time, seconds; laps are counted from 1.
    pub fn lap_s(&self, lap: u16) -> Option<f64> {
        let lap = usize::from(lap);
        Some(self.crossings_s.get(lap)? - self.crossings_s.get(lap.checked_sub(1)?)?)
    }

    /// The car at a place along the drive, between the kept instants; `None` outside the drive.
    pub fn at_along(&self, along_m: f64) -> Option<Instant> {
        let i = self
            .instants
            .partition_point(|x| x.moment.along_m <= along_m);
        let (a, b) = (self.instants.get(i.checked_sub(1)?)?, self.instants.get(i)?);
        let span = b.moment.along_m - a.moment.along_m;
        Some(between(a, b, (along_m - a.moment.along_m) / span))
    }

    /// The car at a time, seconds from the beginning; `None` outside the drive.
    pub fn at_time(&self, time_s: f64) -> Option<Instant> {
        let x = time_s / (STEP_S * KEEP as f64);
        if x < 0.0 {
            return None;
        }
        let i = x as usize;
        let (a, b) = (self.instants.get(i)?, self.instants.get(i + 1)?);
        Some(between(a, b, x - i as f64))
    }

    /// Seconds from one progress of a lap to another; lengths beyond a lap run into the next.
    pub fn between_s(&self, lap: u16, from_m: f64, to_m: f64) -> Option<f64> {
        let base = (f64::from(lap) - 1.0) * self.length_m;
        let a = self.at_along(base + from_m)?.moment.time_s;
        Some(self.at_along(base + to_m)?.moment.time_s - a)
    }

    /// The passage of a corner (from 1) in a lap (from 1).
    pub fn passage(&self, lap: u16, corner: u8) -> Option<&Passage> {
        self.passages
            .iter()
            .find(|p| p.lap == lap && p.corner == corner)
    }

    /// Brings a place along the drive to progress on its lap's line.
    pub fn progress_m(&self, along_m: f64) -> f64 {
        along_m.rem_euclid(self.length_m)
    }

    /// Fills in what is taken from the trace afterwards.
    fn finish(&mut self, orders: &[Orders]) {
        let mut passages = std::mem::take(&mut self.passages);
        for (p, o) in passages.iter_mut().zip(orders) {
            if let Some(exit) = self.at_along(o.exit_m) {
                p.exit = exit.moment;
                p.offset_exit_m = exit.offset_m;
            }
            if let (CornerKind::Braked, Some(from), Some(to)) = (p.kind, p.lift, p.throttle) {
                p.peak_decel_mps2 = self.peak_decel_mps2(from.time_s, to.time_s);
            }
        }
        self.passages = passages;
    }

    /// Greatest mean deceleration over 0.1 s between two times.
    fn peak_decel_mps2(&self, from_s: f64, to_s: f64) -> f64 {
        let index = |t: f64| ((t / (STEP_S * KEEP as f64)) as usize).min(self.instants.len());
        self.instants[index(from_s)..index(to_s)]
            .windows(10)
            .map(|w| -w.iter().map(|x| x.long_mps2).sum::<f64>() / w.len() as f64)
            .fold(0.0, f64::max)
    }
}

/// Between two neighbouring instants; pedals and gear are the earlier one's.
fn between(a: &Instant, b: &Instant, f: f64) -> Instant {
    let mix = |x: f64, y: f64| x + (y - x) * f;
    Instant {
        moment: Moment {
            time_s: mix(a.moment.time_s, b.moment.time_s),
            along_m: mix(a.moment.along_m, b.moment.along_m),
            speed_mps: mix(a.moment.speed_mps, b.moment.speed_mps),
        },
        offset_m: mix(a.offset_m, b.offset_m),
        east_m: mix(a.east_m, b.east_m),
        north_m: mix(a.north_m, b.north_m),
        direction_rad: mix(a.direction_rad, b.direction_rad),
        long_mps2: mix(a.long_mps2, b.long_mps2),
        lat_mps2: mix(a.lat_mps2, b.lat_mps2),
        asked: mix(a.asked, b.asked),
        steered_pm: mix(a.steered_pm, b.steered_pm),
        brake: mix(a.brake, b.brake),
        throttle: mix(a.throttle, b.throttle),
        gear: a.gear,
    }
}

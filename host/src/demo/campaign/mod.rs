//! Cases for a campaign: any circuit, any car, a coach's clean laps and a driver's laps with
//! single planted faults between clean corners, all from one seed.

mod circuits;

use super::car::Car;
use super::circuit::Circuit;
use super::drive::Drive;
use super::driver::{Driver, LapPlan, Scatter};
use super::fault::FaultKind;
use super::plan::{Plan, Style};
use cuepost_engine::reference::CornerKind;
use cuepost_engine::thresholds::Thresholds;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

pub use circuits::circuit;

/// Faults from half to four times the threshold.
pub const SIZES: [f64; 5] = [0.5, 1.0, 2.0, 3.0, 4.0];
/// A lift that can just be told from a change of gear, seconds.
const LIFT_S: f32 = 0.2;
/// The coach's laps.
const COACH_LAPS: usize = 3;

/// What is asked of a case.
#[derive(Clone, Debug, PartialEq)]
pub struct Wanted {
    /// Laps of the driver.
    pub laps: usize,
    /// Kinds to choose from.
    pub kinds: Vec<FaultKind>,
    /// Sizes to choose from, as multiples of the thresholds.
    pub sizes: Vec<f64>,
    /// Share of the corners with a fault; no two in a row.
    pub share: f64,
    /// Grip and drive of one more lap without faults, at least and at most; equal for none.
    pub pace: (f64, f64),
    /// Both drivers' scatter.
    pub scatter: Scatter,
    /// The thresholds that sizes are measured in.
    pub thresholds: Thresholds,
}

impl Default for Wanted {
    fn default() -> Self {
        Self {
            laps: 5,
            kinds: FaultKind::ALL.to_vec(),
            sizes: SIZES.to_vec(),
            share: 0.4,
            pace: (1.0, 1.0),
            scatter: Scatter::COACH,
            thresholds: Thresholds::DEFAULT,
        }
    }
}

/// One planted fault.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Planted {
    /// Lap of the driver's drive, from 1.
    pub lap: u16,
    /// Corner of the plan, from 1.
    pub corner: u8,
    /// What was planted.
    pub kind: FaultKind,
    /// Its size as a multiple of the threshold.
    pub times: f64,
}

/// Everything about one case.
#[derive(Clone, Debug)]
pub struct Case {
    /// The seed it was made from.
    pub seed: u64,
    /// Where.
    pub circuit: Circuit,
    /// Who: the coach drives by the same plan.
    pub driver: Driver,
    /// The coach's clean laps.
    pub coach: Drive,
    /// The driver's laps.
    pub driven: Drive,
    /// What was planted in them.
    pub planted: Vec<Planted>,
    /// The lap that was slower everywhere.
    pub paced: Option<u16>,
}

/// Makes a case. The same seed and wishes, the same case.
pub fn case(seed: u64, wanted: &Wanted) -> Case {
    let mut rng = Pcg64::seed_from_u64(seed);
    let (circuit, driver) = loop {
        let circuit = circuit(&mut rng);
        let car = car(&mut rng);
        let driver = Driver::practised(&circuit, &car, Style::STEADY, wanted.scatter);
        if drivable(&driver.plan) {
            break (circuit, driver);
        }
    };
    let mut planted = Vec::new();
    let mut laps: Vec<LapPlan> = (1..=wanted.laps as u16)
        .map(|lap| {
            let faults = plant(&driver.plan, lap, wanted, &mut rng);
            planted.extend(faults.iter().copied());
            let of = |p: &Planted| (p.corner, p.kind.of(size(p, wanted)));
            LapPlan::with(&faults.iter().map(of).collect::<Vec<_>>())
        })
        .collect();
    let (least, most) = wanted.pace;
    let paced = (least < most).then(|| {
        laps.push(LapPlan::at_pace(rng.random_range(least..most)));
        laps.len() as u16
    });
    let coach = driver.drive(&circuit, &vec![LapPlan::clean(); COACH_LAPS], rng.random());
    let driven = driver.drive(&circuit, &laps, rng.random());
    Case {
        seed,
        circuit,
        driver,
        coach,
        driven,
        planted,
        paced,
    }
}

/// A car somewhere around one of the three.
fn car(rng: &mut Pcg64) -> Car {
    let base = match rng.random_range(0..4) {
        0 => Car::road(),
        1 => Car::winged(),
        _ => Car::touring(),
    };
    let mut about = || rng.random_range(0.93..1.07);
    let grip = about();
    Car {
        mass_kg: base.mass_kg * about(),
        power_w: base.power_w * about(),
        drag_kgpm: base.drag_kgpm * about(),
        grip_long: base.grip_long * grip,
        grip_lat: base.grip_lat * grip,
        engine_brake_n: base.engine_brake_n * about(),
        ..base
    }
}

/// Seconds on the throttle below which two corners are one for a driver.
const BETWEEN_MIN_S: f64 = 0.9;

/// Whether every corner was driven as one corner: on the throttle for a while between any two, and
/// without a slide in the practice lap.
fn drivable(plan: &Plan) -> bool {
    let turns = &plan.turns;
    let enough = turns
        .iter()
        .filter(|t| t.kind == CornerKind::Braked)
        .count()
        >= 4;
    let clean = turns
        .iter()
        .all(|t| t.practice.widest_m < 0.5 && t.practice.sliding_s < 0.3 && t.practice.lifts == 0);
    let apart = turns
        .windows(2)
        .all(|w| match (w[0].practice.throttle, w[1].practice.lift) {
            (Some(on), Some(off)) => off.time_s - on.time_s > BETWEEN_MIN_S,
            _ => true,
        });
    // The start line lies on a straight that is driven flat.
    let first = turns.first().and_then(|t| t.practice.lift);
    enough && clean && apart && first.is_none_or(|m| m.along_m > 30.0) && plan.lap_s().is_some()
}

fn plant(plan: &Plan, lap: u16, wanted: &Wanted, rng: &mut Pcg64) -> Vec<Planted> {
    let mut out: Vec<Planted> = Vec::new();
    for turn in &plan.turns {
        let neighbour = out.last().is_some_and(|p| p.corner + 1 == turn.number);
        let tellable = |k: &FaultKind| match turn.kind {
            CornerKind::Braked => true,
            // What is lost in a corner that is only lifted for or flat is the lift's.
            CornerKind::Lifted => matches!(k, FaultKind::Lift | FaultKind::ThrottleLate),
            CornerKind::Flat => matches!(k, FaultKind::Lift),
        };
        let fits: Vec<FaultKind> = wanted
            .kinds
            .iter()
            .copied()
            .filter(|k| k.fits(turn.kind) && tellable(k))
            .collect();
        // The random numbers are drawn whether needed or not: a wish changes only what it says.
        let (yes, which) = (rng.random_bool(wanted.share), rng.random_range(0.0..1.0));
        let times = rng.random_range(0..wanted.sizes.len().max(1));
        if neighbour || !yes || fits.is_empty() {
            continue;
        }
        out.push(Planted {
            lap,
            corner: turn.number,
            kind: fits[((which * fits.len() as f64) as usize).min(fits.len() - 1)],
            times: wanted.sizes.get(times).copied().unwrap_or(2.0),
        });
    }
    out
}

/// The size of a planted fault in its own unit.
fn size(p: &Planted, wanted: &Wanted) -> f64 {
    let t = &wanted.thresholds;
    let one = match p.kind {
        FaultKind::BrakeEarly | FaultKind::BrakeLate => t.brake_m,
        FaultKind::BrakeSoft | FaultKind::BrakeHard => t.decel_ratio,
        FaultKind::TrailShort | FaultKind::TrailLong => t.trail_m,
        FaultKind::OverSlow | FaultKind::TooFast => t.slowest_mps,
        FaultKind::Wide | FaultKind::Tight | FaultKind::ExitUnused => t.offset_m,
        FaultKind::Coast => t.coast_s,
        FaultKind::ThrottleLate | FaultKind::ThrottleEarly => t.throttle_m,
        FaultKind::SlowToFull => t.full_m,
        // Felt as speed or time, done with the foot for a time.
        FaultKind::LiftAfter => LIFT_S,
        FaultKind::Lift => t.slowest_mps / 3.5,
        FaultKind::Faster => t.better_s * 10.0,
    };
    p.times * f64::from(one)
}

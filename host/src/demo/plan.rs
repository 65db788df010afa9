//! A driver's plan of a lap: what to aim at in each corner, and where to begin, found by driving
//! a practice lap in which every corner is begun as late as its target allows.

use super::car::Car;
use super::circuit::{BendKind, Circuit};
use super::drive::{Drive, Stint, run};
use super::orders::{Action, Feet, Orders};
use super::path::Path;
use super::target::{Curve, Target};
use super::truth::{Instant, Passage};
use cuepost_engine::reference::CornerKind;

/// How a driver likes to drive. Shares are of the grip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Style {
    /// Grip used for turning at the slowest point.
    pub turn_share: f64,
    /// Grip used by the brake in a straight line.
    pub brake_share: f64,
    /// Rolling between brake and throttle, seconds.
    pub roll_s: f64,
    /// Feet.
    pub feet: Feet,
}

impl Style {
    /// A good club driver: near the limit but not on it.
    pub const STEADY: Self = Self {
        turn_share: 0.86,
        brake_share: 0.78,
        roll_s: 0.12,
        feet: Feet {
            off_s: 0.10,
            gap_s: 0.05,
            press_s: 0.18,
            pick_s: 0.20,
            first: 0.65,
            feed_s: 0.8,
            ease: 0.12,
            press_share: 0.92,
        },
    };
}

/// One corner as the driver deals with it: one bend, or several taken on one braking.
#[derive(Clone, Debug, PartialEq)]
pub struct Turn {
    /// From 1, in the order met after the start line.
    pub number: u8,
    /// How it is taken.
    pub kind: CornerKind,
    /// What its bends are; the first one's kind.
    pub bend: BendKind,
    /// Where it begins to own the road, metres from the start line; it owns it until the next
    /// corner's begin.
    pub begin_m: f64,
    /// Where its first bend begins.
    pub turn_m: f64,
    /// The tightest place of its last bend.
    pub apex_m: f64,
    /// Where its last bend ends.
    pub exit_m: f64,
    /// Curvature at the apex, 1/m, left positive.
    pub curvature_pm: f64,
    /// What is aimed at.
    pub target: Target,
    /// Its passage in the practice lap; places are metres from the start line.
    pub practice: Passage,
}

/// The plan of a lap in one car.
#[derive(Clone, Debug)]
pub struct Plan {
    /// The car it is for.
    pub car: Car,
    /// How the driver likes to drive.
    pub style: Style,
    /// The corners.
    pub turns: Vec<Turn>,
    /// The practice lap, from run-up over lap 1 to lap 2.
    pub practice: Drive,
}

/// The practice lap is the second one, when the run-up is forgotten.
const PRACTICE_LAP: u16 = 2;
/// Share of the friction ellipse that a good plan never exceeds.
const PLAN_SHARE: f64 = 0.96;
/// The same where two bends are taken on one braking.
const SHARED_SHARE: f64 = 0.90;
/// A corner begins to own the road this far before the driver lifts, metres.
const BEFORE_M: f64 = 25.0;

impl Plan {
    /// Finds the plan for a car on a circuit.
    pub fn find(circuit: &Circuit, car: &Car, style: Style) -> Self {
        let path = Path::default();
        let drafts = drafts(circuit, car, &style, &path);
        let length = circuit.length_m();
        let orders: Vec<Orders> = (1..=3u16)
            .flat_map(|lap| {
                drafts
                    .iter()
                    .enumerate()
                    .map(move |(i, d)| (lap, i, d.clone()))
            })
            .map(|(lap, i, d)| d.orders(lap, i, f64::from(lap - 1) * length, style.feet))
            .collect();
        let stint = Stint {
            from_m: -100.0,
            from_mps: 30.0,
            to_m: 2.0 * length + 100.0,
        };
        let practice = run(circuit, |_| car, &path, &orders, stint);
        let mut turns: Vec<Turn> = drafts
            .into_iter()
            .enumerate()
            .filter_map(|(i, d)| {
                let passage = practice.passage(PRACTICE_LAP, (i + 1) as u8)?.clone();
                Some(d.turn(passage, length))
            })
            .collect();
        share_road(&mut turns);
        Self {
            car: car.clone(),
            style,
            turns,
            practice,
        }
    }

    /// The practice lap at a progress.
    pub fn practice_at(&self, progress_m: f64) -> Option<Instant> {
        self.practice.at_along(self.practice.length_m + progress_m)
    }

    /// The corner (from 1) whose bend a place lies in, or the nearest one.
    pub fn number_at(&self, circuit: &Circuit, progress_m: f64) -> Option<u8> {
        let away = |t: &Turn| {
            let before = circuit.ahead_m(progress_m, t.turn_m);
            let behind = circuit.ahead_m(t.exit_m, progress_m);
            let from_apex = circuit.ahead_m(t.apex_m, progress_m).abs();
            before.max(behind).max(0.0) + 1e-3 * from_apex
        };
        self.turns
            .iter()
            .min_by(|a, b| away(a).total_cmp(&away(b)))
            .map(|t| t.number)
    }

    /// Where a corner's road ends: the next one's begin, metres from the same start line.
    pub fn road_end_m(&self, circuit: &Circuit, turn: &Turn) -> f64 {
        let next = self.turns.get(usize::from(turn.number));
        let first = self.turns.first().map_or(0.0, |t| t.begin_m);
        next.map_or(circuit.length_m() + first, |t| t.begin_m)
    }

    /// Lap time of the practice lap, seconds.
    pub fn lap_s(&self) -> Option<f64> {
        self.practice.lap_s(PRACTICE_LAP)
    }

    /// Speed on the way to a corner if the driver stayed on the throttle: the practice lap's, run
    /// on beyond the place where the throttle was left.
    pub fn approach_mps(&self, turn: &Turn, progress_m: f64) -> f64 {
        let from = turn.practice.lift.map_or(turn.turn_m, |m| m.along_m) - 12.0;
        let driven = |s: f64| self.practice_at(s).map_or(0.0, |x| x.moment.speed_mps);
        if progress_m <= from {
            return driven(progress_m);
        }
        let (v, before) = (driven(from), driven(from - 20.0));
        let twice_a = (v * v - before * before) / 20.0;
        (v * v + twice_a * (progress_m - from)).max(1.0).sqrt()
    }
}

/// A corner before it has been driven.
#[derive(Clone, Debug)]
struct Draft {
    bend: BendKind,
    turn_m: f64,
    apex_m: f64,
    exit_m: f64,
    curvature_pm: f64,
    target: Target,
    braking: Curve,
    rolling: Curve,
}

impl Draft {
    fn orders(self, lap: u16, corner: usize, base_m: f64, feet: Feet) -> Orders {
        Orders {
            lap,
            corner,
            action: Action::Find,
            target: self.target.moved(base_m),
            braking: self.braking,
            rolling: self.rolling,
            aim_m: self.target.throttle_m + base_m,
            turn_m: self.turn_m + base_m,
            exit_m: self.exit_m + base_m,
            feet,
            hasty: false,
            lift: None,
            fault: None,
        }
    }

    fn turn(self, mut practice: Passage, length_m: f64) -> Turn {
        let places = [
            &mut practice.lift,
            &mut practice.brake,
            &mut practice.release,
            &mut practice.throttle,
            &mut practice.full,
        ];
        for m in places.into_iter().flatten() {
            m.along_m -= length_m;
        }
        practice.slowest.along_m -= length_m;
        practice.exit.along_m -= length_m;
        practice.lap = 1;
        Turn {
            number: practice.corner,
            kind: practice.kind,
            bend: self.bend,
            begin_m: practice.lift.map_or(self.turn_m, |m| m.along_m) - BEFORE_M,
            turn_m: self.turn_m,
            apex_m: self.apex_m,
            exit_m: self.exit_m,
            curvature_pm: self.curvature_pm,
            target: self.target,
            practice,
        }
    }
}

/// A corner may not own road before the bend of the one in front of it has ended.
fn share_road(turns: &mut [Turn]) {
    for i in 1..turns.len() {
        turns[i].begin_m = turns[i].begin_m.max(turns[i - 1].exit_m + 1.0);
    }
}

/// Turns bends into corners: a bend that leads straight into a slower one is taken with it.
fn drafts(circuit: &Circuit, car: &Car, style: &Style, path: &Path) -> Vec<Draft> {
    let mut out: Vec<Draft> = Vec::new();
    for b in circuit.bends.iter().rev() {
        let speed_mps = car.corner_mps(b.curvature_pm, style.turn_share, 200.0);
        let mut target = aim(b.begin_m, b.apex_m, speed_mps, style);
        let mut draft = Draft {
            bend: b.kind,
            turn_m: b.begin_m,
            apex_m: b.apex_m,
            exit_m: b.end_m,
            curvature_pm: b.curvature_pm,
            target,
            braking: Curve::default(),
            rolling: Curve::default(),
        };
        if let Some(next) = out.last() {
            let left = next.target.throttle_m - b.apex_m;
            let close = left < 2.4 * speed_mps && next.turn_m < b.end_m + 40.0;
            let rolled = next.rolling.at(left);
            if close && rolled < speed_mps + 0.5 {
                // No throttle between the two: the brake is eased over both.
                let last = next.target;
                target = aim(b.begin_m, next.apex_m, last.speed_mps, style);
                target.trail_m = b.begin_m;
                target.grip_share = SHARED_SHARE;
                draft.apex_m = next.apex_m;
                draft.exit_m = next.exit_m;
                draft.curvature_pm = next.curvature_pm;
                draft.target = target;
                out.pop();
            }
        }
        draft.braking = Curve::braking(circuit, car, path, &target);
        draft.rolling = Curve::rolling(circuit, car, path, &target);
        out.push(draft);
    }
    out.reverse();
    out
}

/// The usual target of a bend: trail from where it begins, roll, throttle just before the apex.
fn aim(turn_m: f64, apex_m: f64, speed_mps: f64, style: &Style) -> Target {
    let release_m = apex_m - style.roll_s * speed_mps;
    Target {
        turn_m,
        throttle_m: apex_m,
        speed_mps,
        release_m,
        // A long bend is not braked through: half a second to a second of trail.
        trail_m: turn_m
            .max(release_m - 1.1 * speed_mps)
            .min(release_m - 0.35 * speed_mps),
        brake_share: style.brake_share,
        grip_share: PLAN_SHARE,
    }
}

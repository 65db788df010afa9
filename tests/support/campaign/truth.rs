//! What really differed from the reference lap, and which cue belongs to which passage.

use super::{Heard, Outcome, advice};
use cuepost_engine::Told;
use cuepost_engine::judge::{Allowance, Deviations, Verdict, judge};
use cuepost_engine::reference::{Corner, CornerKind};
use cuepost_engine::thresholds::Thresholds;
use cuepost_host::demo::advice::{STEADY, Said, is_right, right, same};
use cuepost_host::demo::campaign::{Case, Planted, Wanted};
use cuepost_host::demo::drive::Drive;
use cuepost_host::demo::fault::FaultKind;
use cuepost_host::demo::known::first_known_s;
use cuepost_host::demo::plan::Turn;
use cuepost_host::demo::truth::{Moment, Passage};
use cuepost_host::learn::Learned;

/// A cue is told no longer before or after the corner it is for.
const SAME_PASSAGE_S: f64 = 30.0;

/// How one passage really differed from the reference lap's, live minus reference.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Deviation {
    /// Brake onset (or lift), metres later.
    pub brake_m: Option<f64>,
    /// Brake release, metres later.
    pub release_m: Option<f64>,
    /// Throttle onset, metres later.
    pub throttle_m: Option<f64>,
    /// Full throttle, metres later.
    pub full_m: Option<f64>,
    /// Mean deceleration from brake onset to release, as a share of the reference's, harder.
    pub decel_ratio: Option<f64>,
    /// From brake release to throttle onset, seconds longer.
    pub coast_s: Option<f64>,
    /// Slowest speed, m/s faster.
    pub slowest_mps: Option<f64>,
    /// Speed at the exit, m/s faster.
    pub exit_mps: f64,
    /// Outward at the slowest point, metres.
    pub slowest_out_m: f64,
    /// Outward at the exit, metres.
    pub exit_out_m: f64,
    /// Time lost in the corner and on the straight after it, seconds.
    pub loss_s: f64,
}

fn deviation(case: &Case, turn: &Turn, p: &Passage, q: &Passage) -> Option<Deviation> {
    let (driven, coach) = (&case.driven, &case.coach);
    let place =
        |a: Option<Moment>, b: Option<Moment>| Some(case.circuit.ahead_m(b?.along_m, a?.along_m));
    let (from, to) = (
        turn.begin_m,
        case.driver.plan.road_end_m(&case.circuit, turn),
    );
    let loss_s = driven.between_s(p.lap, from, to)? - coach.between_s(q.lap, from, to)?;
    let out = -turn.curvature_pm.signum();
    Some(Deviation {
        brake_m: place(p.brake, q.brake).or(place(p.lift, q.lift)),
        release_m: place(p.release, q.release),
        throttle_m: place(p.throttle, q.throttle),
        full_m: place(p.full, q.full),
        decel_ratio: mean_decel(p).zip(mean_decel(q)).map(|(a, b)| a / b - 1.0),
        coast_s: rolled_s(p).zip(rolled_s(q)).map(|(a, b)| a - b),
        slowest_mps: Some(p.slowest.speed_mps - q.slowest.speed_mps),
        exit_mps: p.exit.speed_mps - q.exit.speed_mps,
        slowest_out_m: out * (p.offset_slowest_m - q.offset_slowest_m),
        exit_out_m: out * (p.offset_exit_m - q.offset_exit_m),
        loss_s,
    })
}

/// From brake onset to release, m/s².
fn mean_decel(p: &Passage) -> Option<f64> {
    let (on, off) = (p.brake?, p.release?);
    let road_m = off.along_m - on.along_m;
    let energy = 0.5 * (on.speed_mps * on.speed_mps - off.speed_mps * off.speed_mps);
    (road_m > 1.0 && energy > 0.0).then(|| energy / road_m)
}

/// From brake release to throttle onset.
fn rolled_s(p: &Passage) -> Option<f64> {
    Some(p.throttle?.time_s - p.release?.time_s)
}

/// Every passage of the driver's laps with what was told of it.
pub fn outcomes(
    case: &Case,
    wanted: &Wanted,
    learned: &Learned,
    chosen: u16,
    heard: &Heard,
) -> Vec<Outcome> {
    let turns = &case.driver.plan.turns;
    let mut out: Vec<Outcome> = Vec::new();
    for p in &case.driven.passages {
        let Some(turn) = turns.get(usize::from(p.corner) - 1) else {
            continue;
        };
        let reference = case.coach.passage(chosen, p.corner);
        let Some(truth) = reference.and_then(|q| deviation(case, turn, p, q)) else {
            continue;
        };
        if p.lap == 0 || p.lap > case.driven.laps() {
            continue;
        }
        let planted = case
            .planted
            .iter()
            .find(|x| x.lap == p.lap && x.corner == p.corner);
        out.push(Outcome {
            seed: case.seed,
            passage: p.clone(),
            planted: planted.copied(),
            truth,
            seen: None,
            verdict: None,
            told: Vec::new(),
            paced: case.paced == Some(p.lap),
            after_fault: case.planted.iter().any(|x| follows(case, x, p)),
            pace_told: heard.paces.iter().any(|x| x.lap == p.lap),
            kind: kind_learned(case, turn, learned),
            on_the_road_of: on_the_road_of(case, turn, learned),
            alone: true,
            delay_s: None,
            told_while_faster: false,
        });
    }
    judge_facts(case, wanted, learned, heard, &mut out);
    for cue in &heard.cues {
        let corner = learned.reference.corners.get(usize::from(cue.corner) - 1);
        let Some(number) =
            corner.and_then(|c| case.driver.plan.number_at(&case.circuit, c.apex_m.into()))
        else {
            continue;
        };
        let at_s = cue.time_us as f64 * 1e-6;
        let nearest = out
            .iter_mut()
            .filter(|o| o.passage.corner == number)
            .filter(|o| (o.passage.exit.time_s - at_s).abs() < SAME_PASSAGE_S)
            .min_by(|a, b| {
                let away = |o: &Outcome| (o.passage.exit.time_s - at_s).abs();
                away(a).total_cmp(&away(b))
            });
        if let Some(o) = nearest {
            let said = (cue.phase, cue.advice);
            if cue.told == Told::Ahead && (o.passage.exit.time_s < at_s || !o.is_right(said)) {
                continue;
            }
            if cue.told == Told::Now {
                judge_now(case, wanted, chosen, o, at_s);
            }
            o.told.push(*cue);
        }
    }
    hand_over(&mut out);
    out
}

/// What kind of corner a bend is in the reference; the plan's, when it has none there.
fn kind_learned(case: &Case, turn: &Turn, learned: &Learned) -> CornerKind {
    let corners = &learned.reference.corners;
    let number = |c: &Corner| case.driver.plan.number_at(&case.circuit, c.apex_m.into());
    let own = corners.iter().find(|c| number(c) == Some(turn.number));
    own.map_or(turn.kind, |c| c.kind)
}

/// The corner on whose road a bend lies that is none of its own in the reference: what is lost
/// there belongs to the corner before. `None` for a bend that the reference has.
fn on_the_road_of(case: &Case, turn: &Turn, learned: &Learned) -> Option<u8> {
    let number = |apex_m: f32| case.driver.plan.number_at(&case.circuit, apex_m.into());
    let corners = &learned.reference.corners;
    if corners
        .iter()
        .any(|c| number(c.apex_m) == Some(turn.number))
    {
        return None;
    }
    let length_m = case.circuit.length_m();
    let behind_m = |c: &&Corner| (turn.turn_m - f64::from(c.begin_m)).rem_euclid(length_m);
    let before = corners
        .iter()
        .min_by(|a, b| behind_m(a).total_cmp(&behind_m(b)))?;
    number(before.apex_m)
}

/// What was told of a corner goes to the fault on its road, where the corner itself was clean.
fn hand_over(out: &mut [Outcome]) {
    for i in 0..out.len() {
        let Some(o) = out.get(i).filter(|o| o.planted.is_some()) else {
            continue;
        };
        let Some(number) = o.on_the_road_of else {
            continue;
        };
        // The road of the last corner reaches into the next lap.
        let lap = o.passage.lap - u16::from(number > o.passage.corner);
        let owner = |o: &&mut Outcome| o.passage.lap == lap && o.passage.corner == number;
        let Some(before) = out.iter_mut().find(owner).filter(|o| o.planted.is_none()) else {
            // Of two faults on one road only one is told, and of one before the first lap none.
            for o in out.iter_mut() {
                let here = o.passage.lap == lap && o.passage.corner == number;
                o.alone &= !here;
            }
            if let Some(o) = out.get_mut(i) {
                o.alone = false;
            }
            continue;
        };
        before.after_fault = true;
        let (told, seen, verdict) = (
            core::mem::take(&mut before.told),
            before.seen.take(),
            before.verdict.take(),
        );
        if let Some(o) = out.get_mut(i) {
            (o.told, o.seen, o.verdict) = (told, seen, verdict);
        }
    }
}

/// What the judge makes of each corner's facts. Of a plan's corner that the reference has as two,
/// the verdict with the larger loss counts.
fn judge_facts(
    case: &Case,
    wanted: &Wanted,
    learned: &Learned,
    heard: &Heard,
    out: &mut [Outcome],
) {
    let reference = learned.reference.view();
    for facts in &heard.facts {
        let Some(corner) = reference.corners.get(usize::from(facts.corner) - 1) else {
            continue;
        };
        let Some(number) = case
            .driver
            .plan
            .number_at(&case.circuit, corner.apex_m.into())
        else {
            continue;
        };
        let same = |o: &&mut Outcome| o.passage.lap == facts.lap && o.passage.corner == number;
        let Some(o) = out.iter_mut().find(same) else {
            continue;
        };
        let limit = &wanted.thresholds;
        let verdict = judge(&reference, corner, facts, limit, Allowance::default());
        let size = |v: &Option<Verdict>| v.map_or(0.0, |v| v.loss_s.abs());
        if o.seen.is_none() || size(&verdict) > size(&o.verdict) {
            o.verdict = verdict;
            o.seen = Some(Deviations::of(&reference, corner, facts, limit));
        }
    }
}

/// Whether a passage comes right after a planted fault: it is entered differently for it.
fn follows(case: &Case, planted: &Planted, p: &Passage) -> bool {
    let corners = case.driver.plan.turns.len() as u32;
    let index = |lap: u16, corner: u8| u32::from(lap) * corners + u32::from(corner);
    index(planted.lap, planted.corner) + 1 == index(p.lap, p.corner)
}

/// How long after it could be known an overdue throttle was told, and whether the car was slower
/// than the reference there.
fn judge_now(case: &Case, wanted: &Wanted, chosen: u16, o: &mut Outcome, at_s: f64) {
    let base = |d: &Drive, lap: u16| (f64::from(lap) - 1.0) * d.length_m;
    let Some(good) = case.coach.passage(chosen, o.passage.corner) else {
        return;
    };
    let late = FaultKind::ThrottleLate.of(0.0);
    let known = first_known_s(&case.driven, &o.passage, good, late, &wanted.thresholds);
    o.delay_s = known.map(|known_s| at_s - known_s);
    if let Some(now) = case.driven.at_time(at_s) {
        let there = now.moment.along_m - base(&case.driven, o.passage.lap);
        let then = case.coach.at_along(base(&case.coach, chosen) + there);
        let faster = then.is_some_and(|x| now.moment.speed_mps > x.moment.speed_mps + 0.1);
        o.told_while_faster = faster;
    }
}

impl Outcome {
    /// The size of what was planted as it came out on the road, as a multiple of the threshold.
    pub fn times(&self, t: &Thresholds) -> f64 {
        let Some(p) = self.planted else { return 0.0 };
        let d = &self.truth;
        let share = |x: Option<f64>, one: f32| x.map_or(p.times, |x| x.abs() / f64::from(one));
        match p.kind {
            FaultKind::BrakeEarly | FaultKind::BrakeLate => share(d.brake_m, t.brake_m),
            FaultKind::TrailShort | FaultKind::TrailLong => share(d.release_m, t.trail_m),
            FaultKind::Lift if self.passage.kind == CornerKind::Flat => p.times,
            FaultKind::OverSlow | FaultKind::TooFast | FaultKind::Lift => {
                share(d.slowest_mps, t.slowest_mps)
            }
            FaultKind::Wide | FaultKind::Tight => share(Some(d.slowest_out_m), t.offset_m),
            FaultKind::ExitUnused => share(Some(d.exit_out_m), t.offset_m),
            FaultKind::ThrottleLate | FaultKind::ThrottleEarly => share(d.throttle_m, t.throttle_m),
            FaultKind::SlowToFull => share(d.full_m, t.full_m),
            FaultKind::Faster => share(Some(d.loss_s), t.better_s),
            FaultKind::BrakeSoft | FaultKind::BrakeHard => share(d.decel_ratio, t.decel_ratio),
            FaultKind::Coast => share(d.coast_s, t.coast_s),
            FaultKind::LiftAfter => p.times,
        }
    }

    /// Whether the verdict is what a coach would say first.
    pub fn best(&self) -> bool {
        let best = self.planted.map(|p| right(p.kind)[0]);
        matches!((best, self.verdict), (Some(b), Some(v)) if same((v.phase, v.advice), b))
    }

    /// Whether the verdict is one of the things a coach would say.
    pub fn right(&self) -> bool {
        self.verdict
            .is_some_and(|v| self.is_right((v.phase, v.advice)))
    }

    /// Whether something was told, and nothing but what a coach would say.
    pub fn told_right(&self) -> bool {
        !self.told.is_empty() && self.told.iter().all(|c| self.is_right((c.phase, c.advice)))
    }

    fn is_right(&self, said: Said) -> bool {
        let lifted_on_the_way = self.on_the_road_of.is_some() && said == STEADY;
        self.planted
            .is_some_and(|p| lifted_on_the_way || is_right(p.kind, self.kind, said))
    }

    /// Whether a cue without a planted fault is not borne out by what really happened.
    pub fn false_cue(&self, wanted: &Wanted) -> bool {
        self.planted.is_none()
            && self
                .told
                .iter()
                .any(|c| !advice::supported((c.phase, c.advice), &self.truth, &wanted.thresholds))
    }

    /// Whether silence would be a miss: it cost more than the least loss worth telling, or gained
    /// more than the least gain, with a margin for the noise of a receiver; and the car stayed on
    /// the road.
    pub fn worth_telling(&self, wanted: &Wanted) -> bool {
        let t = &wanted.thresholds;
        let praise = self.planted.is_some_and(|p| p.kind == FaultKind::Faster);
        let enough = if praise {
            -self.truth.loss_s > 1.3 * f64::from(t.better_s)
        } else {
            self.truth.loss_s > 1.3 * f64::from(t.loss_s)
        };
        enough && self.alone && self.on_road()
    }

    /// Whether the car stayed within what a road is wide.
    pub fn on_road(&self) -> bool {
        self.passage.widest_m < 6.0
    }
}

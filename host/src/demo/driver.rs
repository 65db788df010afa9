//! A driver: a plan, a human's scatter around it, and what he is told to do wrong.

use super::car::Car;
use super::circuit::Circuit;
use super::drive::{Drive, Stint, run};
use super::fault::Fault;
use super::orders::{Action, Orders};
use super::path::{Bump, Knot, Path};
use super::plan::{Plan, Style, Turn};
use super::plant::{Ground, Intent};
use super::target::Curve;
use cuepost_engine::reference::CornerKind;
use rand::{Rng, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;

/// How far a driver's passages lie apart: one standard deviation each.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scatter {
    /// Brake onset (or lift), metres.
    pub brake_m: f64,
    /// Strength of braking, as a share of it.
    pub share: f64,
    /// Speed aimed at in the slowest point, m/s.
    pub speed_mps: f64,
    /// Throttle onset, metres.
    pub throttle_m: f64,
    /// Line in the middle, metres; twice as much at the exit.
    pub line_m: f64,
    /// Speed of the feet, as a share of it.
    pub feet: f64,
}

impl Scatter {
    /// The same every lap.
    pub const NONE: Self = Self {
        brake_m: 0.0,
        share: 0.0,
        speed_mps: 0.0,
        throttle_m: 0.0,
        line_m: 0.0,
        feet: 0.0,
    };
    /// A professional on a good day. Common practice, no source: brake point 1 m to 3 m.
    pub const COACH: Self = Self {
        brake_m: 1.0,
        share: 0.008,
        speed_mps: 0.12,
        throttle_m: 0.8,
        line_m: 0.12,
        feet: 0.05,
    };
    /// A good amateur. Common practice, no source: brake point 2 m to 5 m.
    pub const CLUB: Self = Self {
        brake_m: 2.0,
        share: 0.015,
        speed_mps: 0.25,
        throttle_m: 1.5,
        line_m: 0.25,
        feet: 0.10,
    };
}

/// One lap to be driven.
#[derive(Clone, Debug, PartialEq)]
pub struct LapPlan {
    /// Corner (from 1) and what to do wrong in it; at most one a corner, the last one counts. What
    /// cannot be done there ([`super::fault::FaultKind::fits`]) is left out.
    pub faults: Vec<(u8, Fault)>,
    /// Grip and power over the usual; 1 when nothing is wrong with the car.
    pub pace: f64,
}

impl LapPlan {
    /// A lap without faults.
    pub const fn clean() -> Self {
        Self {
            faults: Vec::new(),
            pace: 1.0,
        }
    }

    /// A lap with these faults.
    pub fn with(faults: &[(u8, Fault)]) -> Self {
        Self {
            faults: faults.to_vec(),
            ..Self::clean()
        }
    }

    /// A lap in which the whole car is slower or faster.
    pub fn at_pace(pace: f64) -> Self {
        Self {
            pace,
            ..Self::clean()
        }
    }
}

/// A driver who knows a circuit and a car.
#[derive(Clone, Debug)]
pub struct Driver {
    /// What he means to do.
    pub plan: Plan,
    /// How well he does it.
    pub scatter: Scatter,
}

/// The run-up before the first crossing is at most this long, metres.
const RUN_UP_M: f64 = 320.0;
/// The drive goes on this far behind the last crossing, metres.
const RUN_OUT_M: f64 = 160.0;

impl Driver {
    /// A driver with a style who has practised on the circuit.
    pub fn practised(circuit: &Circuit, car: &Car, style: Style, scatter: Scatter) -> Self {
        Self {
            plan: Plan::find(circuit, car, style),
            scatter,
        }
    }

    /// Drives the laps one after the other, from a flying run-up. The same seed, the same drive.
    pub fn drive(&self, circuit: &Circuit, laps: &[LapPlan], seed: u64) -> Drive {
        let mut rng = Pcg64::seed_from_u64(seed);
        let paced: Vec<Option<Plan>> = laps
            .iter()
            .map(|l| {
                (l.pace != 1.0)
                    .then(|| Plan::find(circuit, &self.plan.car.with_pace(l.pace), self.plan.style))
            })
            .collect();
        let plan_of = |lap: u16| {
            usize::from(lap)
                .checked_sub(1)
                .and_then(|i| paced.get(i)?.as_ref())
                .unwrap_or(&self.plan)
        };
        let length = circuit.length_m();
        let (mut orders, mut knots, mut bumps) = (Vec::new(), Vec::new(), Vec::new());
        let after = LapPlan::clean();
        for lap in 1..=laps.len() as u16 + 1 {
            let planned = laps.get(usize::from(lap) - 1).unwrap_or(&after);
            let base_m = f64::from(lap - 1) * length;
            let plan = plan_of(lap);
            for (i, turn) in plan.turns.iter().enumerate() {
                if base_m + turn.begin_m > laps.len() as f64 * length + RUN_OUT_M {
                    break;
                }
                let next = plan.turns.get(i + 1);
                let g = Ground {
                    circuit,
                    plan,
                    turn,
                    next_turn_m: next.map_or(length + plan.turns[0].turn_m, |t| t.turn_m),
                };
                let fault = planned
                    .faults
                    .iter()
                    .rfind(|(c, f)| *c == turn.number && f.kind.fits(turn.kind))
                    .map(|f| f.1);
                let (o, b) = self.orders(&g, lap, base_m, fault, &mut rng);
                orders.push(o);
                bumps.extend(b);
                knots.extend(self.line(turn, g.next_turn_m, base_m, &mut rng));
            }
        }
        let from_m = -RUN_UP_M.min(0.8 * self.last_straight_m(length));
        let from = self.plan.practice_at(length + from_m);
        let stint = Stint {
            from_m,
            from_mps: from.map_or(30.0, |i| i.moment.speed_mps),
            to_m: laps.len() as f64 * length + RUN_OUT_M,
        };
        let path = Path::new(knots, bumps);
        run(circuit, |lap| &plan_of(lap).car, &path, &orders, stint)
    }

    /// Road from full throttle out of the last corner to the start line, metres.
    fn last_straight_m(&self, length_m: f64) -> f64 {
        let last = self.plan.turns.last();
        let from = last
            .and_then(|t| t.practice.full)
            .map_or(0.0, |m| m.along_m);
        length_m - from
    }

    fn orders(
        &self,
        g: &Ground<'_>,
        lap: u16,
        base_m: f64,
        fault: Option<Fault>,
        rng: &mut Pcg64,
    ) -> (Orders, Option<Bump>) {
        let mut intent = Intent::usual(g.plan, g.turn);
        if let Some(fault) = fault {
            intent.plant(fault, g);
        }
        self.scatter_into(&mut intent, rng);
        let braking = match g.turn.kind {
            CornerKind::Braked => intent.braking(g),
            _ => Curve::default(),
        };
        let place = intent.onset_m + base_m;
        let bump = intent.bump.map(|b| Bump {
            from_m: b.from_m + base_m,
            whole_m: b.whole_m + base_m,
            until_m: b.until_m + base_m,
            to_m: b.to_m + base_m,
            ..b
        });
        let mut target = intent.target.moved(base_m);
        target.throttle_m = intent.throttle_m + base_m;
        let orders = Orders {
            lap,
            corner: usize::from(g.turn.number) - 1,
            action: match g.turn.kind {
                CornerKind::Braked => Action::Brake(place),
                CornerKind::Lifted => Action::Lift(place),
                CornerKind::Flat => Action::Flat,
            },
            target,
            braking,
            rolling: Curve::default(),
            aim_m: intent.aim_m + base_m,
            turn_m: g.turn.turn_m + base_m,
            exit_m: g.turn.exit_m + base_m,
            feet: intent.feet,
            hasty: intent.hasty,
            lift: intent.lift.map(|mut l| {
                l.at_m += base_m;
                l
            }),
            fault,
        };
        (orders, bump)
    }

    /// What a human does differently from one lap to the next.
    fn scatter_into(&self, i: &mut Intent, rng: &mut Pcg64) {
        let s = &self.scatter;
        i.onset_m += s.brake_m * normal(rng);
        i.target.brake_share *= 1.0 + s.share * normal(rng);
        i.target.speed_mps += s.speed_mps * normal(rng);
        let throttle = s.throttle_m * normal(rng);
        i.throttle_m += throttle;
        let mut quick = |x: &mut f64| *x *= (1.0 + s.feet * normal(rng)).clamp(0.6, 1.5);
        quick(&mut i.feet.off_s);
        quick(&mut i.feet.press_s);
        quick(&mut i.feet.pick_s);
        quick(&mut i.feet.feed_s);
    }

    /// Where a human passes the middle and the exit this time.
    fn line(&self, turn: &Turn, next_turn_m: f64, base_m: f64, rng: &mut Pcg64) -> Vec<Knot> {
        let middle = self.scatter.line_m * normal(rng);
        let exit = 2.0 * self.scatter.line_m * normal(rng);
        let mut knots = vec![(base_m + turn.apex_m, middle)];
        let exit_m = turn.exit_m.max(turn.apex_m + 60.0);
        if next_turn_m - exit_m > 40.0 {
            knots.push((base_m + exit_m, exit));
        }
        knots
    }
}

/// A standard normal number.
fn normal(rng: &mut impl Rng) -> f64 {
    StandardNormal.sample(rng)
}

//! From a fault to what the driver means to do differently. The car does the rest.

use super::car::Car;
use super::circuit::Circuit;
use super::fault::{Fault, FaultKind};
use super::orders::{Feet, LiftOff};
use super::path::{Bump, Path};
use super::plan::{Plan, Turn};
use super::target::{Curve, Target};
use cuepost_engine::reference::CornerKind;

/// A driver who is too late on the brake ends up at most about this far too deep, metres: more
/// than that is a missed corner.
const TOO_DEEP_M: f64 = 6.0;

/// What the driver means to do in one passage; places are metres from the start line of its lap.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Intent {
    /// Brake onset, or the lift of a lifted corner.
    pub onset_m: f64,
    /// Where to aim; speeds on the way come from it.
    pub target: Target,
    /// Where the curve of speeds ends.
    pub aim_m: f64,
    /// Where the throttle is really taken, when not at the target.
    pub throttle_m: f64,
    /// Feet.
    pub feet: Feet,
    /// Takes the throttle without regard to the grip.
    pub hasty: bool,
    /// A lift on the throttle.
    pub lift: Option<LiftOff>,
    /// A line that is not the usual one.
    pub bump: Option<Bump>,
}

/// What a fault is planted into.
pub(super) struct Ground<'a> {
    pub circuit: &'a Circuit,
    pub plan: &'a Plan,
    pub turn: &'a Turn,
    /// Where the next corner's bend begins, metres from this lap's start line.
    pub next_turn_m: f64,
}

impl Intent {
    /// The usual: what the plan found in practice.
    pub fn usual(plan: &Plan, turn: &Turn) -> Self {
        let p = &turn.practice;
        let onset_m = match turn.kind {
            CornerKind::Braked => p.brake.map_or(turn.turn_m, |m| m.along_m),
            CornerKind::Lifted => p.lift.map_or(turn.turn_m, |m| m.along_m),
            CornerKind::Flat => turn.turn_m,
        };
        Self {
            onset_m,
            target: turn.target,
            aim_m: turn.target.throttle_m,
            throttle_m: turn.target.throttle_m,
            feet: plan.style.feet,
            hasty: false,
            lift: None,
            bump: None,
        }
    }

    /// The path meant, for planning speeds on it.
    pub fn path(&self) -> Path {
        Path::new(Vec::new(), self.bump.into_iter().collect())
    }

    /// Speeds on the brake towards the target.
    pub fn braking(&self, g: &Ground<'_>) -> Curve {
        let aimed = Target {
            throttle_m: self.aim_m,
            ..self.target
        };
        Curve::braking(g.circuit, &g.plan.car, &self.path(), &aimed)
    }

    /// Changes the intent as the fault says.
    pub fn plant(&mut self, fault: Fault, g: &Ground<'_>) {
        let x = fault.size;
        let v = self.target.speed_mps;
        match fault.kind {
            FaultKind::BrakeEarly => {
                self.onset_m -= x;
                self.feet.ease = 0.03;
            }
            FaultKind::BrakeLate => {
                // Half of it, and all but the last metres of a lot, is made up by pressing harder.
                let made_up = (0.5 * x).max(x - TOO_DEEP_M);
                let road = (self.target.release_m - self.onset_m).max(20.0);
                let harder = self.target.brake_share * (1.0 + made_up / road);
                self.feet.press_share = harder.min(0.95);
                self.onset_m += x;
            }
            FaultKind::BrakeSoft => {
                self.target.brake_share *= 1.0 - x;
                self.feet.press_share = self.target.brake_share + 0.02;
                self.onset_m = self.needed_onset_m(g);
            }
            FaultKind::BrakeHard => {
                self.target.brake_share = (self.target.brake_share * (1.0 + x)).min(0.95);
                self.feet.ease = 0.02;
            }
            FaultKind::TrailShort => {
                // No more of the trail can be left out than there is.
                let trail = self.target.release_m - self.target.trail_m;
                self.target.release_m -= x.min(0.8 * trail);
                self.keep_onset(g);
            }
            FaultKind::TrailLong => self.trail_long(x, g),
            FaultKind::OverSlow => {
                self.target.speed_mps = (v - x).max(0.5 * v);
                self.keep_onset(g);
            }
            FaultKind::TooFast => {
                self.target.speed_mps = v + x;
                self.target.grip_share = 1.4;
                self.keep_onset(g);
            }
            FaultKind::Wide => self.off_line(-x, g),
            FaultKind::Tight => self.off_line(x, g),
            FaultKind::Coast => {
                self.target.release_m -= x * v;
                self.target.trail_m -= x * v;
                self.onset_m = self.needed_onset_m(g);
            }
            FaultKind::ThrottleLate => self.throttle_m += x,
            FaultKind::ThrottleEarly => self.throttle_early(x, g),
            FaultKind::LiftAfter => {
                let on = g
                    .turn
                    .practice
                    .throttle
                    .map_or(g.turn.apex_m, |m| m.along_m);
                self.lift = Some(LiftOff {
                    at_m: on + 1.1 * v,
                    for_s: x,
                });
            }
            FaultKind::SlowToFull => self.slow_to_full(x, g),
            FaultKind::ExitUnused => self.exit_unused(x, g),
            FaultKind::Lift => self.lift_longer(x, g),
            FaultKind::Faster => {
                let most = g.plan.car.corner_mps(g.turn.curvature_pm, 0.97, 200.0);
                self.target.speed_mps = (v + x).min(most);
                self.target.grip_share = 0.99;
                self.target.brake_share = (self.target.brake_share + 0.10).min(0.92);
                if g.turn.kind == CornerKind::Braked {
                    self.onset_m = self.needed_onset_m(g);
                }
            }
        }
    }

    /// Brakes past the apex, takes the throttle only then.
    fn trail_long(&mut self, x: f64, g: &Ground<'_>) {
        let v = self.target.speed_mps;
        self.target.release_m += x;
        self.throttle_m = self.throttle_m.max(self.target.release_m + 0.15 * v);
        let beyond = self.throttle_m - self.aim_m;
        self.aim_m = self.throttle_m;
        // The apex itself is passed at the usual speed: what is lost is lost behind it.
        self.target.speed_mps = (v * v - 2.0 * 2.5 * beyond).max(0.75 * v * v).sqrt();
        self.keep_onset(g);
    }

    /// Passes the middle to the inside (positive) or outside, at the speed that line allows.
    fn off_line(&mut self, inside_m: f64, g: &Ground<'_>) {
        let t = g.turn;
        let half = (0.5 * (t.exit_m - t.turn_m) + 30.0).max(55.0);
        // Who turns in too soon is inside before the apex and has to turn more behind it.
        let middle = t.apex_m - if inside_m > 0.0 { 0.2 * half } else { 0.0 };
        self.bump = Some(Bump {
            from_m: middle - half,
            whole_m: middle,
            until_m: middle,
            to_m: (middle + half).min(g.next_turn_m.max(t.exit_m + 10.0)),
            left_m: inside_m * t.curvature_pm.signum(),
        });
        let path = self.path();
        let tightest = (-20..=40)
            .map(|i| path.curvature_pm(g.circuit, t.apex_m + f64::from(i)).abs())
            .fold(0.0, f64::max);
        let allowed = g
            .plan
            .car
            .corner_mps(tightest, g.plan.style.turn_share, 200.0);
        self.target.speed_mps = self.target.speed_mps.min(allowed);
        if t.kind == CornerKind::Braked {
            self.keep_onset(g);
        }
    }

    /// On the throttle before the apex, at a speed that was not meant for it.
    fn throttle_early(&mut self, x: f64, g: &Ground<'_>) {
        let v = self.target.speed_mps;
        let usual = self.braking(g).at(x);
        self.throttle_m -= x;
        self.aim_m = self.throttle_m;
        self.target.speed_mps = v + 0.4 * (usual.min(2.0 * v) - v);
        self.target.release_m = self.target.release_m.min(self.throttle_m - 0.1 * v);
        self.hasty = true;
        if g.turn.kind == CornerKind::Braked {
            self.keep_onset(g);
        }
    }

    /// Full throttle is reached `x` metres later than usual.
    fn slow_to_full(&mut self, x: f64, g: &Ground<'_>) {
        let p = &g.turn.practice;
        let (Some(on), Some(full)) = (p.throttle, p.full) else {
            return;
        };
        let usual_s = full.time_s - on.time_s + self.feet.pick_s / 2.0;
        let v = full.speed_mps;
        let gain = ((v - on.speed_mps) / (full.time_s - on.time_s).max(0.1)).max(0.1);
        let longer_s = usual_s + ((v * v + 2.0 * gain * x).sqrt() - v) / gain;
        self.feet.feed_s = (longer_s - self.feet.pick_s).max(0.2) / (1.0 - self.feet.first);
    }

    /// Stays inside at the end of the bend instead of letting the car run to the edge.
    fn exit_unused(&mut self, x: f64, g: &Ground<'_>) {
        let t = g.turn;
        let whole_m = t.exit_m.max(t.apex_m + 40.0);
        let room = (g.next_turn_m - whole_m).max(60.0);
        self.bump = Some(Bump {
            from_m: t.apex_m,
            whole_m,
            until_m: whole_m + 0.1 * room,
            to_m: whole_m + room.min(220.0),
            left_m: x * t.curvature_pm.signum(),
        });
    }

    /// Off the throttle for longer than the corner needs.
    fn lift_longer(&mut self, x: f64, g: &Ground<'_>) {
        let t = g.turn;
        let at = g
            .plan
            .practice_at(t.apex_m)
            .map_or(50.0, |i| i.moment.speed_mps);
        match t.kind {
            CornerKind::Flat => {
                self.lift = Some(LiftOff {
                    at_m: t.turn_m - 10.0,
                    for_s: x,
                });
            }
            CornerKind::Lifted | CornerKind::Braked => self.onset_m -= x * at,
        }
    }

    /// Seconds from leaving the throttle to the middle of the brake's ramp.
    fn lead_s(&self, car: &Car) -> f64 {
        self.feet.off_s + self.feet.gap_s + self.feet.press_s / 2.0 + car.brake_lag_s
    }

    /// The brake onset from which the target is just reached.
    fn needed_onset_m(&self, g: &Ground<'_>) -> f64 {
        Approach::new(g, self.aim_m).onset_m(&self.braking(g), self.lead_s(&g.plan.car))
    }

    /// Reaches the target from the onset it has, by easing the brake sooner or later and, when
    /// that is not enough, by its strength; when that is not enough either, the onset moves.
    fn keep_onset(&mut self, g: &Ground<'_>) {
        let approach = Approach::new(g, self.aim_m);
        let lead_s = self.lead_s(&g.plan.car);
        let wanted = self.onset_m;
        let mut tried = self.clone();
        let release = self.target.release_m;
        let reached = bisect(release - 90.0, release - 3.0, |trail_m| {
            tried.target.trail_m = trail_m;
            approach.onset_m(&tried.braking(g), lead_s) < wanted
        });
        self.target.trail_m = reached;
        if approach.onset_m(&self.braking(g), lead_s) < wanted - 0.5 {
            let share = self.target.brake_share;
            tried = self.clone();
            self.target.brake_share = bisect(share, 0.94, |s| {
                tried.target.brake_share = s;
                approach.onset_m(&tried.braking(g), lead_s) < wanted
            });
            self.feet.press_share = self.feet.press_share.max(self.target.brake_share);
        }
        self.onset_m = approach.onset_m(&self.braking(g), lead_s).min(wanted);
    }
}

/// The least value of a range for which `short` no longer holds (or its end).
fn bisect(mut low: f64, mut high: f64, mut short: impl FnMut(f64) -> bool) -> f64 {
    for _ in 0..18 {
        let mid = 0.5 * (low + high);
        if short(mid) {
            low = mid;
        } else {
            high = mid;
        }
    }
    high
}

/// Speed against the way left to a target, if the driver stayed on the throttle.
struct Approach {
    aim_m: f64,
    speeds_mps: Vec<f64>,
}

impl Approach {
    fn new(g: &Ground<'_>, aim_m: f64) -> Self {
        let speeds_mps = (0..500)
            .map(|i| g.plan.approach_mps(g.turn, aim_m - f64::from(i)))
            .collect();
        Self { aim_m, speeds_mps }
    }

    /// Where a curve calls for the brake: the middle of its ramp.
    fn onset_m(&self, curve: &Curve, lead_s: f64) -> f64 {
        let mut before: Option<(f64, f64)> = None;
        for (i, &v) in self.speeds_mps.iter().enumerate() {
            let onset_left = i as f64 - v * lead_s;
            if onset_left < 0.0 {
                continue;
            }
            let over = v - curve.at(onset_left);
            if over <= 0.0 {
                let left = before.map_or(onset_left, |(left, o)| {
                    left + (onset_left - left) * o / (o - over)
                });
                return self.aim_m - left;
            }
            before = Some((onset_left, over));
        }
        self.aim_m - before.map_or(0.0, |b| b.0)
    }
}

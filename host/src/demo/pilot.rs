//! Hands and feet: from orders and the state of the car to pedals and steering, step by step.

use super::car::{Car, Controls, GEARS, Motion};
use super::circuit::Circuit;
use super::orders::{Action, Feet, Orders};
use super::path::{Path, curvature_of};
use super::truth::{Moment, Passage};
use cuepost_engine::reference::CornerKind;

/// Share of the grip up to which the driver feeds the throttle in.
const DRIVE_SHARE: f64 = 0.95;
/// Share of the grip needed for turning above which the throttle is not taken up.
const PICK_SHARE: f64 = 0.95;
/// Brake share for each metre per second too fast or slow.
const BRAKE_GAIN: f64 = 0.10;
/// Seconds from the brake to none when slow enough sooner than planned.
const EASE_S: f64 = 0.25;
/// How far ahead the driver looks at the bend when feeding the throttle in, seconds.
const LOOK_S: f64 = 0.35;

/// What the feet are doing.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Foot {
    /// On the throttle since a moment; the first level to go to at once.
    Drive { since_s: f64, first: f64 },
    /// Coming off the throttle, then to the brake or to neither.
    Off { since_s: f64, brake: bool },
    /// On the brake.
    Press { since_s: f64 },
    /// Coming off the brake before its place, being slow enough.
    Ease { since_s: f64, from: f64 },
    /// On neither.
    Roll,
    /// Off the throttle again until a moment, or until the grip is back.
    Lift { until_s: f64 },
}

/// The driver at work.
#[derive(Clone, Debug)]
pub(super) struct Pilot<'a> {
    circuit: &'a Circuit,
    path: &'a Path,
    orders: &'a [Orders],
    foot: Foot,
    /// The next orders not yet begun.
    next: usize,
    /// The orders whose feet and lifts hold now.
    active: Option<usize>,
    brake: f64,
    throttle: f64,
    /// Brake share at the greatest in this braking, to know the release by.
    most: f64,
    gear: usize,
    shift_until_s: f64,
    lift_done: bool,
    /// Events of a half-done ramp, to be dated when their moment comes.
    due: Vec<(f64, usize, Due)>,
    pub(super) passages: Vec<Passage>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Due {
    Lift,
    Brake,
    Throttle,
}

impl<'a> Pilot<'a> {
    pub(super) fn new(circuit: &'a Circuit, path: &'a Path, orders: &'a [Orders]) -> Self {
        let passages = orders.iter().map(Orders::unwritten).collect();
        Self {
            circuit,
            path,
            orders,
            foot: Foot::Drive {
                since_s: -10.0,
                first: 1.0,
            },
            next: 0,
            active: None,
            brake: 0.0,
            throttle: 1.0,
            most: 0.0,
            gear: 1,
            shift_until_s: 0.0,
            lift_done: false,
            due: Vec::new(),
            passages,
        }
    }

    /// Decides what to ask of the car for the next step.
    pub(super) fn act(&mut self, car: &Car, m: &Motion, t: f64, dt: f64) -> Controls {
        let now = Moment {
            time_s: t,
            along_m: m.progress_m,
            speed_mps: m.speed_mps,
        };
        let curvature_pm = self.steer(car, m);
        let need = car.mass_kg * m.speed_mps * m.speed_mps * curvature_pm.abs()
            / car.grip_lat_n(m.speed_mps);
        self.settle_due(&now);
        self.begin_orders(car, &now);
        self.move_feet(car, &now, need, dt);
        self.note(&now, m, dt, need);
        self.shift(car, &now);
        Controls {
            brake: self.brake,
            throttle: self.throttle,
            curvature_pm,
            shifting: t < self.shift_until_s,
        }
    }

    /// Steers for the meant path, with what is needed to come back to it.
    fn steer(&self, car: &Car, m: &Motion) -> f64 {
        let here = self.path.at(m.progress_m);
        let ahead_m = m.progress_m + m.speed_mps * car.steer_lag_s;
        let meant = curvature_of(&self.path.at(ahead_m), self.circuit.curvature_pm(ahead_m));
        let reach = (0.5 * m.speed_mps).max(8.0);
        meant
            - (m.offset_m - here.offset_m) / (reach * reach)
            - 1.6 * (m.aslant_rad - here.slope) / reach
    }

    fn feet(&self) -> Feet {
        let i = self.active.unwrap_or(0);
        self.orders[i].feet
    }

    fn settle_due(&mut self, now: &Moment) {
        let passages = &mut self.passages;
        self.due.retain(|&(at_s, i, due)| {
            if now.time_s < at_s {
                return true;
            }
            let late = now.time_s - at_s;
            let moment = Moment {
                time_s: at_s,
                along_m: now.along_m - late * now.speed_mps,
                ..*now
            };
            let slot = match due {
                Due::Lift => &mut passages[i].lift,
                Due::Brake => &mut passages[i].brake,
                Due::Throttle => &mut passages[i].throttle,
            };
            slot.get_or_insert(moment);
            false
        });
    }

    /// Begins the next orders when their moment has come.
    fn begin_orders(&mut self, car: &Car, now: &Moment) {
        if !matches!(self.foot, Foot::Drive { .. } | Foot::Lift { .. }) {
            return;
        }
        for i in self.next..(self.next + 2).min(self.orders.len()) {
            let o = &self.orders[i];
            let begun = match o.begun(car, now) {
                None => {
                    if matches!(o.action, Action::Flat | Action::Find) {
                        continue;
                    }
                    break;
                }
                Some(kind) => kind,
            };
            for skipped in self.next..i {
                self.passages[skipped].kind = CornerKind::Flat;
            }
            self.next = i + 1;
            self.active = Some(i);
            self.lift_done = false;
            self.passages[i].kind = begun;
            if begun != CornerKind::Flat {
                self.most = 0.0;
                self.due
                    .push((now.time_s + o.feet.off_s / 2.0, i, Due::Lift));
                self.foot = Foot::Off {
                    since_s: now.time_s,
                    brake: begun == CornerKind::Braked,
                };
            }
            return;
        }
    }

    fn move_feet(&mut self, car: &Car, now: &Moment, need: f64, dt: f64) {
        let feet = self.feet();
        let t = now.time_s;
        match self.foot {
            Foot::Drive { since_s, first } => self.drive(car, now, need, dt, since_s, first),
            Foot::Off { since_s, brake } => {
                self.throttle = (self.throttle - dt / feet.off_s).max(0.0);
                if brake && t >= since_s + feet.off_s + feet.gap_s {
                    self.foot = Foot::Press { since_s: t };
                    let mid = t + feet.press_s / 2.0 + car.brake_lag_s;
                    self.due.extend(self.active.map(|i| (mid, i, Due::Brake)));
                } else if !brake && self.throttle == 0.0 {
                    self.foot = Foot::Roll;
                }
            }
            Foot::Press { since_s } => self.press(car, now, need, since_s),
            Foot::Ease { since_s, from } => {
                self.brake = (from * (1.0 - (t - since_s) / EASE_S)).max(0.0);
                if self.brake == 0.0 {
                    self.foot = Foot::Roll;
                }
            }
            Foot::Roll => {
                self.brake = 0.0;
                self.throttle = (self.throttle - dt / feet.off_s).max(0.0);
                self.pick_up(car, now, need);
            }
            Foot::Lift { until_s } => {
                self.throttle = (self.throttle - dt / feet.off_s).max(0.0);
                if t >= until_s && need < PICK_SHARE {
                    self.foot = Foot::Drive {
                        since_s: t,
                        first: self.allowed(car, now, need).clamp(0.3, 1.0),
                    };
                }
            }
        }
    }

    /// On the throttle: to the first level at once, then as the grip allows, then full.
    fn drive(&mut self, car: &Car, now: &Moment, need: f64, dt: f64, since_s: f64, first: f64) {
        let feet = self.feet();
        let Some(o) = self.active.map(|i| &self.orders[i]) else {
            self.throttle = 1.0;
            return;
        };
        let passage = &mut self.passages[self.active.unwrap_or(0)];
        if let Some(l) = o.lift.filter(|l| !self.lift_done && now.along_m >= l.at_m) {
            self.lift_done = true;
            passage.lifts += 1;
            passage.lifted.get_or_insert(*now);
            self.foot = Foot::Lift {
                until_s: now.time_s + l.for_s,
            };
            return;
        }
        let hasty = o.hasty && now.time_s - since_s < 0.7 && passage.lifts == 0;
        if o.hasty && !hasty && need > 1.0 {
            passage.lifts += 1;
            passage.lifted.get_or_insert(*now);
            self.foot = Foot::Lift {
                until_s: now.time_s,
            };
            return;
        }
        let allowed = if hasty {
            0.85
        } else {
            self.allowed(car, now, need)
        };
        if self.throttle < first && now.time_s - since_s <= feet.pick_s + 1e-9 {
            self.throttle = (self.throttle + first / feet.pick_s * dt).min(first);
        } else if self.throttle < allowed {
            self.throttle = (self.throttle + dt / feet.feed_s).min(allowed).min(1.0);
        } else if need > 1.03 && !hasty {
            self.throttle = (self.throttle - 2.0 * dt).max(0.1);
        }
    }

    /// The throttle that the grip left by turning carries, now and a little ahead.
    fn allowed(&self, car: &Car, now: &Moment, need: f64) -> f64 {
        let v = now.speed_mps;
        let drive = self.throttle.max(0.4) * car.drive_n(v);
        let gain = (drive - car.resistance_n(v)) / car.mass_kg;
        let ahead = |look_s: f64| {
            let then = v + gain.max(0.0) * look_s;
            let s = now.along_m + look_s * 0.5 * (v + then);
            let curvature = self.path.curvature_pm(self.circuit, s).abs();
            car.mass_kg * then * then * curvature / car.grip_lat_n(then)
        };
        let used = need
            .max(ahead(LOOK_S))
            .max(ahead(2.0 * LOOK_S))
            .min(DRIVE_SHARE);
        let room = (DRIVE_SHARE * DRIVE_SHARE - used * used).sqrt() * car.grip_long_n(v);
        (room / car.drive_n(v)).min(1.0)
    }

    /// On the brake: the planned share of the grip, eased or pressed as the speed asks.
    fn press(&mut self, car: &Car, now: &Moment, need: f64, since_s: f64) {
        let Some(i) = self.active else { return };
        let o = &self.orders[i];
        let (v, s) = (now.speed_mps, now.along_m);
        let planned = o.target.share(s);
        let excess = v - o.braking.at(o.aim_m - s).min(200.0);
        let left = (1.0 - need * need).max(0.0).sqrt() + 0.05;
        // Whoever cannot turn enough at this speed has to lose some of it first.
        let room = left.max(0.25 + 4.0 * (need - 0.95).clamp(0.0, 0.1));
        // A brake that is being eased anyway follows the speed more freely.
        let ease = if s < o.target.trail_m {
            o.feet.ease
        } else {
            0.7
        };
        let share = (planned + BRAKE_GAIN * excess)
            .max(planned * (1.0 - ease))
            .min(o.feet.press_share.max(planned))
            .min(room);
        let ramp = ((now.time_s - since_s) / o.feet.press_s).min(1.0);
        self.throttle = 0.0;
        self.brake = (share * ramp * car.grip_long_n(v) / car.brake_n).clamp(0.0, 1.0);
        self.most = self.most.max(self.brake);
        // Coming off the brake takes a moment, in which the car slows down further.
        let coming = 0.5 * EASE_S * self.brake * car.brake_n / car.mass_kg;
        let slow_enough = o.braking.at(o.aim_m - o.target.release_m) + coming;
        if s >= o.target.release_m && share < 0.03 {
            self.brake = 0.0;
            self.foot = Foot::Roll;
        } else if ramp >= 1.0 && s < o.target.release_m && v <= slow_enough {
            self.foot = Foot::Ease {
                since_s: now.time_s,
                from: self.brake,
            };
        }
    }

    fn pick_up(&mut self, car: &Car, now: &Moment, need: f64) {
        let Some(i) = self.active else { return };
        let o = &self.orders[i];
        if now.along_m < o.target.throttle_m || (need > PICK_SHARE && !o.hasty) {
            return;
        }
        let first = if o.hasty {
            0.65
        } else {
            self.allowed(car, now, need).clamp(0.2, o.feet.first)
        };
        self.due
            .push((now.time_s + o.feet.pick_s / 2.0, i, Due::Throttle));
        self.foot = Foot::Drive {
            since_s: now.time_s,
            first,
        };
    }

    /// Keeps the truth of the passage under way.
    fn note(&mut self, now: &Moment, m: &Motion, dt: f64, need: f64) {
        let Some(i) = self.active else { return };
        let meant = self.path.at(m.progress_m).offset_m;
        let turn = self.orders[i].turn_m..=self.orders[i].exit_m;
        let p = &mut self.passages[i];
        let inside = turn.contains(&now.along_m);
        if inside {
            let outside = -self.circuit.curvature_pm(now.along_m).signum();
            p.widest_m = p.widest_m.max((m.offset_m - meant) * outside);
        }
        if need > 1.0 {
            p.sliding_s += dt;
        }
        if now.speed_mps < p.slowest.speed_mps && (inside || p.kind != CornerKind::Flat) {
            p.slowest = *now;
            p.offset_slowest_m = m.offset_m;
        }
        if p.brake.is_some() && p.release.is_none() && self.brake < 0.05 * self.most {
            p.release = Some(*now);
        }
        if p.full.is_none() && p.throttle.is_some() && self.throttle >= 0.98 {
            p.full = Some(*now);
        }
    }

    fn shift(&mut self, car: &Car, now: &Moment) {
        let gear = car.gear(now.speed_mps);
        if gear > self.gear {
            if self.throttle > 0.5 && now.time_s > 0.5 {
                self.shift_until_s = now.time_s + car.shift_s;
            }
            self.gear = gear;
        } else if gear < self.gear {
            // A gear is not left downward for the little speed lost while changing up.
            let below = car.gear_mps[(self.gear - 2).min(GEARS - 1)];
            if now.speed_mps < 0.95 * below {
                self.gear = gear;
            }
        }
    }
}

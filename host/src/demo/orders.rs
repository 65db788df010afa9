//! What a driver is going to do in one passage of a corner: the plan with the human in it.

use super::car::Car;
use super::fault::Fault;
use super::target::{Curve, Target};
use super::truth::{Moment, Passage};
use cuepost_engine::reference::CornerKind;

/// A lift is planned only when both pedals are off for no longer than this, seconds.
const LIFT_MAX_S: f64 = 1.3;

/// How quickly feet move. Seconds unless said.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Feet {
    /// Full throttle to none.
    pub off_s: f64,
    /// Between pedals.
    pub gap_s: f64,
    /// Brake from nothing to its level.
    pub press_s: f64,
    /// Throttle from nothing to its first level.
    pub pick_s: f64,
    /// The first level at most, 0 to 1.
    pub first: f64,
    /// Throttle from nothing to full when fed in after that.
    pub feed_s: f64,
    /// How far the brake is eased, as a share, when slower than planned.
    pub ease: f64,
    /// How far it is pressed, as a share of the grip, when faster than planned.
    pub press_share: f64,
}

/// Off the throttle and on again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LiftOff {
    /// Where, metres along the drive.
    pub at_m: f64,
    /// For how long, seconds.
    pub for_s: f64,
}

/// What a corner calls for and when it begins.
#[derive(Clone, Debug, PartialEq)]
pub enum Action {
    /// Nothing: flat, unless a lift is ordered.
    Flat,
    /// Off the throttle at a place, until the target.
    Lift(f64),
    /// On the brake at a place (a board beside the road), off it, to the target.
    Brake(f64),
    /// Not known yet: found by driving as late as possible.
    Find,
}

/// One passage of one corner as it is to be driven.
#[derive(Clone, Debug, PartialEq)]
pub struct Orders {
    /// Lap, from 1; 0 for the run-up.
    pub lap: u16,
    /// Which corner of the plan, from 0.
    pub corner: usize,
    /// What to do.
    pub action: Action,
    /// What to aim at.
    pub target: Target,
    /// Speeds on the brake.
    pub braking: Curve,
    /// Speeds off both pedals; only filled while finding a plan.
    pub rolling: Curve,
    /// Where the curves end.
    pub aim_m: f64,
    /// Where the bend begins, metres along the drive.
    pub turn_m: f64,
    /// Where it ends.
    pub exit_m: f64,
    /// The driver's feet in this passage.
    pub feet: Feet,
    /// Takes the throttle without regard to the grip.
    pub hasty: bool,
    /// A lift once on the throttle, or in a flat corner.
    pub lift: Option<LiftOff>,
    /// What was planted.
    pub fault: Option<Fault>,
}

impl Orders {
    /// How the corner is taken by these orders.
    pub fn kind(&self) -> CornerKind {
        match self.action {
            Action::Flat => CornerKind::Flat,
            Action::Lift(_) => CornerKind::Lifted,
            Action::Brake(_) | Action::Find => CornerKind::Braked,
        }
    }

    /// Whether these orders begin now, and as what.
    pub(super) fn begun(&self, car: &Car, now: &Moment) -> Option<CornerKind> {
        let (s, v) = (now.along_m, now.speed_mps);
        let to_brake =
            s + v * (self.feet.off_s + self.feet.gap_s + self.feet.press_s / 2.0 + car.brake_lag_s);
        let to_roll = s + v * self.feet.off_s / 2.0;
        match self.action {
            Action::Flat => (s >= self.turn_m - 20.0).then_some(CornerKind::Flat),
            Action::Brake(m) => (to_brake >= m).then_some(CornerKind::Braked),
            Action::Lift(m) => (to_roll >= m).then_some(CornerKind::Lifted),
            Action::Find => {
                let left = self.aim_m - to_roll;
                let over = v - self.rolling.at(left);
                if (0.0..0.3).contains(&over)
                    && left > 0.0
                    && self.rolling.time_s(left) < LIFT_MAX_S
                {
                    Some(CornerKind::Lifted)
                } else if s > self.aim_m {
                    Some(CornerKind::Flat)
                } else {
                    (v >= self.braking.at(self.aim_m - to_brake)).then_some(CornerKind::Braked)
                }
            }
        }
    }

    /// The record of this passage before anything has happened.
    pub(super) fn unwritten(&self) -> Passage {
        Passage {
            lap: self.lap,
            corner: (self.corner + 1) as u8,
            kind: self.kind(),
            fault: self.fault,
            lift: None,
            brake: None,
            peak_decel_mps2: 0.0,
            release: None,
            slowest: Moment {
                speed_mps: f64::MAX,
                ..Moment::default()
            },
            offset_slowest_m: 0.0,
            throttle: None,
            full: None,
            lifted: None,
            lifts: 0,
            exit: Moment::default(),
            offset_exit_m: 0.0,
            widest_m: 0.0,
            sliding_s: 0.0,
        }
    }
}

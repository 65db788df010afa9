//! States of the drive, with the patience each of them needs.

use crate::event::{HealthState, Why};
use crate::gate::COURSE_LEAST_MPS;

/// Farther beside the line than this is off it after 0.4 s, metres.
pub const ASIDE_M: f32 = 10.0;
/// How long, seconds.
const ASIDE_S: f32 = 0.4;
/// Farther than this is off it when it lasts [`DRIFT_S`], metres.
const DRIFT_M: f32 = 8.0;
/// How long, seconds.
const DRIFT_S: f32 = 3.0;
/// Nearer than this is back on it, metres.
const BACK_M: f32 = 7.0;
/// Beside the line and along it for this long is a lane, seconds.
const LANE_S: f32 = 1.5;
/// Largest angle to the line on a lane, radians.
const LANE_SLIP_RAD: f32 = 0.2;
/// A larger angle to the line is against it, radians.
const AGAINST_RAD: f32 = 1.4;
/// For how long before it is said, seconds.
const AGAINST_S: f32 = 0.3;
/// Good driving before a spell away from it is over, seconds.
const SETTLE_S: f32 = 1.0;
/// Good samples before the place is trusted again after a gap or a search, seconds.
const TRUST_S: f32 = 0.4;

/// What the state hangs on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Conduct {
    pub(super) dt_s: f32,
    pub(super) speed_mps: f32,
    pub(super) left_m: f32,
    pub(super) slip_rad: Option<f32>,
    /// Why the sample itself is not trusted.
    pub(super) trust: Why,
}

/// The state said last and how long its conditions have held.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct States {
    state: HealthState,
    why: Why,
    aside_s: f32,
    drift_s: f32,
    lane_s: f32,
    against_s: f32,
    good_s: f32,
}

impl States {
    /// The place was lost.
    pub(super) fn lose(&mut self, why: Why) {
        *self = Self {
            state: HealthState::Lost,
            why,
            ..Self::default()
        };
    }

    /// The place is being searched for. A restart is the reason until it is found.
    pub(super) fn search(&mut self, why: Why) {
        if self.state != HealthState::Lost || self.why != Why::Restart {
            self.lose(why);
        }
    }

    /// Samples are missing: nothing is measured until the place has settled.
    pub(super) fn degrade(&mut self, why: Why) {
        self.good_s = 0.0;
        if self.state != HealthState::Lost {
            (self.state, self.why) = (HealthState::Degraded, why);
        }
    }

    /// What was said last.
    pub(super) fn get(&self) -> (HealthState, Why) {
        (self.state, self.why)
    }

    /// Follows the drive by one sample; also whether a condition other than patience holds it from
    /// being good.
    pub(super) fn follow(&mut self, c: &Conduct) -> (HealthState, Why, bool) {
        let aside = c.left_m.abs();
        let held = |seconds: f32, holds: bool| if holds { seconds + c.dt_s } else { 0.0 };
        self.aside_s = held(self.aside_s, aside > ASIDE_M);
        self.drift_s = held(self.drift_s, aside > DRIFT_M);
        let along = c.slip_rad.is_some_and(|s| s.abs() < LANE_SLIP_RAD);
        self.lane_s = held(self.lane_s, aside > BACK_M && along);
        let against = c.slip_rad.is_some_and(|s| s.abs() > AGAINST_RAD);
        self.against_s = held(self.against_s, against);
        let bad = self.bad(c);
        if let Some(bad) = bad {
            self.good_s = 0.0;
            (self.state, self.why) = bad;
        } else if self.state != HealthState::Ok {
            let near_m = match self.state {
                HealthState::Pit | HealthState::OffTrack => BACK_M,
                _ => DRIFT_M,
            };
            let away = aside > near_m;
            self.good_s = held(self.good_s, !away && !against);
            let patience_s = match self.state {
                HealthState::Lost | HealthState::Degraded => TRUST_S,
                _ => SETTLE_S,
            };
            if self.good_s >= patience_s {
                (self.state, self.why) = (HealthState::Ok, Why::Good);
            }
        }
        (self.state, self.why, bad.is_some())
    }

    /// The state that the conditions call for, worst first.
    fn bad(&self, c: &Conduct) -> Option<(HealthState, Why)> {
        if c.speed_mps < COURSE_LEAST_MPS {
            return Some((HealthState::Standing, Why::Slow));
        }
        if self.against_s >= AGAINST_S {
            return Some((HealthState::WrongWay, Why::Reversed));
        }
        if self.aside_s >= ASIDE_S || self.drift_s >= DRIFT_S {
            return Some(if self.lane_s >= LANE_S {
                (HealthState::Pit, Why::BesideLine)
            } else {
                (HealthState::OffTrack, Why::FarFromLine)
            });
        }
        if c.trust != Why::Good {
            return Some((HealthState::Degraded, c.trust));
        }
        None
    }
}

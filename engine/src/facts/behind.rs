//! How far the car falls behind the reference on its way through a corner, as energy of motion.
//!
//! At the same place `(v_ref² - v²) / 2` is the energy, per kilogram, that the car lacks. It grows
//! where the car is driven with less force than the reference was, and hardly changes where both
//! are driven alike, however slow the one came there. So what one part of a corner costs can be
//! told from what was lost before: a lift, a foot that is slow to come down.

use super::Measured;
use crate::math::since_s;
use crate::motion::Moment;
use crate::onset::Instant;
use crate::reference::ReferenceView;
use heapless::Vec;

/// On the throttle from this share of the drive on.
const ON: f32 = 0.6;
/// Off it below this share.
const OFF: f32 = 0.3;
/// The reference drives where it gains speed by this share of what the car can and more.
const REFERENCE_ON: f32 = 0.4;
/// Over this much road the reference's gain of speed is taken, metres.
const GAIN_M: f32 = 8.0;
/// What a lift took is looked at so long after it: the reference's change of gear, elsewhere on
/// the road, must have come by then. Seconds.
const AFTER_S: f32 = 0.8;
/// What the car lacks before a lift is held so long on the throttle, while it gets less, seconds.
const HOLD_S: f32 = 1.0;
/// Off it for no longer may be a change of gear, seconds.
const BRIEF_S: f32 = 0.3;
/// A lift that costs less than this is none, m/s.
const LIFT_LEAST_MPS: f32 = 0.5;
/// One that is not over yet, or brief, counts from here on, m/s.
const LIFT_SURE_MPS: f32 = 1.0;
/// The reference changes gear for less than this; off the throttle for longer it is slowing, s.
const SHIFT_S: f32 = 0.5;
/// Once on it again, less than this share of the drive on average is a foot still coming down.
const DOWN_LEAST: f32 = 0.85;
/// A foot that is not down so long after taking up the throttle is another matter, seconds.
const FOOT_S: f32 = 3.0;
/// Lifts kept of one corner.
const LIFTS_MAX: usize = 4;

/// Off the throttle where the reference drives.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
enum Lift {
    /// On it, with what was lacking then; none before the throttle was on once.
    #[default]
    Never,
    On(f32),
    /// Off it since.
    Off {
        before: f32,
        since_us: u64,
    },
    /// On it again, not looked at yet.
    Over {
        before: f32,
        since_us: u64,
        again_us: u64,
        /// The least that was lacking since.
        least: f32,
        /// Sum of the drive since, and how many moments.
        drive: (f32, u16),
    },
}

/// A lift and what it took, m/s.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Lifted {
    since_us: u64,
    speed_mps: f32,
    lost_mps: f32,
}

/// What one passage lacks.
#[derive(Clone, Debug, Default)]
pub struct Behind {
    /// What was lacking where the corner began.
    begin: Option<f32>,
    /// The most lost since, to the bend's exit, m/s.
    dip_mps: f32,
    /// Where the reference takes up the throttle, and when.
    reference_on: Option<(f32, u64)>,
    /// On the throttle before that.
    early: bool,
    /// Where both are on the throttle.
    on: Option<(f32, u64)>,
    /// Full drive lacking since, as metres of it.
    missing_m: Option<f32>,
    lift: Lift,
    /// The reference does not drive since, and what was lacking then.
    idle: Option<(u64, f32)>,
    lifts: Vec<Lifted, LIFTS_MAX>,
    now: f32,
    speed_mps: f32,
}

/// What the car lacks at a place, m²/s².
pub fn lacking(reference: &ReferenceView<'_>, progress_m: f32, speed_mps: f32) -> f32 {
    lacking_at(reference.speed_mps(progress_m), speed_mps)
}

/// The same where the reference's speed is known already.
fn lacking_at(reference_mps: f32, speed_mps: f32) -> f32 {
    0.5 * (reference_mps * reference_mps - speed_mps * speed_mps)
}

impl Behind {
    /// Takes the next moment and the reference's speed there; `in_bend` before the bend's exit,
    /// `driven` once throttle was taken up for good or none was ever left.
    pub fn advance(
        &mut self,
        reference: &ReferenceView<'_>,
        now: &Moment,
        reference_mps: f32,
        in_bend: bool,
        driven: bool,
    ) {
        let lacks = lacking_at(reference_mps, now.speed_mps);
        (self.now, self.speed_mps) = (lacks, now.speed_mps);
        // Who comes faster than the reference has that to spare.
        let begin = *self.begin.get_or_insert(lacks.max(0.0));
        if in_bend {
            // No more can be lost than the reference has there.
            let lost_mps = (lacks - begin) / now.speed_mps.max(3.0);
            self.dip_mps = self.dip_mps.max(lost_mps.min(reference_mps));
        }
        if !driven {
            self.lift = Lift::Never;
            return;
        }
        self.follow_lift(reference, now, lacks);
        // Who comes off it again may be lifting: what that takes is no slow foot's.
        let foot = match self.lift {
            Lift::Never => self.lifts.is_empty(),
            Lift::On(_) => self.lifts.is_empty() && now.drive >= ON,
            Lift::Off { .. } | Lift::Over { .. } => false,
        };
        if let (true, Some((at_on, on_us))) = (foot, self.on)
            && since_s(on_us, now.time_us) < FOOT_S
        {
            let force_mps2 = (now.full_mps2 - now.coast_mps2).max(1.0);
            let missing_m = (lacks - at_on) / force_mps2;
            self.missing_m = Some(self.missing_m.map_or(missing_m, |m| m.max(missing_m)));
        }
    }

    /// Off the throttle where the reference drives, or just on it again: not known yet what it took.
    pub fn lifting(&self) -> bool {
        matches!(self.lift, Lift::Off { .. } | Lift::Over { .. })
    }

    /// On it again after a lift.
    pub fn on_again(&self) -> bool {
        matches!(self.lift, Lift::Over { .. })
    }

    /// What was lacking before a lift that is not over, if there is one: of a corner that begins
    /// meanwhile it is that corner's.
    pub fn give_lift(&mut self) -> Option<f32> {
        let Lift::Off { before, .. } = self.lift else {
            return None;
        };
        self.lift = Lift::Never;
        Some(before)
    }

    /// Begins with what was lacking before a lift on the road before.
    pub fn take_lift(&mut self, before: f32) {
        self.begin = Some(before.max(0.0));
    }

    /// The place where the reference takes up the throttle is passed.
    pub fn reference_on(&mut self, reference: &ReferenceView<'_>, now: &Moment) {
        let there = (
            lacking(reference, now.progress_m, now.speed_mps),
            now.time_us,
        );
        self.reference_on = Some(there);
        if self.early {
            self.on = self.reference_on;
        }
    }

    /// The throttle was taken up, later on the road than the reference took it up or sooner: both
    /// are on it from the later of the two places on.
    pub fn throttle_on(&mut self, reference: &ReferenceView<'_>, at: &Instant, late: bool) {
        self.missing_m = None;
        self.early = !late;
        self.on = if late {
            let lacks = lacking(reference, at.progress_m, at.speed_mps);
            Some((lacks, at.time_us))
        } else {
            self.reference_on
        };
    }

    /// Braked again: what was told of the throttle is void.
    pub fn braked(&mut self) {
        self.on = None;
        self.early = false;
        self.missing_m = None;
        self.lift = Lift::Never;
        self.lifts.clear();
    }

    fn follow_lift(&mut self, reference: &ReferenceView<'_>, now: &Moment, lacks: f32) {
        if reference_drives(reference, now) {
            self.idle = None;
        } else {
            self.reference_rests(now, lacks);
            return;
        }
        let (on, off) = (now.drive >= ON, now.drive < OFF);
        self.lift = match self.lift {
            Lift::Never if on => Lift::On(lacks),
            Lift::On(before) if on => Lift::On(hold(before, lacks, now.dt_s)),
            Lift::On(before) if off => Lift::Off {
                before,
                since_us: now.time_us,
            },
            Lift::Off { before, since_us } if on => Lift::Over {
                before,
                since_us,
                again_us: now.time_us,
                least: lacks,
                drive: (now.drive, 1),
            },
            Lift::Over {
                before, since_us, ..
            } if off => Lift::Off { before, since_us },
            Lift::Over {
                before,
                since_us,
                again_us,
                least,
                drive: (sum, moments),
            } if since_s(again_us, now.time_us) < AFTER_S => Lift::Over {
                before,
                since_us,
                again_us,
                least: least.min(lacks),
                drive: (sum + now.drive.min(1.0), moments.saturating_add(1)),
            },
            Lift::Over {
                before,
                since_us,
                again_us,
                least,
                drive: (sum, moments),
            } => {
                // A change of gear while the foot comes down slowly is no lift, and what is lost
                // behind it no lift's.
                let brief = since_s(since_us, again_us) < BRIEF_S;
                if brief {
                    self.keep(before, least, since_us, LIFT_SURE_MPS);
                } else if sum >= DOWN_LEAST * f32::from(moments) {
                    self.keep(before, lacks, since_us, LIFT_LEAST_MPS);
                }
                Lift::On(lacks)
            }
            other => other,
        };
    }

    /// The reference is off the throttle: it changes gear, or it slows for what comes next, where
    /// nobody's lift is one.
    fn reference_rests(&mut self, now: &Moment, lacks: f32) {
        let (since_us, lacked) = *self.idle.get_or_insert((now.time_us, lacks));
        if since_s(since_us, now.time_us) < SHIFT_S {
            return;
        }
        if let Lift::Over {
            before, since_us, ..
        } = self.lift
        {
            self.keep(before, lacked, since_us, LIFT_SURE_MPS);
        }
        self.lift = Lift::Never;
    }

    fn keep(&mut self, before: f32, after: f32, since_us: u64, least_mps: f32) {
        if let Some(lifted) = self.lifted(before, after, since_us, least_mps) {
            let _ = self.lifts.push(lifted);
        }
    }

    /// What a lift took, when that is enough.
    fn lifted(&self, before: f32, after: f32, since_us: u64, least_mps: f32) -> Option<Lifted> {
        let speed_mps = self.speed_mps.max(3.0);
        let lost_mps = (after - before) / speed_mps;
        (lost_mps > least_mps).then_some(Lifted {
            since_us,
            speed_mps,
            lost_mps,
        })
    }

    /// The most speed lost to the reference between the corner's begin and its exit.
    pub fn dip(&self, noise_mps: f32) -> Option<Measured> {
        self.begin
            .map(|_| Measured::new(self.dip_mps, 0.1 + noise_mps))
    }

    /// Metres of full drive that the car lacks from the moment both were on the throttle.
    pub fn missing(&self) -> Option<Measured> {
        self.missing_m
            .map(|m| Measured::new(m.max(0.0), 1.0 + 0.1 * m.abs()))
    }

    /// How many lifts, and the seconds they cost until `end_us`.
    pub fn lifts(&self, end_us: u64) -> (u8, Measured) {
        let pending = match self.lift {
            Lift::Off { before, since_us }
            | Lift::Over {
                before, since_us, ..
            } => self.lifted(before, self.now, since_us, LIFT_SURE_MPS),
            Lift::Never | Lift::On(_) => None,
        };
        let (mut count, mut lost_s) = (0u8, 0.0);
        for lift in self.lifts.iter().chain(&pending).take(LIFTS_MAX) {
            count = count.saturating_add(1);
            lost_s += lift.lost_mps / lift.speed_mps * since_s(lift.since_us, end_us);
        }
        (count, Measured::new(lost_s, 0.01 + 0.2 * lost_s))
    }
}

/// What was lacking before a lift, followed on the throttle. The reference's change of gear a
/// little before the driver's own makes less lack for a moment: that is forgotten slowly.
fn hold(before: f32, lacks: f32, dt_s: f32) -> f32 {
    let share = (dt_s / HOLD_S).min(1.0);
    lacks.max(before + share * (lacks - before))
}

/// Whether the reference gained speed here as one does on the throttle.
fn reference_drives(reference: &ReferenceView<'_>, now: &Moment) -> bool {
    let ahead_mps = reference.speed_mps(now.progress_m + 0.5 * GAIN_M);
    let behind_mps = reference.speed_mps(now.progress_m - 0.5 * GAIN_M);
    let gain_mps2 = 0.5 * (ahead_mps * ahead_mps - behind_mps * behind_mps) / GAIN_M;
    gain_mps2 > now.coast_mps2 + REFERENCE_ON * (now.full_mps2 - now.coast_mps2)
}

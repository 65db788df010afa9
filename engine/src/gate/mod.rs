//! Admits samples or names why not.
//!
//! Nothing behind the gate ever sees a value that is not finite, a time that does not rise or a
//! position no car could have reached.
//!
//! | rule | limit |
//! |---|---|
//! | missing positions or samples are bridged on speed | up to [`BRIDGE_S`] |
//! | the same position above [`COURSE_LEAST_MPS`] counts as missing, then as frozen | [`BRIDGE_S`] |
//! | the same position and speed there are no new sample and refused | |
//! | samples missing of a source that gave more of them are said | 0.14 s of the last second |
//! | a position or speed that cannot follow the last one is refused, and believed after all once as many samples agree with it | [`BELIEVE_S`], at least [`BELIEVE_SAMPLES`] |
//! | a clock that is set by less breaks what is measured, and is no leap of the place | 0.15 s |
//! | a clock 2 s behind or 600 s ahead, three samples in a row, is a new session | |
//! | samples closer than 8 ms on average are thinned | 125 Hz |
//! | a direction is given from | [`COURSE_LEAST_MPS`] |

mod bounds;
#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod clock;
mod course;
mod rhythm;
mod watch;

use crate::event::{HealthState, Why};
use crate::math::{hypot, seconds};
use crate::reference::Frame;
use crate::sample::{Position, Sample};
use bounds::{SPEED_SD_MOST_MPS, STRIDE, inaccurate, out_of_reach, place, pushed, speed, within};
use clock::{Clock, Tick};
use course::Course;
use rhythm::Rhythm;
use watch::{Seen, Watch};

/// How long missing positions or samples are bridged, seconds.
pub const BRIDGE_S: f32 = 0.5;
/// Below this speed there is no course, m/s.
pub const COURSE_LEAST_MPS: f32 = 3.0;
/// For how long samples must agree before a place or speed out of reach is believed, seconds.
pub const BELIEVE_S: f32 = 0.4;
/// How many of them at least.
pub const BELIEVE_SAMPLES: u8 = 3;

/// And by this much when samples must agree to be believed.
const STRAY_BELIEVED_M: f32 = 5.0;
/// A clock that is set by less than this is none of the gate's business, seconds,
const SET_S: f32 = 0.15;
/// nor one that is set by less than this of driving, metres.
const SET_M: f32 = 5.0;
/// The car must have come as far as usual within this share of what the clock says beyond it.
const SET_SHARE: f32 = 0.3;
/// Nothing admitted for this long and the place is lost, seconds.
const LOST_S: f32 = 2.0;
/// A longer pause between two samples is no measure of how long nothing was admitted, µs.
const IDLE_STEP_US: u64 = 10_000_000;
/// No car turns faster, rad/s.
const YAW_MOST_RPS: f32 = 20.0;

/// Why a sample was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Refusal {
    /// A value was not finite or physically absurd.
    NotFinite,
    /// The source had no fix or no speed.
    NoFix,
    /// Older than the newest admitted sample.
    Backward,
    /// The same time as the newest admitted sample.
    Repeated,
    /// Farther from the last position than any car drives, or nowhere near the circuit.
    Leap,
    /// The same position and speed for 0.5 s above 3 m/s.
    Frozen,
    /// The source's own accuracy is too poor.
    Inaccurate,
    /// One more than the engine needs from a source faster than 125 Hz: not a fault.
    Thinned,
}

impl Refusal {
    /// All of them, in order.
    pub const ALL: [Self; REFUSALS] = [
        Self::NotFinite,
        Self::NoFix,
        Self::Backward,
        Self::Repeated,
        Self::Leap,
        Self::Frozen,
        Self::Inaccurate,
        Self::Thinned,
    ];

    /// The reason in a few words, as every output writes it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::NotFinite => "not finite or absurd",
            Self::NoFix => "without a fix or speed",
            Self::Backward => "older than the one before",
            Self::Repeated => "repeated",
            Self::Leap => "leaps no car can drive, or nowhere near the circuit",
            Self::Frozen => "frozen while moving",
            Self::Inaccurate => "too inaccurate",
            Self::Thinned => "more than are needed (not a fault)",
        }
    }

    /// The reason in the words of the health events.
    pub fn why(self) -> Why {
        match self {
            Self::NotFinite => Why::NotFinite,
            Self::NoFix => Why::NoFix,
            Self::Backward | Self::Repeated => Why::Backward,
            Self::Leap => Why::Leap,
            Self::Frozen => Why::Frozen,
            Self::Inaccurate => Why::Inaccurate,
            Self::Thinned => Why::Good,
        }
    }
}

/// Kinds of [`Refusal`].
pub const REFUSALS: usize = 8;

/// A sample the later stages may believe.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Admitted {
    /// Source time, microseconds.
    pub time_us: u64,
    /// Seconds since the admitted sample before; 0 for the first one after a restart.
    pub dt_s: f32,
    /// Seconds driven since then: more or less than that where the clock was set.
    pub gone_s: f32,
    /// Metres east of the frame's origin.
    pub east_m: f32,
    /// Metres north of the frame's origin.
    pub north_m: f32,
    /// True when the position was measured, false when it was bridged on speed.
    pub located: bool,
    /// Ground speed, m/s.
    pub speed_mps: f32,
    /// Direction of travel, radians counter-clockwise from east; none below 3 m/s.
    pub direction_rad: Option<f32>,
    /// Yaw rate where the source has it, rad/s, left positive.
    pub yaw_rate_rps: Option<f32>,
    /// Brake pedal 0..1 where the source has it.
    pub brake: Option<f32>,
    /// Throttle pedal 0..1 where the source has it.
    pub throttle: Option<f32>,
    /// Speed noise where the source states it, m/s.
    pub speed_sd_mps: Option<f32>,
    /// True when more than 0.5 s of samples are missing before this one: nothing may be measured
    /// across it.
    pub broken: bool,
    /// `Good`, or why the sample is admitted and yet not to be trusted with a cue: position, speed
    /// and direction contradict one another, the speed is rougher than driving, or the clock was
    /// set.
    pub trust: Why,
    /// The speed itself is wrong: rougher than driving, or it leapt as no car's does.
    pub rough: bool,
}

/// The gate's memory.
#[derive(Clone, Debug, Default)]
pub struct Gate {
    /// Refused samples by [`Refusal`], in the order of the enum.
    pub refused: [u32; REFUSALS],
    /// Pedals, yaw rates and accuracies that were dropped for not being finite or in range, while
    /// the sample itself was admitted.
    pub dropped_fields: u32,
    clock: Clock,
    last: Option<Last>,
    stranger: Option<Stranger>,
    course: Course,
    watch: Watch,
    rhythm: Rhythm,
    idle: Idle,
}

/// The last admitted instant.
#[derive(Clone, Copy, Debug)]
struct Last {
    raw: Option<Position>,
    east_m: f32,
    north_m: f32,
    speed_mps: f32,
    direction_rad: Option<f32>,
    turn_rps: f32,
    dt_s: f32,
    /// Seconds since a position was measured.
    unlocated_s: f32,
}

/// The newest of the refused samples that agree with one another.
#[derive(Clone, Copy, Debug)]
struct Stranger {
    time_us: u64,
    east_m: f32,
    north_m: f32,
    speed_mps: f32,
    lasted_s: f32,
    count: u8,
}

/// For how long nothing was admitted, and the last reason.
#[derive(Clone, Copy, Debug, Default)]
struct Idle {
    seconds: f32,
    seen_us: u64,
    why: Why,
}

/// A place on the plane and how it came.
#[derive(Clone, Copy, Debug)]
struct Spot {
    east_m: f32,
    north_m: f32,
    located: bool,
}

impl Gate {
    /// Admits the sample or says why not.
    #[inline(never)]
    pub fn admit(&mut self, frame: &Frame, sample: &Sample) -> Result<Admitted, Refusal> {
        let judged = self.judge(frame, sample);
        match judged {
            Ok(_) => self.idle.seconds = 0.0,
            Err(why) => {
                if let Some(n) = self.refused.get_mut(why as usize) {
                    *n = n.saturating_add(1);
                }
                self.idle_on(sample.time_us, why);
            }
        }
        if self.idle.seen_us.abs_diff(sample.time_us) <= IDLE_STEP_US || judged.is_ok() {
            self.idle.seen_us = sample.time_us;
        }
        judged
    }

    /// What the gate thinks of its input now. Ask after refused samples too: only then does it
    /// know how long nothing was admitted.
    pub fn health(&self) -> (HealthState, Why) {
        match self.last {
            None if self.idle.seconds > 0.0 => (HealthState::Lost, self.idle.why),
            None => (HealthState::Lost, Why::Searching),
            Some(_) if self.idle.seconds > LOST_S => (HealthState::Lost, self.idle.why),
            Some(_) if self.idle.seconds > BRIDGE_S => (HealthState::Degraded, self.idle.why),
            Some(_) => match self.watch.verdict() {
                Why::Good if self.rhythm.sparse() => (HealthState::Degraded, Why::Gap),
                Why::Good => (HealthState::Ok, Why::Good),
                why => (HealthState::Degraded, why),
            },
        }
    }

    fn idle_on(&mut self, time_us: u64, why: Refusal) {
        if why == Refusal::Thinned {
            return;
        }
        let since_us = time_us.saturating_sub(self.idle.seen_us);
        // A clock that stands still or leaps tells no time: then a sample counts as the last one
        // admitted did.
        let least = self.last.map_or(0.1, |l| l.dt_s.clamp(0.01, BRIDGE_S));
        // A stretch that was bridged counts: what is refused now has been missing since then.
        let bridged_s = self.last.map_or(0.0, |l| l.unlocated_s);
        self.idle.seconds = self.idle.seconds.max(bridged_s);
        self.idle.seconds += if (1..=IDLE_STEP_US).contains(&since_us) {
            seconds(since_us)
        } else {
            least
        };
        self.idle.why = why.why();
    }

    fn judge(&mut self, frame: &Frame, sample: &Sample) -> Result<Admitted, Refusal> {
        let speed_mps = speed(sample.speed_mps)?;
        inaccurate(sample)?;
        let tick = self.clock.judge(sample.time_us)?;
        let (dt_s, last) = match tick {
            Tick::First | Tick::Restart => (0.0, None),
            Tick::After(us) => (seconds(us), self.last.as_ref()),
        };
        let first = last.is_none();
        let spot = place(frame, sample.position, speed_mps, dt_s, last)?;
        let mut broken = dt_s > BRIDGE_S;
        let mut speed_leapt = false;
        let set = last.is_some_and(|l| self.clock_set(l, spot, dt_s));
        if set {
            broken = true;
        } else if let Some(l) = last
            && let Some(why) = out_of_reach(l, spot, speed_mps, dt_s)
        {
            if !self.believed(sample.time_us, spot, speed_mps) {
                return Err(why);
            }
            broken = true;
            speed_leapt = why == Refusal::NotFinite;
        }
        self.stranger = None;
        if tick == Tick::Restart {
            self.watch = Watch::default();
            self.rhythm = Rhythm::default();
        }
        self.rhythm.take(dt_s);
        if broken || first {
            self.course = Course::default();
            self.watch.cut();
        }
        if speed_leapt {
            self.watch.suspect();
        }
        let mut admitted = self.admitted(sample, spot, speed_mps, dt_s, broken);
        admitted.rough = speed_leapt || self.watch.is_rough();
        if set {
            admitted.trust = Why::Gap;
            admitted.gone_s = self.gone_s();
        }
        if first {
            self.last = None;
        }
        self.remember(sample.position, &admitted);
        self.clock.take(sample.time_us, tick);
        Ok(admitted)
    }

    /// Whether the source's clock was set and the car simply drove on: back, when samples were
    /// refused for their time until now; ahead, when the car came only as far as it usually does
    /// from sample to sample. Its place is then no leap.
    fn clock_set(&self, last: &Last, spot: Spot, dt_s: f32) -> bool {
        if self.idle.seconds > SET_S && self.idle.why == Why::Backward {
            return true;
        }
        let usual_s = self.rhythm.usual_s();
        let too_far_m = last.speed_mps * (dt_s - usual_s);
        if dt_s < SET_S + usual_s || too_far_m < SET_M || !spot.located {
            return false;
        }
        let moved_m = hypot(spot.east_m - last.east_m, spot.north_m - last.north_m);
        (moved_m - last.speed_mps * usual_s).abs() < SET_SHARE * too_far_m
    }

    /// How long the car drove on while the clock was set: as long as samples were refused for their
    /// time, and to the next one.
    fn gone_s(&self) -> f32 {
        let refused_s = match self.idle.why {
            Why::Backward => self.idle.seconds,
            _ => 0.0,
        };
        refused_s + self.rhythm.usual_s()
    }

    /// Counts samples that cannot follow the last admitted one but follow one another.
    fn believed(&mut self, time_us: u64, spot: Spot, speed_mps: f32) -> bool {
        let (mut lasted_s, mut count) = (0.0, 1);
        if let Some(s) = self.stranger {
            let dt_s = seconds(time_us.saturating_sub(s.time_us));
            let moved = hypot(spot.east_m - s.east_m, spot.north_m - s.north_m);
            let reach = STRIDE * s.speed_mps.max(speed_mps) * dt_s + STRAY_BELIEVED_M;
            let near = moved <= reach && !pushed(s.speed_mps, speed_mps, dt_s);
            if near && dt_s <= BRIDGE_S.max(1.0) {
                lasted_s = s.lasted_s + dt_s;
                count = s.count.saturating_add(1);
            }
        }
        self.stranger = Some(Stranger {
            time_us,
            east_m: spot.east_m,
            north_m: spot.north_m,
            speed_mps,
            lasted_s,
            count,
        });
        lasted_s >= BELIEVE_S - 1e-3 && count >= BELIEVE_SAMPLES
    }

    fn admitted(
        &mut self,
        sample: &Sample,
        spot: Spot,
        speed_mps: f32,
        dt_s: f32,
        broken: bool,
    ) -> Admitted {
        let direction_rad = self.direction(sample, spot, speed_mps);
        let trust = self.watch.look(&Seen {
            east_m: spot.east_m,
            north_m: spot.north_m,
            located: spot.located,
            speed_mps,
            direction_rad,
            dt_s,
        });
        let n = &mut self.dropped_fields;
        Admitted {
            time_us: sample.time_us,
            dt_s,
            gone_s: dt_s,
            east_m: spot.east_m,
            north_m: spot.north_m,
            located: spot.located,
            speed_mps,
            direction_rad,
            yaw_rate_rps: within(sample.yaw_rate_rps, -YAW_MOST_RPS, YAW_MOST_RPS, n),
            brake: within(sample.brake, -0.05, 1.05, n).map(|p| p.clamp(0.0, 1.0)),
            throttle: within(sample.throttle, -0.05, 1.05, n).map(|p| p.clamp(0.0, 1.0)),
            speed_sd_mps: within(sample.speed_sd_mps, 0.0, SPEED_SD_MOST_MPS, n),
            broken,
            trust,
            rough: false,
        }
    }

    /// The source's direction, or one from the positions; none below [`COURSE_LEAST_MPS`].
    fn direction(&mut self, sample: &Sample, spot: Spot, speed_mps: f32) -> Option<f32> {
        if speed_mps < COURSE_LEAST_MPS {
            self.course = Course::default();
            return None;
        }
        if let Some(d) = sample.direction_rad.filter(|d| d.abs() < 1e4) {
            self.course = Course::default();
            return Some(crate::math::wrap_angle(d));
        }
        self.course.at(spot.east_m, spot.north_m, speed_mps)
    }

    fn remember(&mut self, raw: Option<Position>, a: &Admitted) {
        let before = self.last.as_ref();
        let turned = match (before.and_then(|b| b.direction_rad), a.direction_rad) {
            (Some(b), Some(d)) if a.dt_s > 0.0 && !a.broken => {
                crate::math::wrap_angle(d - b) / a.dt_s
            }
            _ => 0.0,
        };
        // Smoothed over about 0.1 s, and no faster than a spin.
        let k = a.dt_s / (a.dt_s + 0.1);
        let was = before.map_or(0.0, |b| b.turn_rps);
        let (raw, unlocated_s) = if a.located {
            (raw, 0.0)
        } else {
            (
                before.and_then(|b| b.raw),
                before.map_or(0.0, |b| b.unlocated_s) + a.dt_s,
            )
        };
        self.last = Some(Last {
            raw,
            east_m: a.east_m,
            north_m: a.north_m,
            speed_mps: a.speed_mps,
            direction_rad: a.direction_rad,
            turn_rps: (was + k * (turned - was)).clamp(-2.0, 2.0),
            dt_s: a.dt_s,
            unlocated_s,
        });
    }
}

//! Joins what several messages say about one epoch into one [`Sample`].
//!
//! An epoch is told as soon as nothing usual can add to it: at a NAV-PVT, or at an RMC that has
//! everything, or at the last sentence of the set this receiver sends; at the latest when the next
//! epoch begins. What a receiver usually sends is found out from the epochs before.

use super::clock::{Clock, Place, Stamp};
use super::nmea::{Fix, Sentence, TURN_E4DEG, Velocity};
use super::stats::{Counts, Reason, one_more};
use super::ubx::{Pvt, Solution};
use crate::sample::{Position, Sample};

/// Sentences this close in time tell the same epoch. Receivers send at most 200 epochs a second.
const SAME_NMEA_US: i64 = 1_000;
/// The same across protocols: sentences round the time to 0.01 s.
const SAME_MIXED_US: i64 = 5_000;
/// An RMC or VTG is waited for when it was seen within so many epochs (some receivers send ten
/// positions a second but one RMC).
const USUAL_EPOCHS: u8 = 30;
/// A UBX frame is waited for when one followed the sentences of its epoch within so many epochs.
const FRAME_USUAL_EPOCHS: u8 = 3;

/// Metres per second in 1e-4 knots (1 knot is 1852 m an hour).
const MPS_PER_E4KN: f32 = (1852.0 / 3600.0 * 1e-4) as f32;
/// Radians in 1e-4 degree.
const RAD_PER_E4DEG: f32 = (core::f64::consts::PI / 180.0 * 1e-4) as f32;

/// What one message said, to tell a repeat from a contradiction.
type Digest = (Option<Fix>, Option<u32>);

/// The epoch under way.
#[derive(Clone, Copy, Debug, Default)]
struct Epoch {
    time_us: u64,
    told: bool,
    rmc: Option<(Digest, Velocity)>,
    gga: Option<Option<Fix>>,
    vtg: Option<Velocity>,
    pvt: Option<Digest>,
}

/// Epochs since a kind of message was last seen.
#[derive(Clone, Copy, Debug)]
struct Ages {
    rmc: u8,
    vtg: u8,
    /// Of a frame that came after a sentence of its epoch.
    frame_behind: u8,
}

impl Ages {
    /// True when nothing usual can add to the epoch.
    fn complete(&self, epoch: &Epoch) -> bool {
        if self.frame_behind <= FRAME_USUAL_EPOCHS {
            return false;
        }
        let speed_to_come = self.vtg < USUAL_EPOCHS && epoch.vtg.is_none();
        match (&epoch.rmc, &epoch.gga) {
            (Some(((None, _), _)), _) => true,
            (Some(((Some(_), speed), _)), _) => speed.is_some() || !speed_to_come,
            (None, Some(_)) => self.rmc >= USUAL_EPOCHS && !speed_to_come,
            (None, None) => false,
        }
    }
}

impl Epoch {
    /// What its sentences say together.
    fn joined(&self) -> Sample {
        // The RMC decides whether there is a fix; GGA and VTG fill in what it lacks.
        let vtg = self.vtg.unwrap_or_default();
        let (fix, velocity) = match (self.rmc, self.gga) {
            (Some(((fix, _), rmc)), _) => (
                fix,
                Velocity {
                    speed_e4kn: rmc.speed_e4kn.or(vtg.speed_e4kn),
                    course_e4deg: rmc.course_e4deg.or(vtg.course_e4deg),
                },
            ),
            (None, gga) => (gga.flatten(), vtg),
        };
        let mut sample = Sample {
            time_us: self.time_us,
            ..Sample::default()
        };
        if let Some(fix) = fix {
            sample.position = Some(position_of(fix));
            sample.speed_mps = velocity.speed_e4kn.map(|speed| speed as f32 * MPS_PER_E4KN);
            sample.direction_rad = velocity
                .course_e4deg
                .and_then(|course| i32::try_from(course).ok())
                .map(direction_of);
        }
        sample
    }
}

/// Joins messages to samples.
#[derive(Clone, Debug)]
pub(super) struct Joiner {
    clock: Clock,
    epoch: Option<Epoch>,
    ages: Ages,
    told_us: Option<u64>,
    /// True while the last message with a time belongs to `epoch`, so that a VTG does too.
    following: bool,
}

impl Default for Joiner {
    fn default() -> Self {
        Self {
            clock: Clock::default(),
            epoch: None,
            // A receiver without RMC is the exception: wait for it until it is known to be missing.
            ages: Ages {
                rmc: 0,
                vtg: u8::MAX,
                frame_behind: u8::MAX,
            },
            told_us: None,
            following: false,
        }
    }
}

/// Where samples and counts go while one message is taken in.
pub(super) struct Outlet<'a, F> {
    pub counts: &'a mut Counts,
    /// Offset of the message's first byte.
    pub at: u64,
    pub out: &'a mut F,
}

impl<F: FnMut(Sample)> Outlet<'_, F> {
    fn refuse(&mut self, reason: Reason) {
        self.counts.refuse(reason, self.at);
    }
}

impl Joiner {
    /// Days since 1970-01-01 of the newest date stated.
    pub fn day(&self) -> Option<i32> {
        self.clock.day()
    }

    /// Tells the epoch under way although more might come: the stream has ended.
    pub fn finish<F: FnMut(Sample)>(&mut self, to: &mut Outlet<'_, F>) {
        self.tell(to);
        self.epoch = None;
    }

    /// A sentence was lost: a VTG that follows may belong to an epoch that was never opened.
    pub fn lost(&mut self) {
        self.following = false;
    }

    /// Takes a sentence in.
    pub fn sentence<F: FnMut(Sample)>(&mut self, sentence: Sentence, to: &mut Outlet<'_, F>) {
        match sentence {
            Sentence::Rmc {
                stamp,
                fix,
                velocity,
            } => {
                one_more(&mut to.counts.rmc);
                let digest = (fix, velocity.speed_e4kn);
                let Some(epoch) = self.open(stamp, to) else {
                    return;
                };
                match epoch.rmc {
                    Some((before, _)) => repeat(before, digest, to),
                    None if epoch.told => one_more(&mut to.counts.merged),
                    None => {}
                }
                epoch.rmc = epoch.rmc.or(Some((digest, velocity)));
                self.ages.rmc = 0;
                self.close(to);
            }
            Sentence::Gga { stamp, fix } => {
                one_more(&mut to.counts.gga);
                let Some(epoch) = self.open(stamp, to) else {
                    return;
                };
                if epoch.told {
                    one_more(&mut to.counts.merged);
                }
                epoch.gga = epoch.gga.or(Some(fix));
                self.close(to);
            }
            Sentence::Vtg(velocity) => {
                one_more(&mut to.counts.vtg);
                self.ages.vtg = 0;
                let Some(epoch) = self.epoch.as_mut().filter(|_| self.following) else {
                    return;
                };
                if epoch.told {
                    one_more(&mut to.counts.merged);
                }
                epoch.vtg = epoch.vtg.or(Some(velocity));
                self.close(to);
            }
            Sentence::Other => one_more(&mut to.counts.other_nmea),
        }
    }

    /// Takes a NAV-PVT in. It has everything, so it tells its epoch at once.
    pub fn pvt<F: FnMut(Sample)>(&mut self, pvt: Pvt, to: &mut Outlet<'_, F>) {
        one_more(&mut to.counts.pvt);
        let Some(stamp) = pvt.stamp else {
            to.refuse(Reason::NoTime);
            return;
        };
        let same_us = match &self.epoch {
            Some(Epoch { pvt: Some(_), .. }) => SAME_NMEA_US,
            _ => SAME_MIXED_US,
        };
        let Some(epoch) = self.open_within(stamp, same_us, to) else {
            return;
        };
        let digest = pvt.solution.map_or((None, None), |solution| {
            (Some(solution.fix), solution.speed_mmps)
        });
        let behind = epoch.rmc.is_some() || epoch.gga.is_some();
        let (before, told) = (epoch.pvt, epoch.told);
        epoch.pvt = before.or(Some(digest));
        epoch.told = true;
        if behind {
            self.ages.frame_behind = 0;
        }
        if let Some(before) = before {
            repeat(before, digest, to);
        } else if told {
            one_more(&mut to.counts.merged);
        } else {
            // The frame's time is finer than the sentences'.
            let time_us = self.clock.refine(stamp);
            if let Some(epoch) = &mut self.epoch {
                epoch.time_us = time_us;
            }
            self.give(sample_of(time_us, pvt.solution), to);
        }
    }

    /// The epoch of this stamp; `None` when it is refused.
    fn open<F: FnMut(Sample)>(
        &mut self,
        stamp: Option<Stamp>,
        to: &mut Outlet<'_, F>,
    ) -> Option<&mut Epoch> {
        let Some(stamp) = stamp else {
            self.following = false;
            to.refuse(Reason::NoTime);
            return None;
        };
        let same_us = match &self.epoch {
            Some(Epoch { pvt: Some(_), .. }) => SAME_MIXED_US,
            _ => SAME_NMEA_US,
        };
        self.open_within(stamp, same_us, to)
    }

    fn open_within<F: FnMut(Sample)>(
        &mut self,
        stamp: Stamp,
        same_us: i64,
        to: &mut Outlet<'_, F>,
    ) -> Option<&mut Epoch> {
        let time_us = match self.clock.place(stamp, same_us) {
            Place::Same if self.epoch.is_some() => {
                self.following = true;
                return self.epoch.as_mut();
            }
            // The epoch was told at the end of the stream, which then went on.
            Place::Same => {
                to.refuse(Reason::Repeated);
                return None;
            }
            Place::New(time_us) => time_us,
            Place::Restarted(time_us) => {
                one_more(&mut to.counts.restarts);
                time_us
            }
            Place::Late => {
                self.following = false;
                to.refuse(Reason::Late);
                return None;
            }
        };
        self.tell(to);
        self.following = true;
        self.ages.rmc = self.ages.rmc.saturating_add(1);
        self.ages.vtg = self.ages.vtg.saturating_add(1);
        self.ages.frame_behind = self.ages.frame_behind.saturating_add(1);
        Some(self.epoch.insert(Epoch {
            time_us,
            ..Epoch::default()
        }))
    }

    /// Tells the epoch if it is complete.
    fn close<F: FnMut(Sample)>(&mut self, to: &mut Outlet<'_, F>) {
        let complete = |epoch: &Epoch| !epoch.told && self.ages.complete(epoch);
        if self.epoch.as_ref().is_some_and(complete) {
            self.tell(to);
        }
    }

    /// Gives the epoch out, unless that was done.
    fn tell<F: FnMut(Sample)>(&mut self, to: &mut Outlet<'_, F>) {
        let Some(epoch) = self.epoch.as_mut().filter(|epoch| !epoch.told) else {
            return;
        };
        epoch.told = true;
        let sample = epoch.joined();
        self.give(sample, to);
    }

    fn give<F: FnMut(Sample)>(&mut self, sample: Sample, to: &mut Outlet<'_, F>) {
        if self
            .told_us
            .is_some_and(|told_us| sample.time_us <= told_us)
        {
            to.refuse(Reason::Late);
            return;
        }
        self.told_us = Some(sample.time_us);
        one_more(&mut to.counts.samples);
        if sample.position.is_none() {
            one_more(&mut to.counts.voids);
        }
        (to.out)(sample);
    }
}

fn repeat<F: FnMut(Sample)>(before: Digest, now: Digest, to: &mut Outlet<'_, F>) {
    to.refuse(if before == now {
        Reason::Repeated
    } else {
        Reason::Conflict
    });
}

fn position_of(fix: Fix) -> Position {
    Position::Geodetic {
        lat_e7: fix.lat_e7,
        lon_e7: fix.lon_e7,
    }
}

/// Direction counter-clockwise from east, in (-π, π], of a course in 1e-4 degree clockwise from
/// north.
fn direction_of(course_e4deg: i32) -> f32 {
    const TURN: i32 = TURN_E4DEG.cast_signed();
    let direction = 900_000i32.wrapping_sub(course_e4deg % TURN);
    let direction = if direction <= -TURN / 2 {
        direction.wrapping_add(TURN)
    } else if direction > TURN / 2 {
        direction.wrapping_sub(TURN)
    } else {
        direction
    };
    direction as f32 * RAD_PER_E4DEG
}

/// A NAV-PVT as a sample.
///
/// Its horizontal accuracy is taken as the root mean square of the radial error, so that one axis
/// has 1/√2 of it; its speed accuracy is taken as the standard deviation of the ground speed.
fn sample_of(time_us: u64, solution: Option<Solution>) -> Sample {
    let Some(solution) = solution else {
        return Sample {
            time_us,
            ..Sample::default()
        };
    };
    Sample {
        time_us,
        position: Some(position_of(solution.fix)),
        speed_mps: solution.speed_mmps.map(|speed| speed as f32 * 1e-3),
        direction_rad: solution
            .course_e5deg
            .map(|course| direction_of(course / 10)),
        position_sd_m: solution
            .h_acc_mm
            .map(|acc| acc as f32 * (1e-3 * core::f32::consts::FRAC_1_SQRT_2)),
        speed_sd_mps: solution.s_acc_mmps.map(|acc| acc as f32 * 1e-3),
        ..Sample::default()
    }
}

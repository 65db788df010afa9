//! Laps: interpolated crossings of the start line.
//!
//! The start line is a segment 60 m wide across the reference line at node 0. It is crossed when
//! the progress passes zero forward; the crossing counts once the car is faster than 3 m/s. A lap
//! is closed by a crossing at least half a length and half a reference lap after the one that
//! opened it. Crossing it backward by more than [`BACK_M`] voids the lap under way. A car that
//! stands within [`BACK_M`] of the line, on either side, starts from it when it moves off.

use super::{Closed, Crossing};
use crate::gate::COURSE_LEAST_MPS;

/// Half the width of the start line, metres.
const HALF_WIDTH_M: f32 = 30.0;
/// This close to the line a standing car starts from it, and this far behind it the car has been
/// driven back over it, metres.
const BACK_M: f32 = 3.0;
/// Slower than this a car stands, m/s.
const STILL_MPS: f32 = 0.5;
/// A slow crossing is forgotten this far past the line, metres.
const FORGET_M: f32 = 100.0;

/// The lap under way and what may become a crossing.
#[derive(Clone, Debug, Default)]
pub(super) struct Laps {
    lap: u16,
    open: Option<Open>,
    pending: Option<Pending>,
    before: Option<Instant>,
    past_line: bool,
}

/// The lap under way since its opening crossing.
#[derive(Clone, Copy, Debug)]
struct Open {
    time_us: u64,
    gone_m: f32,
    whole: bool,
}

/// A crossing that counts once the car is fast enough.
#[derive(Clone, Copy, Debug)]
struct Pending {
    time_us: u64,
    /// The car stood at the line: passing it while it moves off is no other crossing.
    stood: bool,
}

/// The car at the start line's side.
#[derive(Clone, Copy, Debug)]
pub(super) struct Instant {
    pub(super) time_us: u64,
    /// Metres past the start line, negative before it.
    pub(super) past_m: f32,
    /// How fast that grows, m/s.
    pub(super) rate_mps: f32,
    pub(super) left_m: f32,
    pub(super) speed_mps: f32,
}

/// What is needed to tell laps from false starts.
#[derive(Clone, Copy, Debug)]
pub(super) struct Course {
    pub(super) length_m: f32,
    pub(super) lap_time_us: u64,
}

impl Laps {
    /// The lap under way, 0 before the first crossing.
    pub(super) fn lap(&self) -> u16 {
        self.lap
    }

    /// The lap under way is not driven whole.
    pub(super) fn spoil(&mut self) {
        if let Some(open) = &mut self.open {
            open.whole = false;
        }
    }

    /// The place was lost. Nothing is known of the line until it is found again.
    pub(super) fn lose(&mut self) {
        self.spoil();
        self.before = None;
        self.pending = None;
    }

    /// The source started again: the lap under way is dropped, its number is kept.
    pub(super) fn drop_lap(&mut self) {
        self.lose();
        self.open = None;
    }

    /// The place is found again this far round, so long after it was lost.
    pub(super) fn found(&mut self, progress_m: f32, time_us: u64, course: &Course) {
        let Some(open) = &mut self.open else { return };
        let round = time_us.saturating_sub(open.time_us) > course.lap_time_us.saturating_mul(2);
        if progress_m < open.gone_m - 20.0 || (round && course.lap_time_us > 0) {
            self.open = None;
            self.lap = self.lap.saturating_add(1);
        } else {
            open.gone_m = progress_m;
        }
    }

    /// Follows the car by one sample that gained `step_m`.
    pub(super) fn follow(
        &mut self,
        now: Instant,
        step_m: f32,
        course: &Course,
    ) -> Option<Crossing> {
        if let Some(open) = &mut self.open {
            open.gone_m += step_m;
        }
        if let Some(before) = self.before.replace(now) {
            self.cross(before, now, course);
        }
        let near = now.past_m.abs() <= BACK_M;
        if near && now.speed_mps < STILL_MPS && now.left_m.abs() <= HALF_WIDTH_M {
            self.pending = Some(Pending {
                time_us: now.time_us,
                stood: true,
            });
        }
        if now.past_m < -BACK_M && now.past_m > -FORGET_M && self.past_line {
            // Driven back over the line.
            self.past_line = false;
            self.open = None;
        }
        if now.past_m < -BACK_M || now.past_m > FORGET_M {
            self.pending = None;
        }
        if now.past_m > FORGET_M {
            self.past_line = false;
        }
        if now.past_m >= 0.0 && now.speed_mps > COURSE_LEAST_MPS && now.rate_mps > 0.0 {
            let time_us = self.pending.take()?.time_us;
            return Some(self.crossed(time_us, now.past_m, course));
        }
        None
    }

    /// Notes a forward pass of the line between two samples.
    fn cross(&mut self, before: Instant, now: Instant, course: &Course) {
        let forward = before.past_m < 0.0 && now.past_m >= 0.0;
        let backward = before.past_m >= 0.0 && now.past_m < 0.0;
        // The far side of the circuit changes sign too.
        let here = (now.past_m - before.past_m).abs() < 0.25 * course.length_m;
        if !here || now.left_m.abs() > HALF_WIDTH_M {
            if forward && here {
                self.open = None;
            }
            return;
        }
        if forward && !self.pending.is_some_and(|p| p.stood) {
            self.pending = Some(Pending {
                time_us: crossing_us(&before, &now),
                stood: false,
            });
        }
        if backward {
            self.past_line = true;
            self.pending = self.pending.filter(|p| p.stood);
        }
    }

    fn crossed(&mut self, time_us: u64, past_m: f32, course: &Course) -> Crossing {
        let closed = self.open.and_then(|open| {
            let took_us = time_us.saturating_sub(open.time_us);
            let long = open.gone_m >= 0.5 * course.length_m;
            (long && took_us >= course.lap_time_us / 2 && took_us > 0).then_some(Closed {
                lap: self.lap,
                time_us: took_us,
                valid: open.whole,
            })
        });
        if closed.is_some() || self.lap == 0 {
            self.lap = self.lap.saturating_add(1);
        }
        self.past_line = false;
        self.open = Some(Open {
            time_us,
            gone_m: past_m,
            whole: true,
        });
        Crossing { time_us, closed }
    }
}

/// When the progress passed zero: the root of the cubic through both places with both speeds,
/// exact for constant acceleration and constant jerk.
fn crossing_us(before: &Instant, now: &Instant) -> u64 {
    let span_us = now.time_us.saturating_sub(before.time_us);
    let h = span_us as f32 * 1e-6;
    let (a, b) = (before.past_m, now.past_m);
    let (va, vb) = (before.rate_mps * h, now.rate_mps * h);
    let k2 = 3.0 * (b - a) - 2.0 * va - vb;
    let k3 = va + vb - 2.0 * (b - a);
    let at = |u: f32| a + u * (va + u * (k2 + u * k3));
    // Bisection cannot leave the interval whatever the speeds say.
    let (mut low, mut high) = (0.0f32, 1.0f32);
    for _ in 0..22 {
        let u = 0.5 * (low + high);
        if at(u) < 0.0 {
            low = u;
        } else {
            high = u;
        }
    }
    // The share has 24 bits: exact as an integer, and boards have no double precision.
    let share_24 = (0.5 * (low + high) * 16_777_216.0) as u64;
    before
        .time_us
        .saturating_add(span_us.saturating_mul(share_24) >> 24)
}

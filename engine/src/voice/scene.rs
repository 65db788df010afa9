//! What the voice looks at in one moment.
//!
//! Everything here is free of thresholds. [`View`] finds it in the stream, and only what is asked
//! for; whoever has kept the answers can have the same voice speak again under other thresholds.

use super::Pace;
use crate::facts::{Facts, Passage};
use crate::judge::{self, Deviations, Verdict};
use crate::math::{larger, since_s, smaller};
use crate::motion::Moment;
use crate::phase::Doing;
use crate::reference::{Corner, CornerKind, ReferenceView};
use crate::thresholds::Thresholds;

/// Quiet begins this long before the brake onset, seconds.
pub const QUIET_S: f32 = 2.0;
/// A cue stands for at least this long, seconds.
pub const ON_S: f32 = 1.5;
/// `ahead` is told this long before the brake onset at the earliest, seconds.
const AHEAD_EARLIEST_S: f32 = 6.0;
/// And so long before, so that it has stood when quiet begins, seconds.
const AHEAD_LATEST_S: f32 = QUIET_S + ON_S;
/// Throttle must have been held this long before `after`, seconds.
const AFTER_HELD_S: f32 = 0.35;
/// Full throttle is waited for this long after its first touch, seconds.
const FULL_WAIT_S: f32 = 3.0;
/// Where the reference took up throttle may be off by noise alone, metres: where it is vaguer, a part
/// throttle came before it, and who is on none at all is late all the more.
const DUE_SD_MOST_M: f32 = 0.15;
/// Turning tighter than the reference by this share of its lateral acceleration, and this much
/// more, m/s², is a tighter line.
const TIGHTER_SHARE: f32 = 0.12;
const TIGHTER_MPS2: f32 = 1.0;
/// Above the reference by this much, throttle is not overdue, m/s.
const FASTER_MPS: f32 = 0.3;

/// With less than this before the next braking there is no time to wait any more, seconds.
const LAST_S: f32 = QUIET_S + 1.0;
/// From this share of the drive on a foot is on the throttle, be it a part of it only.
const ON_DRIVE: f32 = 0.15;
/// Slowing beyond this behind the reference's brake release keeps the throttle waiting, metres.
const RELEASE_LATE_M: f32 = 5.0;
/// Slower than this share of the reference's speed is no matter of throttle alone.
const FAR_SLOWER: f32 = 0.6;
/// On the way out, slower than this share of it is more than any corner costs: held up by traffic,
/// a flag, on the way to the pits.
const HELD_UP: f32 = 0.8;

/// No throttle where the reference had long taken it up, and the car slower than the reference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Overdue {
    /// Metres since the reference's throttle onset.
    pub late_m: f32,
    /// Of those what the spread of the reference's onset explains, metres.
    pub spread_m: f32,
    /// Nearer to the inside of the bend than the reference, now or at the exit when the car goes
    /// on as it does, or beside the line now to either side, metres.
    pub inside_m: f32,
    /// The car turns tighter than the reference did here: it can't take up the throttle yet.
    pub tighter: bool,
}

/// The corner that comes next, while it is time to remind of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Coming {
    /// Its number, from 1.
    pub corner: u8,
    /// The lap it will belong to.
    pub lap: u16,
}

/// One moment as the voice sees it.
pub trait Scene {
    /// Source time.
    fn time_us(&self) -> u64;
    /// Metres from the start line.
    fn progress_m(&self) -> f32;
    /// Speed, m/s.
    fn speed_mps(&self) -> f32;
    /// Lap of the passage under way.
    fn lap(&self) -> u16;
    /// Corner of the passage under way, from 1.
    fn corner(&self) -> u8;
    /// Whether the throttle is missing.
    fn overdue(&self) -> Option<Overdue>;
    /// Whether the corner is over, the throttle settled, and there is time to say something.
    fn way_out(&self) -> bool;
    /// Whether there is time to say something of the corner before.
    fn opening(&self) -> bool;
    /// The corner there is time to remind of.
    fn coming(&self) -> Option<Coming>;
    /// Which differences of the passage so far count.
    fn deviations(&self, limit: &Thresholds) -> Option<Deviations>;
    /// What the judge says of the passage so far.
    fn verdict(&self, limit: &Thresholds, pace: &Pace) -> Option<Verdict>;
}

/// A moment of the stream.
pub struct View<'a> {
    /// The reference.
    pub reference: &'a ReferenceView<'a>,
    /// The moment.
    pub now: &'a Moment,
    /// The passage under way.
    pub passage: &'a Passage,
    /// What the driver does.
    pub doing: Doing,
}

impl Scene for View<'_> {
    fn time_us(&self) -> u64 {
        self.now.time_us
    }

    fn progress_m(&self) -> f32 {
        self.now.progress_m
    }

    fn speed_mps(&self) -> f32 {
        self.now.speed_mps
    }

    fn lap(&self) -> u16 {
        self.passage.lap()
    }

    fn corner(&self) -> u8 {
        self.passage.corner()
    }

    fn overdue(&self) -> Option<Overdue> {
        let corner = self.own()?;
        // Where the throttle was computed nobody is hurried to it.
        if corner.kind != CornerKind::Braked || corner.unproven || !self.passage.usable() {
            return None;
        }
        let due = corner.facts.throttle_m?;
        let on = self.doing.driving
            || self.passage.throttle().is_some()
            || self.now.drive > ON_DRIVE
            || self.passage.touched(self.now);
        if on || self.busy() || self.passage.brake().is_none() {
            return None;
        }
        let late_m = self.reference.ahead_m(due.value, self.now.progress_m);
        let spread_m = smaller(due.sd, DUE_SD_MOST_M);
        let ahead_mps = self.now.speed_mps - self.usual_mps();
        if late_m <= spread_m || ahead_mps > -FASTER_MPS {
            return None;
        }
        let side = f32::from(corner.turn);
        Some(Overdue {
            late_m,
            spread_m,
            inside_m: larger(
                self.now.offset_m.abs(),
                side * self.passage.exit_offset_ahead(self.now),
            ),
            tighter: self.turns_tighter(side),
        })
    }

    fn way_out(&self) -> bool {
        let passage = self.passage;
        let left_s = self.next_brake_s();
        // What a lift took is not known while it lasts; one that is over is told of for what it
        // took so far, when there is no time left to wait.
        let lifting = passage.lifting() && !(passage.on_again() && left_s < LAST_S);
        if !passage.usable() || lifting || self.now.speed_mps < HELD_UP * self.usual_mps() {
            return false;
        }
        let since_s = passage
            .throttle()
            .map_or(f32::MAX, |at| since_s(at.time_us, self.now.time_us));
        let settled = match passage.throttle() {
            Some(_) => self.doing.settled && since_s > AFTER_HELD_S,
            // A corner taken without slowing has nothing to settle.
            None => passage.brake().is_none() && self.now.drive > 0.5,
        };
        if !settled || passage.into_m() < passage.spans().middle_end_m {
            return false;
        }
        // Of a corner that is lifted for or flat only the lift is told.
        if self.own().is_some_and(|c| c.kind != CornerKind::Braked) {
            return left_s >= QUIET_S;
        }
        if !self.exit_is_known(left_s) {
            return false;
        }
        // How soon full throttle comes belongs to the picture, while there is time to wait for it.
        let waiting = !passage.full() && since_s < FULL_WAIT_S && left_s > QUIET_S + 1.0;
        left_s >= QUIET_S && !waiting
    }

    fn opening(&self) -> bool {
        let passage = self.passage;
        let (into_m, left_s) = (passage.into_m(), self.next_brake_s());
        // On the way out of the next corner that one's exit is waited for: it may be the costlier.
        let before = into_m < passage.spans().turn_m;
        let out = into_m >= passage.spans().middle_end_m && self.exit_is_known(left_s);
        self.settled() && (before || out) && left_s >= QUIET_S
    }

    fn coming(&self) -> Option<Coming> {
        if !self.settled() || self.doing.braking {
            return None;
        }
        let (next, corner, left_s) = self.next_corner()?;
        if !(AHEAD_LATEST_S..AHEAD_EARLIEST_S).contains(&left_s) {
            return None;
        }
        let over_the_line = corner.apex_m < self.now.progress_m;
        Some(Coming {
            corner: (next as u8).saturating_add(1),
            lap: self.now.lap.saturating_add(u16::from(over_the_line)),
        })
    }

    #[inline(never)]
    fn deviations(&self, limit: &Thresholds) -> Option<Deviations> {
        let facts = self.facts();
        Some(Deviations::of(self.reference, self.own()?, &facts, limit))
    }

    #[inline(never)]
    fn verdict(&self, limit: &Thresholds, pace: &Pace) -> Option<Verdict> {
        let allowance = pace.allowance(self.reference, self.passage.index());
        judge::judge(self.reference, self.own()?, &self.facts(), limit, allowance)
    }
}

impl View<'_> {
    /// The facts of the passage as far as they can be told now.
    pub fn facts(&self) -> Facts {
        self.passage.so_far(self.reference, self.now)
    }

    /// Whether the driver has another reason than being late: who brakes where the reference drives
    /// off, or is far slower than it, is in traffic, under a flag or on the way to the pits.
    fn busy(&self) -> bool {
        self.doing.braking
            || self.now.slows()
            || self.slowed_late()
            || self.now.speed_mps < FAR_SLOWER * self.usual_mps()
    }

    /// Where the car runs to at the exit belongs to the picture, while there is time to wait for it
    /// before quiet begins in so many seconds.
    fn exit_is_known(&self, left_s: f32) -> bool {
        let to_exit_m = self.passage.spans().exit_m - self.passage.into_m();
        let there_s = left_s - to_exit_m / self.now.speed_mps.max(3.0);
        to_exit_m <= 0.0 || (self.passage.full() && there_s < QUIET_S)
    }

    /// The reference's speed here, m/s.
    fn usual_mps(&self) -> f32 {
        self.passage.reference_mps()
    }

    /// Whether the car was still slowed down where the reference had long let go of the brake.
    fn slowed_late(&self) -> bool {
        let released = self.own().and_then(|corner| corner.facts.release_m);
        released
            .zip(self.passage.slowing_m())
            .is_some_and(|(released, slowing_m)| {
                slowing_m
                    > self
                        .passage
                        .ahead_of_begin_m(self.reference, released.value)
                        + RELEASE_LATE_M
            })
    }

    fn turns_tighter(&self, side: f32) -> bool {
        let Some(lateral_mps2) = self.now.lat_mps2 else {
            return false;
        };
        let (speed_mps, curvature_pm) = (
            self.now.speed_mps,
            self.reference.curvature_pm(self.now.progress_m),
        );
        let usual_mps2 = side * curvature_pm * speed_mps * speed_mps;
        side * lateral_mps2 - usual_mps2 > TIGHTER_MPS2 + TIGHTER_SHARE * usual_mps2.max(0.0)
    }

    fn own(&self) -> Option<&Corner> {
        self.reference.corners.get(self.passage.index())
    }

    fn settled(&self) -> bool {
        self.doing.settled || (self.passage.brake().is_none() && self.now.drive > 0.5)
    }

    fn after(&self, index: usize) -> Option<(usize, &Corner)> {
        let next = if index + 1 < self.reference.corners.len() {
            index + 1
        } else {
            0
        };
        Some((next, self.reference.corners.get(next)?))
    }

    /// Seconds until the next corner's reference brake onset at the present speed.
    fn next_brake_s(&self) -> f32 {
        match self.own_to_come() {
            Some(own) => self.own_s(own),
            None => self.braking_s(),
        }
    }

    /// The same of the next corner behind the one under way that is slowed for.
    fn braking_s(&self) -> f32 {
        self.passage
            .next_brake()
            .map_or(f32::MAX, |next| self.reach_s(next.at_m, next.speed_mps))
    }

    /// The next corner that is slowed for, or a flat one before it that can still be reminded of,
    /// and the seconds until it.
    fn next_corner(&self) -> Option<(usize, &Corner, f32)> {
        let mut index = self.passage.index();
        if let Some(own) = self.own_to_come() {
            return Some((index, own, self.own_s(own)));
        }
        for _ in 0..self.reference.corners.len().min(super::CORNERS_MAX) {
            let (next, corner) = self.after(index)?;
            index = next;
            if corner.kind != CornerKind::Flat {
                return Some((index, corner, self.braking_s()));
            }
            let left_s = self.flat_s(corner);
            if left_s >= AHEAD_LATEST_S {
                return Some((index, corner, left_s));
            }
        }
        None
    }

    /// The corner under way, when it is slowed for, until its middle is over: its braking is still
    /// to come, or under way. Flat corners need no quiet.
    fn own_to_come(&self) -> Option<&Corner> {
        if self.passage.into_m() >= self.passage.spans().middle_end_m {
            return None;
        }
        self.own().filter(|c| c.kind != CornerKind::Flat)
    }

    /// Seconds until the braking of the corner under way, which is still to come; 0 from there to
    /// the end of the middle.
    fn own_s(&self, own: &Corner) -> f32 {
        let at_m = brake_at_m(own);
        if self.reference.wrap_m(at_m - own.begin_m) <= self.passage.into_m() {
            return 0.0;
        }
        self.reach_s(at_m, self.reference.speed_mps(at_m))
    }

    /// Seconds until the bend of a flat corner that comes next.
    fn flat_s(&self, corner: &Corner) -> f32 {
        let at_m = brake_at_m(corner);
        self.reach_s(at_m, self.reference.speed_mps(at_m))
    }

    /// Seconds to a place at the mean of the present speed and the one there.
    fn reach_s(&self, at_m: f32, speed_mps: f32) -> f32 {
        let ahead_m = self.reference.wrap_m(at_m - self.now.progress_m);
        let mean_mps = 0.5 * (self.now.speed_mps + speed_mps);
        ahead_m / larger(mean_mps, 3.0)
    }
}

/// Where a corner's reference brakes, or its bend where nobody brakes, metres from the start line.
fn brake_at_m(corner: &Corner) -> f32 {
    corner.facts.brake_m.map_or(corner.turn_m, |b| b.value)
}

/// Sees what the engine gives its voice, in the same order: whoever keeps it can have a voice
/// speak again under other thresholds.
pub trait Watch {
    /// [`super::Voice::hush`] is called.
    fn hushed(&mut self);
    /// [`super::Voice::remember`] is called; `pace` has taken the facts in.
    fn finished(&mut self, facts: &Facts, time_us: u64, pace: &Pace);
    /// [`super::Voice::speak`] is called.
    fn moment(&mut self, view: &View<'_>, pace: &Pace);
}

/// Nobody watches.
impl Watch for () {
    fn hushed(&mut self) {}
    fn finished(&mut self, _: &Facts, _: u64, _: &Pace) {}
    fn moment(&mut self, _: &View<'_>, _: &Pace) {}
}

//! How the facts differ from the reference's, and which differences count.

mod apart;

use crate::facts::{Facts, Measured};
use crate::math::sqrt;
use crate::reference::{Corner, ReferenceView};
use crate::thresholds::Thresholds;
use apart::{both, moved, slower_m, waited_s};

/// Speed at the exit counts from this share of the slowest speed's threshold on: it is measured
/// without an extreme.
const EXIT_SHARE: f32 = 0.7;
/// Full drive lacking counts from this share of the full-throttle point's threshold on: a throttle
/// that comes in evenly, and is full so much later, lacks half of it or less.
pub const MISSING_SHARE: f32 = 0.25;
/// A late throttle has cost at least this share of what it must.
const BORNE_OUT: f32 = 0.6;
/// A brake release counts as late by this share of the trail's threshold.
const RELEASE_SHARE: f32 = 0.5;

/// A difference to the reference, live minus reference.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Deviation {
    /// The difference; 0 when either side is unknown.
    pub value: f32,
    /// Whether it exceeds its threshold and twice its own standard deviation.
    pub counts: bool,
}

impl Deviation {
    /// Counts and is positive.
    pub fn more(&self) -> bool {
        self.counts && self.value > 0.0
    }

    /// Counts and is negative.
    pub fn less(&self) -> bool {
        self.counts && self.value < 0.0
    }

    /// Its size.
    pub fn size(&self) -> f32 {
        self.value.abs()
    }
}

/// All differences of one passage to the reference.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Deviations {
    /// Brake onset, metres, positive later on the road.
    pub brake_m: Deviation,
    /// What of it is later because the car came slower and had less to brake for, metres.
    pub slower_m: f32,
    /// Speed where braking began against the reference's speed there, m/s, positive faster.
    pub come_mps: Deviation,
    /// Mean deceleration, m/s², positive harder.
    pub decel_mps2: Deviation,
    /// Largest deceleration, m/s², positive harder.
    pub peak_decel_mps2: Deviation,
    /// Trail length, metres, positive longer.
    pub trail_m: Deviation,
    /// Slowest speed, m/s, positive faster.
    pub slowest_mps: Deviation,
    /// Where the brake was released, metres, positive later on the road.
    pub release_m: Deviation,
    /// Speed where the reference is slowest or takes up throttle, m/s, positive faster.
    pub slowed_mps: Deviation,
    /// Toward the outside of the bend at the slowest point, metres.
    pub apex_out_m: Deviation,
    /// Toward the outside of the bend at the exit, metres.
    pub exit_out_m: Deviation,
    /// Speed at the exit, m/s, positive faster.
    pub exit_mps: Deviation,
    /// Throttle onset, metres, positive later on the road.
    pub throttle_m: Deviation,
    /// From throttle onset to full throttle, metres, positive slower to come.
    pub to_full_m: Deviation,
    /// Full-throttle point, metres, positive later.
    pub full_m: Deviation,
    /// Lost by lifting once on the throttle, seconds.
    pub lift_s: Deviation,
    /// The most speed lost from the corner's begin to its exit, m/s.
    pub dip_mps: Deviation,
    /// Full drive lacking once on the throttle, metres of it.
    pub missing_m: Deviation,
    /// Coasting between brake and throttle, seconds.
    pub coast_s: Deviation,
    /// Seconds lost at the entry, in the middle, at the exit.
    pub loss_entry_s: f32,
    /// In the middle.
    pub loss_middle_s: f32,
    /// At the exit, the straight included.
    pub loss_exit_s: f32,
}

impl Deviations {
    /// The differences of one passage, with the thresholds that make them count.
    pub fn of(
        reference: &ReferenceView<'_>,
        corner: &Corner,
        facts: &Facts,
        limit: &Thresholds,
    ) -> Self {
        Differences::of(reference, corner, facts).against(&Losses::of(facts), limit)
    }
}

/// A difference before any threshold, live minus reference; 0 ± 0 when either side is unknown.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Difference {
    /// The difference.
    pub value: f32,
    /// Its standard deviation.
    pub sd: f32,
}

impl Difference {
    fn against(self, threshold: f32) -> Deviation {
        let size = self.value.abs();
        Deviation {
            value: self.value,
            counts: size > threshold && size > 2.0 * self.sd,
        }
    }
}

/// All differences of one passage to the reference before any threshold: what each field means is
/// said in [`Deviations`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[allow(missing_docs)]
pub struct Differences {
    pub brake_m: Difference,
    /// Of the brake onset, what is later because the car came slower and had less to brake for.
    pub slower_m: f32,
    pub come_mps: Difference,
    pub decel_mps2: Difference,
    pub peak_decel_mps2: Difference,
    /// The reference's own mean deceleration, of which the threshold is a share.
    pub want_decel_mps2: f32,
    pub trail_m: Difference,
    pub slowest_mps: Difference,
    pub release_m: Difference,
    pub slowed_mps: Difference,
    pub apex_out_m: Difference,
    pub exit_out_m: Difference,
    /// Of the offset at the slowest point, what the car moved from before the bend on.
    pub moved_in_m: Difference,
    /// Of the offset at the exit, what the car moved from the slowest point on.
    pub moved_out_m: Difference,
    /// Of the offset at the exit, what the car moved from before the bend on.
    pub moved_m: Difference,
    pub exit_mps: Difference,
    pub throttle_m: Difference,
    /// What a throttle so late costs a car that gains no speed before it, seconds.
    pub waited_s: f32,
    pub to_full_m: Difference,
    pub full_m: Difference,
    pub lift_s: Difference,
    pub dip_mps: Difference,
    pub missing_m: Difference,
    pub coast_s: Difference,
}

/// What a passage lost: all that changes from moment to moment on the way out.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Losses {
    /// At the entry, seconds; 0 when unknown.
    pub entry_s: f32,
    /// In the middle.
    pub middle_s: f32,
    /// At the exit, the straight included.
    pub exit_s: f32,
    /// Altogether; `None` when a part is unknown.
    pub whole_s: Option<f32>,
    /// Standard deviation of the whole.
    pub sd_s: f32,
}

impl Losses {
    /// The losses of one passage.
    pub fn of(facts: &Facts) -> Self {
        let part = |m: Option<Measured>| m.map_or(0.0, |m| m.value);
        let variance = |m: Option<Measured>| m.map_or(0.0, |m| m.sd * m.sd);
        Self {
            entry_s: part(facts.loss_entry_s),
            middle_s: part(facts.loss_middle_s),
            exit_s: part(facts.loss_exit_s),
            whole_s: facts.loss_s(),
            sd_s: sqrt(
                variance(facts.loss_entry_s)
                    + variance(facts.loss_middle_s)
                    + variance(facts.loss_exit_s),
            ),
        }
    }
}

impl Differences {
    /// The differences of one passage.
    pub fn of(reference: &ReferenceView<'_>, corner: &Corner, facts: &Facts) -> Self {
        let want = &corner.facts;
        let place = |live: Option<Measured>, wanted: Option<Measured>| match (live, wanted) {
            (Some(a), Some(b)) => Difference {
                value: reference.ahead_m(b.value, a.value),
                sd: both(a, b),
            },
            _ => Difference::default(),
        };
        let plain = |live: Option<Measured>, wanted: Option<Measured>| match (live, wanted) {
            (Some(a), Some(b)) => Difference {
                value: a.value - b.value,
                sd: both(a, b),
            },
            _ => Difference::default(),
        };
        // Left is positive: the outside of a left-hander is to the right.
        let outward = |d: Difference| Difference {
            value: -f32::from(corner.turn) * d.value,
            ..d
        };
        let to_full = |f: &Facts| match (f.throttle_m, f.full_m) {
            (Some(on), Some(full)) => Some(Measured::new(
                reference.ahead_m(on.value, full.value),
                both(on, full),
            )),
            _ => None,
        };
        let from = |to_m: f32| reference.wrap_m(to_m - corner.begin_m);
        let picked_up_m = want.throttle_m.map_or(corner.apex_m, |m| m.value);
        let slowed_m = corner.begin_m + from(picked_up_m).min(from(corner.apex_m));
        let slowed = Measured::new(reference.speed_mps(slowed_m), 0.0);
        // Dated late, a braking has taken off speed already.
        let there = facts.brake_m.map(|at| {
            let usual_mps = reference.speed_mps(at.value);
            let decel_mps2 = facts.mean_decel_mps2.map_or(0.0, |d| d.value);
            Measured::new(usual_mps, at.sd * decel_mps2 / usual_mps.max(3.0))
        });
        let coast = Some(want.coast_s.unwrap_or_default());
        let lift = Some(want.lift_s.unwrap_or_default());
        let dip = Some(want.dip_mps.unwrap_or_default());
        Self {
            brake_m: place(facts.brake_m, want.brake_m),
            slower_m: slower_m(facts, want),
            come_mps: plain(facts.brake_mps, there),
            decel_mps2: plain(facts.mean_decel_mps2, want.mean_decel_mps2),
            peak_decel_mps2: plain(facts.peak_decel_mps2, want.peak_decel_mps2),
            want_decel_mps2: want.mean_decel_mps2.map_or(0.0, |m| m.value),
            trail_m: plain(facts.trail_m, want.trail_m),
            slowest_mps: plain(facts.slowest_mps, want.slowest_mps),
            release_m: place(facts.release_m, want.release_m),
            slowed_mps: plain(facts.slowed_mps, Some(slowed)),
            apex_out_m: outward(plain(facts.offset_slowest_m, want.offset_slowest_m)),
            moved_in_m: outward(moved(facts, want, |f| {
                (f.offset_begin_m, f.offset_slowest_m)
            })),
            exit_out_m: outward(plain(facts.offset_exit_m, want.offset_exit_m)),
            moved_out_m: outward(moved(facts, want, |f| {
                (f.offset_slowest_m, f.offset_exit_m)
            })),
            moved_m: outward(moved(facts, want, |f| (f.offset_begin_m, f.offset_exit_m))),
            exit_mps: plain(facts.exit_mps, want.exit_mps),
            throttle_m: place(facts.throttle_m, want.throttle_m),
            waited_s: waited_s(reference, facts, want),
            to_full_m: plain(to_full(facts), to_full(want)),
            full_m: place(facts.full_m, want.full_m),
            lift_s: plain(facts.lift_s, lift),
            dip_mps: plain(facts.dip_mps, dip),
            missing_m: plain(facts.missing_m, Some(Measured::default())),
            coast_s: plain(facts.coast_s, coast),
        }
    }

    /// Which of them count.
    pub fn against(&self, losses: &Losses, limit: &Thresholds) -> Deviations {
        let decel = self.want_decel_mps2 * limit.decel_ratio;
        Deviations {
            brake_m: self.brake_m.against(limit.brake_m),
            slower_m: self.slower_m,
            come_mps: self.come_mps.against(limit.slowest_mps),
            decel_mps2: self.decel_mps2.against(decel),
            peak_decel_mps2: self.peak_decel_mps2.against(0.5 * decel),
            trail_m: self.trail_m.against(limit.trail_m),
            slowest_mps: self.slowest_mps.against(limit.slowest_mps),
            release_m: self.release_m.against(RELEASE_SHARE * limit.trail_m),
            slowed_mps: self.slowed_mps.against(limit.slowest_mps),
            apex_out_m: self.apex_out(limit.offset_m),
            exit_out_m: self.exit_out(limit.offset_m),
            exit_mps: self.exit_mps.against(EXIT_SHARE * limit.slowest_mps),
            throttle_m: self.picked_up(losses, limit.throttle_m),
            to_full_m: self.to_full_m.against(limit.full_m),
            full_m: self.full_m.against(limit.full_m),
            lift_s: self.lift_s.against(limit.lift_s),
            dip_mps: self.dip_mps.against(limit.slowest_mps),
            missing_m: self.missing_m.against(MISSING_SHARE * limit.full_m),
            coast_s: self.coast_s.against(limit.coast_s),
            loss_entry_s: losses.entry_s,
            loss_middle_s: losses.middle_s,
            loss_exit_s: losses.exit_s,
        }
    }

    /// The throttle onset. One that came late cost at least what the car, no faster than where the
    /// reference took it up, lost on the way there: what did not was a part throttle unseen.
    fn picked_up(&self, losses: &Losses, threshold_m: f32) -> Deviation {
        let found = self.throttle_m.against(threshold_m);
        let lost_s = losses.middle_s + losses.exit_s;
        Deviation {
            counts: found.counts && (found.value < 0.0 || lost_s > BORNE_OUT * self.waited_s),
            ..found
        }
    }

    /// The offset at the exit. A car that waits for the throttle is slowest late, and its line has
    /// moved by then: what it moved in the whole bend counts as well.
    fn exit_out(&self, threshold_m: f32) -> Deviation {
        let late = off_line(self.exit_out_m, self.moved_out_m, threshold_m);
        let whole = off_line(self.exit_out_m, self.moved_m, threshold_m);
        Deviation {
            counts: late.counts || whole.counts,
            ..whole
        }
    }

    /// The offset in the middle. Who moved out before it and back to the line behind it, moved by
    /// the larger of the two.
    fn apex_out(&self, threshold_m: f32) -> Deviation {
        let (moved_m, back_m) = (self.moved_in_m.value, -self.moved_out_m.value);
        let both = moved_m * back_m > 0.0 && moved_m.abs() > 0.5 * threshold_m;
        let moved = Difference {
            value: if both && back_m.abs() > moved_m.abs() {
                back_m
            } else {
                moved_m
            },
            ..self.moved_in_m
        };
        off_line(self.apex_out_m, moved, threshold_m)
    }
}

/// An offset: while the day's common offset is not well known, what the car moved in the corner is
/// known better.
fn off_line(whole: Difference, moved: Difference, threshold_m: f32) -> Deviation {
    let (whole, moved) = (whole.against(threshold_m), moved.against(threshold_m));
    let counts = moved.counts && moved.value * whole.value > 0.0 && whole.value.abs() > threshold_m;
    Deviation {
        counts: whole.counts || counts,
        ..whole
    }
}

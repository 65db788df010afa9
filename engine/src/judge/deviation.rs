//! How the facts differ from the reference's, and which differences count.

use crate::facts::{Facts, Measured};
use crate::math::sqrt;
use crate::reference::{Corner, ReferenceView};
use crate::thresholds::Thresholds;

/// Speed at the exit counts from this share of the slowest speed's threshold on: it is measured
/// without an extreme.
const EXIT_SHARE: f32 = 0.7;
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
    fn new(value: f32, sd: f32, threshold: f32) -> Self {
        Self {
            value,
            counts: value.abs() > threshold && value.abs() > 2.0 * sd,
        }
    }

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
    /// Coasting between brake and throttle, seconds.
    pub coast_s: Deviation,
    /// Seconds lost at the entry, in the middle, at the exit.
    pub loss_entry_s: f32,
    /// In the middle.
    pub loss_middle_s: f32,
    /// At the exit, the straight included.
    pub loss_exit_s: f32,
    /// Standard deviation of the whole loss.
    pub loss_sd_s: f32,
}

impl Deviations {
    /// The differences of one passage, with the thresholds that make them count.
    pub fn of(
        reference: &ReferenceView<'_>,
        corner: &Corner,
        facts: &Facts,
        limit: &Thresholds,
    ) -> Self {
        let want = &corner.facts;
        let place =
            |live: Option<Measured>, reference_value: Option<Measured>, threshold: f32| match (
                live,
                reference_value,
            ) {
                (Some(a), Some(b)) => {
                    Deviation::new(reference.ahead_m(b.value, a.value), both(a, b), threshold)
                }
                _ => Deviation::default(),
            };
        let plain =
            |live: Option<Measured>, reference_value: Option<Measured>, threshold: f32| match (
                live,
                reference_value,
            ) {
                (Some(a), Some(b)) => Deviation::new(a.value - b.value, both(a, b), threshold),
                _ => Deviation::default(),
            };
        // Left is positive: the outside of a left-hander is to the right.
        let outward = |d: Deviation| Deviation {
            value: -f32::from(corner.turn) * d.value,
            ..d
        };
        let decel = want
            .mean_decel_mps2
            .map_or(0.0, |d| d.value * limit.decel_ratio);
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
        let coast = Some(want.coast_s.unwrap_or_default());
        let lift = Some(want.lift_s.unwrap_or_default());
        let part = |m: Option<Measured>| m.map_or(0.0, |m| m.value);
        let variance = |m: Option<Measured>| m.map_or(0.0, |m| m.sd * m.sd);
        Self {
            brake_m: place(facts.brake_m, want.brake_m, limit.brake_m),
            decel_mps2: plain(facts.mean_decel_mps2, want.mean_decel_mps2, decel),
            peak_decel_mps2: plain(facts.peak_decel_mps2, want.peak_decel_mps2, 0.5 * decel),
            trail_m: plain(facts.trail_m, want.trail_m, limit.trail_m),
            slowest_mps: plain(facts.slowest_mps, want.slowest_mps, limit.slowest_mps),
            release_m: place(
                facts.release_m,
                want.release_m,
                RELEASE_SHARE * limit.trail_m,
            ),
            slowed_mps: plain(facts.slowed_mps, Some(slowed), limit.slowest_mps),
            apex_out_m: outward(plain(
                facts.offset_slowest_m,
                want.offset_slowest_m,
                limit.offset_m,
            )),
            exit_out_m: outward(plain(
                facts.offset_exit_m,
                want.offset_exit_m,
                limit.offset_m,
            )),
            exit_mps: plain(
                facts.exit_mps,
                want.exit_mps,
                EXIT_SHARE * limit.slowest_mps,
            ),
            throttle_m: place(facts.throttle_m, want.throttle_m, limit.throttle_m),
            to_full_m: plain(to_full(facts), to_full(want), limit.full_m),
            full_m: place(facts.full_m, want.full_m, limit.full_m),
            lift_s: plain(facts.lift_s, lift, limit.lift_s),
            coast_s: plain(facts.coast_s, coast, limit.coast_s),
            loss_entry_s: part(facts.loss_entry_s),
            loss_middle_s: part(facts.loss_middle_s),
            loss_exit_s: part(facts.loss_exit_s),
            loss_sd_s: sqrt(
                variance(facts.loss_entry_s)
                    + variance(facts.loss_middle_s)
                    + variance(facts.loss_exit_s),
            ),
        }
    }
}

fn both(a: Measured, b: Measured) -> f32 {
    sqrt(a.sd * a.sd + b.sd * b.sd)
}

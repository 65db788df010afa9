//! The facts of a passage, finished or as far as they go.

use super::{Passage, measured};
use crate::facts::behind::lacking;
use crate::facts::spans::{RunIn, reference_s};
use crate::facts::{Facts, Measured};
use crate::math::sqrt;
use crate::motion::Moment;
use crate::reference::{CornerKind, ReferenceView};

/// What is still to come on the way out is known so well, as a share of it; a gain, that is still
/// to be driven, a quarter as well: what is praised was driven for the most part.
const COMING_SD: f32 = 0.25;
/// What being slower costs on a run-in is known so well, as a share of it.
const RUN_IN_SD: f32 = 0.2;

impl Passage {
    /// The facts as far as they can be told now; the exit's loss includes what the speed missing
    /// now will cost on the road to the corner's end.
    pub fn so_far(&self, reference: &ReferenceView<'_>, now: &Moment) -> Facts {
        let mut facts = self.complete(reference);
        if facts.offset_exit_m.is_none() && self.into_m >= self.spans.middle_end_m {
            let ahead_m = self.exit_offset_ahead(now);
            facts.offset_exit_m = self.sure.offset(ahead_m, 0.3);
        }
        if facts.loss_exit_s.is_none()
            && let Some(from_us) = self.passed.middle_end_us
        {
            let gone_s = now.time_us.saturating_sub(from_us) as f32 * 1e-6;
            let from_m = reference.wrap_m(self.begin_m + self.spans.middle_end_m);
            let lost_s = gone_s - reference_s(reference, from_m, now.progress_m);
            let left_m = (self.spans.end_m - self.into_m).max(0.0);
            let missing_mps = reference.speed_mps(now.progress_m) - now.speed_mps;
            let end_mps = reference.speed_mps(self.begin_m + self.spans.end_m - 1.0);
            let mean_mps = (0.5 * (end_mps + now.speed_mps)).max(5.0);
            // A deficit of speed is made up on the way: two thirds of it last on the mean.
            let coming_s = 0.67 * missing_mps * left_m / (mean_mps * mean_mps)
                + self.run_in_s(reference, lacking(reference, now.progress_m, now.speed_mps));
            let sd_s = self.sure.way_sd_m() / now.speed_mps.max(3.0);
            facts.loss_exit_s = Some(Measured::new(
                lost_s + coming_s,
                sd_s + COMING_SD * coming_s.max(-4.0 * coming_s),
            ));
            bound_lift(&mut facts);
        }
        facts
    }

    /// The facts with everything that follows from the others.
    #[inline(never)]
    pub fn complete(&self, reference: &ReferenceView<'_>) -> Facts {
        let mut facts = self.facts;
        facts.usable = self.usable();
        // Braked again before any throttle was held: the last touch is all there was.
        facts.throttle_m = facts.throttle_m.or(self.touch.as_ref().map(measured));
        self.sure.widen(&mut facts);
        // It may have been held since it was first touched, and left only between two samples.
        if let (true, Some(throttle), Some(touched_m)) = (
            self.sure.seldom(),
            &mut facts.throttle_m,
            self.touches.first_m,
        ) {
            let since_m = reference.ahead_m(self.begin_m + touched_m, throttle.value);
            throttle.sd += since_m.max(0.0);
        }
        if let (Some(release), Some(turn_in)) = (facts.release_m, facts.turn_in_m) {
            let length_m = reference.ahead_m(turn_in.value, release.value).max(0.0);
            let sd_m = sqrt(release.sd * release.sd + turn_in.sd * turn_in.sd);
            facts.trail_m = Some(Measured::new(length_m, sd_m));
        }
        if let (CornerKind::Braked, Some(from), Some(to)) =
            (facts.kind, facts.brake_mps, facts.slowest_mps)
        {
            facts.mean_decel_mps2 = self.braking.mean(from.value, to.value);
        }
        let begin = (self.passed.begin_us, 0.0);
        let middle_begin = (self.passed.middle_begin_us, self.spans.middle_begin_m);
        let middle_end = (self.passed.middle_end_us, self.spans.middle_end_m);
        let end = (self.passed.end_us, self.spans.end_m);
        let more = |loss: Option<Measured>, by_s: f32| {
            loss.map(|l| Measured::new(l.value + by_s, l.sd + RUN_IN_SD * by_s.abs()))
        };
        facts.loss_entry_s = more(
            self.loss(reference, begin, middle_begin),
            -self.brought_s.max(0.0),
        );
        facts.loss_middle_s = self.loss(reference, middle_begin, middle_end);
        facts.loss_exit_s = more(self.loss(reference, middle_end, end), self.handed_s);
        let end_us = self.road_us.or(self.passed.end_us);
        if let Some(end_us) = end_us.or(self.last.map(|l| l.time_us)) {
            let (lifts, lost) = self.behind.lifts(end_us);
            (facts.lifts, facts.lift_s) = (lifts, Some(lost));
            bound_lift(&mut facts);
        }
        facts.dip_mps = self.behind.dip(self.last.map_or(0.0, |l| l.noise_mps));
        facts.missing_m = self.behind.missing();
        self.sure.widen_missing(&mut facts);
        facts
    }

    /// What lacking so much costs on the next corner's run-in.
    #[inline(never)]
    fn run_in_s(&self, reference: &ReferenceView<'_>, lacking_m2ps2: f32) -> f32 {
        let corners = reference.corners;
        let next = corners.get(self.index().saturating_add(1));
        next.or(corners.first())
            .and_then(|next| RunIn::of(reference, next, next.begin_m))
            .map_or(0.0, |way| way.cost_s(lacking_m2ps2))
    }

    #[inline(never)]
    fn loss(
        &self,
        reference: &ReferenceView<'_>,
        (from_us, from_m): (Option<u64>, f32),
        (to_us, to_m): (Option<u64>, f32),
    ) -> Option<Measured> {
        let place = |into_m: f32| reference.wrap_m(self.begin_m + into_m);
        let took_s = to_us?.checked_sub(from_us?)? as f32 * 1e-6;
        let lost_s = took_s - reference_s(reference, place(from_m), place(to_m));
        let speed_mps = reference.speed_mps(place(to_m)).max(3.0);
        Some(Measured::new(lost_s, self.sure.way_sd_m() / speed_mps))
    }
}

/// No lift costs more than the way out did.
fn bound_lift(facts: &mut Facts) {
    if let (Some(lift), Some(exit)) = (&mut facts.lift_s, facts.loss_exit_s) {
        lift.value = lift.value.min(exit.value.max(0.0));
    }
}

//! Following the car along the line: integrated speed with a slow pull to the projection.

use super::SURGE_FREE_M;
use super::fusion::{Known, Lesson, Step};
use super::line::{Mark, Segment, Sight};
use super::search::BESIDE_MOST_M;
use crate::gate::Admitted;
use crate::math::{atan2, larger, sqrt, wrap_angle};
use crate::reference::ReferenceView;

/// Share of a change of speed times its duration by which the driven distance may be off.
const COARSE: f32 = 0.3;
/// This far beside the line the car is away from it, metres.
const AWAY_M: f32 = 10.0;
/// Only nearer to the line than this a car teaches what the source is off by, metres.
const TEACH_M: f32 = 8.0;
/// Sideways steps beyond this are none of the car's, metres and as a share of the way.
const JUMP: (f32, f32) = (4.0, 0.25);
/// The projection is off its track when farther ahead or behind, metres,
const ASTRAY_M: f32 = 12.0;
/// for this long, seconds.
const ASTRAY_S: f32 = 0.4;
/// Gaps up to this are bridged if the car comes out where speed says, seconds.
const BRIDGED_MOST_S: f32 = 3.0;
/// How far the car may come out elsewhere, metres and as a share of the way.
const BRIDGED_OFF: (f32, f32) = (10.0, 0.3);

/// Projection and speed farther apart than this, metres, for longer than [`DISPUTE_S`] dispute the
/// place.
const DISPUTE_M: f32 = 4.0;
/// Seconds.
const DISPUTE_S: f32 = 0.15;
/// A distance between them that changes less than this, but for what was pulled, metres,
const STEADY_M: f32 = 1.0;
/// for so long was a mistake that is over, seconds: the projection is right.
const STEADY_S: f32 = 0.7;
/// The projection is averaged over this long between two pulls, seconds.
const PULL_EVERY_S: f32 = 0.095;
/// And the distance beside the line, seconds.
const ASIDE_EVERY_S: f32 = 0.4;
/// How long the position's own sideways movement is remembered, seconds.
const SWAY_S: f32 = 5.0;
/// How long the pull of the position along the line is remembered, seconds.
const SURGE_S: f32 = 10.0;
/// Smoothing time of the angle to the line, seconds.
const SMOOTH_S: f32 = 0.3;
/// A larger change of it is a turn and no noise, radians.
const TURNED_RAD: f32 = 0.7;

/// The place that is followed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Track {
    pub(super) mark: Mark,
    /// The line where the point was last looked for.
    segment: Option<Segment>,
    /// The last sample leapt sideways.
    pub(super) jumped: bool,
    /// Metres the position moved sideways lately and the direction of travel does not explain.
    pub(super) sway_m: f32,
    /// Metres the position pulled the place along the line lately.
    surge_m: f32,
    /// Variance of the distance driven lately, m².
    coarse_m2: f32,
    /// The last mean distance to the projection, metres.
    off_m: f32,
    left_m: f32,
    slip_rad: Option<f32>,
    step_m: f32,
    /// The line's direction at the mark and [`Sight::shrink`] there.
    along: (f32, f32),
    shrink: f32,
    /// By how much the place that was told lay behind the mark, metres.
    shift_m: f32,
    speed_mps: f32,
    /// Metres of progress for each metre driven; negative against the line.
    ratio: f32,
    astray_s: f32,
    smooth_rad: f32,
    bearing: Bearing,
    since: Since,
    dispute: Dispute,
}

/// What is told of the place.
#[derive(Clone, Copy, Debug)]
pub(super) struct Told {
    pub(super) mark: Mark,
    pub(super) left_m: f32,
    pub(super) step_m: f32,
    pub(super) slip_rad: Option<f32>,
    /// Metres of progress a second.
    pub(super) rate_mps: f32,
}

/// What has been seen since the last pull.
#[derive(Clone, Copy, Debug, Default)]
struct Since {
    step: Step,
    /// Distance to the projection times seconds, and the seconds.
    off_ms: f32,
    seen_s: f32,
    /// Distance beside the line times seconds, and the seconds.
    left_ms: f32,
    left_s: f32,
}

/// Projection and speed that do not agree on the place.
#[derive(Clone, Copy, Debug, Default)]
struct Dispute {
    seconds: f32,
    /// Since when the distance between them has stayed, and what it was, metres.
    steady_s: f32,
    off_m: f32,
}

impl Dispute {
    /// Takes how far ahead the projection is; true once the distance has stayed for so long that
    /// the projection is to be believed.
    fn settles(&mut self, off_m: f32, dt_s: f32) -> bool {
        if off_m.abs() < DISPUTE_M {
            *self = Self::default();
            return false;
        }
        self.seconds += dt_s;
        self.steady_s += dt_s;
        if (off_m - self.off_m).abs() > STEADY_M {
            (self.steady_s, self.off_m) = (0.0, off_m);
        }
        self.steady_s >= STEADY_S
    }

    /// The place was pulled to the projection: the distance is so much less for that reason.
    fn pulled(&mut self, pull_m: f32) {
        self.off_m -= pull_m;
    }
}

/// A direction and its angle, from which angles of nearby directions follow without an arc tangent.
#[derive(Clone, Copy, Debug, Default)]
struct Bearing {
    along: (f32, f32),
    angle_rad: f32,
}

impl Bearing {
    /// The angle of a unit vector.
    fn of(&mut self, along: (f32, f32)) -> f32 {
        let cross = self.along.0 * along.1 - self.along.1 * along.0;
        let dot = self.along.0 * along.0 + self.along.1 * along.1;
        if dot <= 0.0 || cross.abs() > 0.2 {
            *self = Self {
                along,
                angle_rad: atan2(along.1, along.0),
            };
            return self.angle_rad;
        }
        // Arc sine by its series, within 1e-6 up to 0.2.
        let c2 = cross * cross;
        self.angle_rad + cross * (1.0 + c2 * (1.0 / 6.0 + c2 * (3.0 / 40.0)))
    }
}

impl Track {
    /// Begins at a place that was searched and believed, along the line or against it.
    pub(super) fn begin(
        line: &ReferenceView<'_>,
        mark: Mark,
        forward: bool,
        at: &Admitted,
        known: &Known,
    ) -> Self {
        let sight = mark.sight(line, at.east_m, at.north_m);
        let (along, shrink) = sight.map_or(((0.0, 0.0), 1.0), |s| (s.along, s.shrink));
        Self {
            mark,
            segment: None,
            left_m: sight.map_or(0.0, |s| s.left_m),
            slip_rad: None,
            step_m: 0.0,
            jumped: false,
            sway_m: 0.0,
            surge_m: 0.0,
            coarse_m2: 0.0,
            off_m: 0.0,
            along,
            shrink,
            shift_m: known.shift.along_and_left_m(along).0 / shrink,
            speed_mps: at.speed_mps,
            ratio: if forward { 1.0 } else { -1.0 },
            astray_s: 0.0,
            smooth_rad: 0.0,
            bearing: Bearing::default(),
            since: Since::default(),
            dispute: Dispute::default(),
        }
    }

    /// The place with the common offset of the position taken out.
    pub(super) fn told(&mut self, line: &ReferenceView<'_>, known: &Known) -> Told {
        let (along_m, left_m) = known.shift.along_and_left_m(self.along);
        let shift_m = along_m / self.shrink;
        let step_m = self.step_m - (shift_m - self.shift_m);
        self.shift_m = shift_m;
        Told {
            mark: self.mark.moved(line, -shift_m),
            left_m: self.left_m - left_m,
            step_m,
            slip_rad: self.slip_rad,
            rate_mps: self.speed_mps * self.ratio,
        }
    }

    /// Metres the position moved along the line on its own lately: what it pulled already and what
    /// it has yet to pull, without what may be the driven distance's own doubt.
    pub(super) fn surges_m(&self) -> f32 {
        let surges_m = self.surge_m.abs() + self.off_m.abs();
        if surges_m <= SURGE_FREE_M {
            return surges_m;
        }
        larger(surges_m - 2.0 * sqrt(self.coarse_m2), SURGE_FREE_M)
    }

    /// The projection is just now far from where the speed says.
    pub(super) fn astray(&self) -> bool {
        self.astray_s > 0.0 || self.dispute.seconds > DISPUTE_S
    }

    /// Follows the car by one sample; none when it is lost.
    ///
    /// Only a car that drives well (`teach`) teaches what the source is off by. The place is that
    /// of the position as it comes, its common offset included: [`Track::told`] takes it out.
    pub(super) fn follow(
        &mut self,
        line: &ReferenceView<'_>,
        at: &Admitted,
        teach: bool,
        known: &mut Known,
    ) -> Option<()> {
        if at.broken && at.gone_s > BRIDGED_MOST_S {
            return None;
        }
        self.jumped = false;
        let push_mps = at.speed_mps - self.speed_mps;
        let driven_m = 0.5 * (self.speed_mps + at.speed_mps) * at.gone_s * known.pace.stretch();
        let mut step_m = (driven_m + push_mps * known.pace.lag_s()) * self.ratio;
        self.mark = self.mark.moved(line, step_m);
        let sight = self.sight(line, at)?;
        let ratio = self.turn(&sight, at);
        // The step was taken with the old ratio; half of it belongs to the new one.
        let late_m = 0.5 * at.speed_mps * at.gone_s * (ratio - self.ratio);
        self.ratio = ratio;
        self.speed_mps = at.speed_mps;
        let coarse_m = COARSE * push_mps * at.dt_s;
        self.since.step.add(&Step {
            dt_s: at.dt_s,
            step_m,
            push_mps: push_mps * ratio,
            coarse_m2: coarse_m * coarse_m,
            away: self.left_m.abs() > AWAY_M || self.slip_rad.is_none(),
        });
        let off_m = sight.ahead_m - late_m;
        let pull_m = if at.broken {
            if off_m.abs() > BRIDGED_OFF.0 + BRIDGED_OFF.1 * driven_m {
                return None;
            }
            self.mark = self.mark.moved(line, off_m);
            self.since = Since::default();
            self.off_m = 0.0;
            known.pace.found();
            step_m += off_m;
            let nearer = self.mark.sight(line, at.east_m, at.north_m)?;
            self.left_m = nearer.left_m;
            nearer.ahead_m
        } else if at.located {
            self.jumped = self.sways(sight.left_m, at);
            self.left_m = sight.left_m;
            self.pull(off_m, &sight, at.dt_s, teach, known)?
        } else {
            0.0
        };
        self.mark = self.mark.moved(line, late_m + pull_m);
        self.step_m = step_m + late_m + pull_m;
        (self.along, self.shrink) = (sight.along, sight.shrink);
        (self.left_m.abs() <= BESIDE_MOST_M).then_some(())
    }

    /// How the car lies as seen from the mark. Most samples are on the line's same piece as the one
    /// before.
    fn sight(&mut self, line: &ReferenceView<'_>, at: &Admitted) -> Option<Sight> {
        let Mark { node, along_m } = self.mark;
        let segment = match &mut self.segment {
            Some(segment) if segment.begins_at(node) => segment,
            other => other.insert(Segment::behind(line, node)?),
        };
        Some(segment.sight(line, along_m, at.east_m, at.north_m))
    }

    /// Follows how far the position moves sideways on its own; whether it did as no car does.
    fn sways(&mut self, left_m: f32, at: &Admitted) -> bool {
        let metres = at.speed_mps * at.dt_s;
        let aside_m = self.slip_rad.map_or(0.0, |s| metres * s.clamp(-1.0, 1.0));
        let sway_m = left_m - self.left_m - aside_m;
        let keep = 1.0 - at.dt_s / (at.dt_s + SWAY_S);
        self.sway_m = keep * (self.sway_m + sway_m);
        sway_m.abs() > JUMP.0 + JUMP.1 * metres
    }

    /// How much of the distance to the projection is taken; none when it is astray for too long.
    fn pull(
        &mut self,
        off_m: f32,
        sight: &Sight,
        dt_s: f32,
        teach: bool,
        known: &mut Known,
    ) -> Option<f32> {
        if off_m.abs() > ASTRAY_M {
            self.astray_s += dt_s;
            if self.astray_s > ASTRAY_S {
                return None;
            }
        } else {
            self.astray_s = 0.0;
        }
        let since = &mut self.since;
        since.seen_s += dt_s;
        since.off_ms += off_m * dt_s;
        since.left_ms += sight.left_m * dt_s;
        since.left_s += dt_s;
        if since.step.dt_s < PULL_EVERY_S {
            return Some(0.0);
        }
        known.pace.predict(&since.step);
        let keep = SURGE_S / (SURGE_S + since.step.dt_s);
        self.coarse_m2 = (self.coarse_m2 + since.step.coarse_m2) * keep;
        let (off_m, seen_s) = (since.off_ms / since.seen_s, since.seen_s);
        self.off_m = off_m;
        since.step = Step::default();
        (since.off_ms, since.seen_s) = (0.0, 0.0);
        if self.dispute.settles(off_m, seen_s) {
            known.pace.found();
        }
        let lesson = if self.slip_rad.is_none() {
            Lesson::Creep
        } else if !teach || sight.left_m.abs() > TEACH_M {
            Lesson::Place
        } else {
            Lesson::All
        };
        if lesson != Lesson::All {
            (since.left_ms, since.left_s) = (0.0, 0.0);
        } else if since.left_s >= ASIDE_EVERY_S {
            let left_m = since.left_ms / since.left_s;
            known.shift.learn(left_m, sight.along, since.left_s);
            (since.left_ms, since.left_s) = (0.0, 0.0);
        }
        let pull_m = known.pace.learn(off_m, seen_s, lesson);
        self.dispute.pulled(pull_m);
        self.surge_m = (self.surge_m + pull_m) * keep;
        Some(pull_m)
    }

    /// The angle to the line and metres of progress for each metre driven.
    fn turn(&mut self, sight: &Sight, at: &Admitted) -> f32 {
        let slip_rad = at
            .direction_rad
            .map(|d| wrap_angle(d - self.bearing.of(sight.along)));
        self.slip_rad = slip_rad;
        let along = match slip_rad {
            // Noise of the direction must not shorten the way, so it is smoothed; a real change of
            // direction is taken at once.
            Some(s) => {
                let off = wrap_angle(s - self.smooth_rad);
                let k = if off.abs() < TURNED_RAD {
                    at.dt_s / (at.dt_s + SMOOTH_S)
                } else {
                    1.0
                };
                self.smooth_rad = wrap_angle(self.smooth_rad + k * off);
                cosine(self.smooth_rad)
            }
            None => self.ratio.signum(),
        };
        along / sight.shrink
    }
}

/// Cosine of an angle in [-π, π], within 3e-5 up to a right angle.
fn cosine(a: f32) -> f32 {
    // cos a = 1 - 2 sin²(a/2), the sine by its series.
    let h = 0.5 * a;
    let h2 = h * h;
    let s = h * (1.0 - h2 * (1.0 / 6.0 - h2 * (1.0 / 120.0 - h2 / 5040.0)));
    1.0 - 2.0 * s * s
}

//! The places of a corner as distances from its begin, and when the car passed them.

use super::Measured;
use crate::motion::Moment;
use crate::reference::{Corner, CornerKind, ReferenceView};
use crate::voice::CORNERS_MAX;

/// The lateral acceleration that counts as turning in: this share of the corner's own.
const TURN_IN_SHARE: f32 = 0.3;
/// No run-in is longer, metres.
const RUN_IN_MOST_M: f32 = 200.0;
/// And at least this much, m/s².
pub const TURN_IN_LEAST_MPS2: f32 = 1.5;

/// Distances from the corner's begin to its places, metres, in driving order.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Spans {
    /// The bend begins.
    pub turn_m: f32,
    /// The middle begins.
    pub middle_begin_m: f32,
    /// The reference is slowest.
    pub apex_m: f32,
    /// The reference is slowest or takes up throttle, whichever comes first: until here speed is
    /// the brake's doing.
    pub slowed_m: f32,
    /// The reference takes up throttle; where it is slowest when that is not known.
    pub throttle_m: f32,
    /// The middle ends.
    pub middle_end_m: f32,
    /// The bend ends.
    pub exit_m: f32,
    /// The next corner begins.
    pub end_m: f32,
}

impl Spans {
    /// The places of a corner that ends where the next one begins.
    pub fn of(reference: &ReferenceView<'_>, corner: &Corner, next: &Corner) -> Self {
        let from = |to_m: f32| reference.wrap_m(to_m - corner.begin_m);
        let end_m = from(next.begin_m);
        let apex_m = from(corner.apex_m);
        let throttle_m = corner.facts.throttle_m.map_or(apex_m, |m| from(m.value));
        Self {
            slowed_m: throttle_m.min(apex_m),
            throttle_m,
            turn_m: from(corner.turn_m),
            middle_begin_m: from(corner.middle_begin_m),
            apex_m,
            middle_end_m: from(corner.middle_end_m),
            exit_m: from(corner.exit_m),
            end_m: if end_m > 0.0 {
                end_m
            } else {
                reference.length_m()
            },
        }
    }
}

/// The road from a corner's begin to where the reference slows for it or turns in. What is lost
/// there by who came to the begin slower belongs to the corner before.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RunIn {
    /// Metres of it ahead.
    length_m: f32,
    /// The reference's mean speed on it, m/s.
    mean_mps: f32,
}

impl RunIn {
    /// What of a corner's is ahead at a place on it; none behind it.
    #[inline(never)]
    pub fn of(reference: &ReferenceView<'_>, corner: &Corner, progress_m: f32) -> Option<Self> {
        let to_m = corner.facts.brake_m.map_or(corner.turn_m, |b| b.value);
        let length_m = reference.wrap_m(to_m - progress_m);
        if length_m > RUN_IN_MOST_M {
            return None;
        }
        let took_s = reference_s(reference, progress_m, to_m);
        let mean_mps = (length_m / took_s.max(1e-3)).max(3.0);
        Some(Self { length_m, mean_mps })
    }

    /// Metres of it ahead.
    pub fn length_m(&self) -> f32 {
        self.length_m
    }

    /// Seconds lost on it by a car that lacks so much energy of motion per kilogram, m²/s², at its
    /// begin, and is driven as the reference from there on: the lack stays.
    pub fn cost_s(&self, lacking_m2ps2: f32) -> f32 {
        let mean_mps = self.mean_mps;
        lacking_m2ps2 * self.length_m / (mean_mps * mean_mps * mean_mps)
    }
}

/// The lateral acceleration that counts as turning into a corner, m/s².
pub fn turn_mps2(reference: &ReferenceView<'_>, corner: &Corner) -> f32 {
    let speed_mps = reference.speed_mps(corner.apex_m);
    let lateral = reference.curvature_pm(corner.apex_m).abs() * speed_mps * speed_mps;
    (lateral * TURN_IN_SHARE).max(TURN_IN_LEAST_MPS2)
}

/// The place where the reference brakes next, behind a corner's own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NextBrake {
    /// Metres from the start line.
    pub at_m: f32,
    /// The reference's speed there, m/s.
    pub speed_mps: f32,
}

impl NextBrake {
    /// Behind the corner with this index. Flat corners are passed over.
    pub fn after(reference: &ReferenceView<'_>, index: usize) -> Option<Self> {
        let later = reference.corners.get(index.saturating_add(1)..)?;
        let mut round = later.iter().chain(reference.corners).take(CORNERS_MAX);
        let next = round.find(|corner| corner.kind != CornerKind::Flat)?;
        let at_m = next.facts.brake_m.map_or(next.turn_m, |b| b.value);
        let speed_mps = reference.speed_mps(at_m);
        Some(Self { at_m, speed_mps })
    }
}

/// What is needed of the moment before.
#[derive(Clone, Copy, Debug)]
pub struct Before {
    /// Source time.
    pub time_us: u64,
    /// Speed, m/s.
    pub speed_mps: f32,
    /// Metres left of the line.
    pub offset_m: f32,
    /// Standard deviation of the source's speed noise, m/s.
    pub noise_mps: f32,
}

impl From<&Moment> for Before {
    fn from(now: &Moment) -> Self {
        Self {
            time_us: now.time_us,
            speed_mps: now.speed_mps,
            offset_m: now.offset_m,
            noise_mps: now.noise_mps,
        }
    }
}

/// The way from one moment to the next, past places of the corner.
pub struct Step<'a> {
    /// The moment before.
    pub last: Before,
    /// This moment.
    pub now: &'a Moment,
    /// Metres into the corner before.
    pub before_m: f32,
    /// Metres into the corner now.
    pub into_m: f32,
}

impl Step<'_> {
    /// Whether a place lies on the way.
    #[inline]
    pub fn crosses(&self, place_m: f32) -> bool {
        self.before_m < place_m && self.into_m >= place_m
    }

    fn share(&self, place_m: f32) -> f32 {
        ((place_m - self.before_m) / (self.into_m - self.before_m).max(1e-3)).clamp(0.0, 1.0)
    }

    /// Notes when the place was passed, if it was.
    #[inline]
    pub fn mark(&self, place_m: f32, passed: &mut Option<u64>) {
        if self.crosses(place_m) {
            *passed = Some(self.passed_us(place_m));
        }
    }

    #[inline(never)]
    fn passed_us(&self, place_m: f32) -> u64 {
        let span_us = self.now.time_us.saturating_sub(self.last.time_us);
        let part_us = (span_us as f32 * self.share(place_m)) as u64;
        self.last.time_us.saturating_add(part_us)
    }

    /// The speed at a place on the way.
    pub fn speed_at(&self, place_m: f32) -> Measured {
        let value =
            self.last.speed_mps + (self.now.speed_mps - self.last.speed_mps) * self.share(place_m);
        Measured::new(value, self.now.noise_mps * 0.5)
    }
}

/// Seconds the reference lap took from one place to another, over the start line or not.
pub fn reference_s(reference: &ReferenceView<'_>, from_m: f32, to_m: f32) -> f32 {
    let seconds = reference.time_s(to_m) - reference.time_s(from_m);
    let lap_s = reference.session.lap_time_us as f32 * 1e-6;
    if seconds < 0.0 {
        seconds + lap_s
    } else {
        seconds
    }
}

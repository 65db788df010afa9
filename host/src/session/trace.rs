//! What a lap looked like, on evenly spaced points of the reference line.

use cuepost_engine::progress::Place;
use cuepost_engine::{ReferenceView, Sample};
use std::collections::BTreeMap;

/// No value at a point of a trace.
pub const MISSING: i16 = i16::MIN;
/// No value of a pedal.
pub const MISSING_PEDAL: u8 = u8::MAX;
/// Samples farther apart than this are not joined, microseconds.
const HOLE_US: u64 = 1_000_000;

/// Evenly spaced points around the lap; the first is on the start line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    /// How many.
    pub points: usize,
    /// Metres between two.
    pub step_m: f32,
}

impl Grid {
    /// About `step_m` apart, but no more than `most` points.
    pub fn new(reference: &ReferenceView<'_>, step_m: f32, most: usize) -> Self {
        let length_m = reference.length_m();
        let points = ((length_m / step_m).round() as usize).clamp(1, most.max(1));
        Self {
            points,
            step_m: length_m / points as f32,
        }
    }

    /// Where its points are, metres.
    pub fn progress_m(&self) -> impl Iterator<Item = f32> + use<> {
        let step_m = self.step_m;
        (0..self.points).map(move |i| i as f32 * step_m)
    }
}

/// A lap on a grid; [`MISSING`] where the place was not known.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LapTrace {
    /// Speed, cm/s.
    pub speed_cmps: Vec<i16>,
    /// Behind the reference since the start line, ms.
    pub gap_ms: Vec<i16>,
    /// Left of the line, cm.
    pub offset_cm: Vec<i16>,
    /// Brake pedal in percent, where the source tells it.
    pub brake: Option<Vec<u8>>,
    /// Throttle pedal in percent, where the source tells it.
    pub throttle: Option<Vec<u8>>,
}

/// One sample on the line.
#[derive(Clone, Copy, Debug)]
struct Dot {
    time_us: u64,
    progress_m: f32,
    offset_m: f32,
    speed_mps: f32,
    brake: Option<f32>,
    throttle: Option<f32>,
}

/// A lap as it was driven.
#[derive(Clone, Debug, Default)]
pub(super) struct Drawn {
    start_us: Option<u64>,
    dots: Vec<Dot>,
}

/// Puts a sample to its lap. The samples on both sides of the start line belong to both laps.
pub(super) fn draw(laps: &mut BTreeMap<u16, Drawn>, sample: &Sample, place: &Place, length_m: f32) {
    let Some(speed_mps) = sample.speed_mps else {
        return;
    };
    let dot = Dot {
        time_us: sample.time_us,
        progress_m: place.progress_m,
        offset_m: place.offset_m,
        speed_mps,
        brake: sample.brake,
        throttle: sample.throttle,
    };
    let before = place.lap.checked_sub(1).and_then(|l| laps.get_mut(&l));
    let mut carried = None;
    if let (Some(_), Some(before)) = (place.crossing, before) {
        carried = before.dots.last().map(|last| Dot {
            progress_m: last.progress_m - length_m,
            ..*last
        });
        before.dots.push(Dot {
            progress_m: dot.progress_m + length_m,
            ..dot
        });
    }
    let lap = laps.entry(place.lap).or_default();
    if let Some(crossing) = place.crossing {
        lap.start_us = Some(crossing.time_us);
        lap.dots.extend(carried);
    }
    // Noise must not make the lap run backwards.
    if lap
        .dots
        .last()
        .is_none_or(|d| d.progress_m < dot.progress_m)
    {
        lap.dots.push(dot);
    }
}

impl Drawn {
    pub(super) fn on(&self, grid: &Grid, reference: &ReferenceView<'_>) -> LapTrace {
        let mut trace = LapTrace {
            brake: self.dots.iter().any(|d| d.brake.is_some()).then(Vec::new),
            throttle: self
                .dots
                .iter()
                .any(|d| d.throttle.is_some())
                .then(Vec::new),
            ..LapTrace::default()
        };
        let mut pairs = self.dots.windows(2).peekable();
        for at_m in grid.progress_m() {
            while pairs
                .next_if(|p| matches!(p, [_, b] if b.progress_m <= at_m))
                .is_some()
            {}
            let pair = match pairs.peek() {
                Some([a, b])
                    if a.progress_m <= at_m && b.time_us.saturating_sub(a.time_us) <= HOLE_US =>
                {
                    Some((*a, *b))
                }
                _ => None,
            };
            self.put(&mut trace, pair, at_m, reference);
        }
        trace
    }

    fn put(
        &self,
        trace: &mut LapTrace,
        pair: Option<(Dot, Dot)>,
        at_m: f32,
        reference: &ReferenceView<'_>,
    ) {
        let Some((a, b)) = pair else {
            trace.speed_cmps.push(MISSING);
            trace.gap_ms.push(MISSING);
            trace.offset_cm.push(MISSING);
            trace
                .brake
                .as_mut()
                .into_iter()
                .for_each(|v| v.push(MISSING_PEDAL));
            trace
                .throttle
                .as_mut()
                .into_iter()
                .for_each(|v| v.push(MISSING_PEDAL));
            return;
        };
        let f = (at_m - a.progress_m) / (b.progress_m - a.progress_m).max(1e-3);
        let between = |a: f32, b: f32| a + (b - a) * f;
        trace
            .speed_cmps
            .push(small(between(a.speed_mps, b.speed_mps) * 100.0));
        trace
            .offset_cm
            .push(small(between(a.offset_m, b.offset_m) * 100.0));
        trace.gap_ms.push(self.start_us.map_or(MISSING, |start_us| {
            // The sample before the line is older than the start.
            let since_s = |t: u64| (t as i64).wrapping_sub(start_us as i64) as f32 * 1e-6;
            let took_s = between(since_s(a.time_us), since_s(b.time_us));
            small((took_s - reference.time_s(at_m)) * 1000.0)
        }));
        let pedal = |a: Option<f32>, b: Option<f32>| match (a, b) {
            (Some(a), Some(b)) => (between(a, b).clamp(0.0, 1.0) * 100.0).round() as u8,
            _ => MISSING_PEDAL,
        };
        if let Some(brake) = &mut trace.brake {
            brake.push(pedal(a.brake, b.brake));
        }
        if let Some(throttle) = &mut trace.throttle {
            throttle.push(pedal(a.throttle, b.throttle));
        }
    }
}

/// A value that fits, or none.
fn small(value: f32) -> i16 {
    if value.abs() < f32::from(i16::MAX) {
        value.round() as i16
    } else {
        MISSING
    }
}

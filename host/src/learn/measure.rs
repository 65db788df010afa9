//! Measures the laps with the engine itself: the facts of a reference and of a lap held against it
//! come out of the same code.

use super::laps::Lap;
use super::track::{Track, median};
use cuepost_engine::reference::Spread;
use cuepost_engine::{Config, Engine, Event, Facts, LapEvent, ReferenceView, Sample};

/// Crossings of the engine and of the cutting are of one lap when they are this close, seconds.
const SAME_S: f64 = 0.4;
/// Road the engine gets before the first lap, seconds.
const LEAD_S: f64 = 6.0;
/// And behind the last corner, seconds.
const TAIL_S: f64 = 3.0;

/// What the engine says of one lap.
#[derive(Clone, Debug, Default)]
pub struct LapFacts {
    /// The lap as the engine closed it; `None` when it did not.
    pub lap: Option<LapEvent>,
    /// Facts by corner index; `None` where the engine told none.
    pub corners: Vec<Option<Facts>>,
}

/// Runs the engine over all recordings and sorts what it says to the laps.
pub fn measure(
    view: &ReferenceView<'_>,
    takes: &[&[Sample]],
    tracks: &[Track],
    laps: &[Lap],
) -> Vec<LapFacts> {
    let empty = LapFacts {
        lap: None,
        corners: vec![None; view.corners.len()],
    };
    let mut out = vec![empty; laps.len()];
    for (take, samples) in takes.iter().enumerate() {
        let mine: Vec<usize> = (0..laps.len())
            .filter(|&i| tracks[laps[i].track].take == take)
            .collect();
        let Some((&first, &last)) = mine.first().zip(mine.last()) else {
            continue;
        };
        let ends = (laps[first].fault.is_none(), laps[last].fault.is_none());
        let around = (&laps[first], &laps[last]);
        let (padded, shift_us) = pad(view, samples, tracks, around, ends);
        let (closed, facts) = run(view, &padded);
        for index in mine {
            let lap = &laps[index];
            let begin_us = tracks[lap.track].begin_us as f64 + shift_us as f64;
            let end_us = begin_us + (lap.begin_s + lap.time_s) * 1e6;
            let apart = |l: &LapEvent| (l.end_us as f64 - end_us) * 1e-6;
            let Some(same) = closed
                .iter()
                .filter(|l| apart(l).abs() < SAME_S)
                .filter(|l| (l.time_us as f64 * 1e-6 - lap.time_s).abs() < SAME_S)
                .min_by(|a, b| apart(a).abs().total_cmp(&apart(b).abs()))
            else {
                continue;
            };
            out[index].lap = Some(LapEvent {
                end_us: same.end_us.saturating_sub(shift_us),
                ..*same
            });
            for f in facts.iter().filter(|f| f.lap == same.lap) {
                let slot = usize::from(f.corner).checked_sub(1);
                if let Some(slot) = slot.and_then(|i| out[index].corners.get_mut(i)) {
                    *slot = Some(*f);
                }
            }
        }
    }
    out
}

/// The samples of a recording with road before its first lap and behind its last one, where the
/// recording has none: the engine needs a second to find its place before the start line, and the
/// last corner ends only behind it. A lap is closed, so its own other end is that road.
///
/// Returns the samples and by how much their times were shifted.
fn pad(
    view: &ReferenceView<'_>,
    samples: &[Sample],
    tracks: &[Track],
    (first, last): (&Lap, &Lap),
    (pad_first, pad_last): (bool, bool),
) -> (Vec<Sample>, u64) {
    let us = |s: f64| (s.max(0.0) * 1e6).round() as u64;
    let shift_us = us(first.time_s) + us(LEAD_S);
    let window = |from_us: u64, to_us: u64| {
        samples
            .iter()
            .filter(move |s| (from_us..to_us).contains(&s.time_us))
    };
    let moved = |s: &Sample, by_us: i64| Sample {
        time_us: s
            .time_us
            .saturating_add(shift_us)
            .saturating_add_signed(by_us),
        ..*s
    };
    let mut out = Vec::with_capacity(samples.len() + 2000);
    let track = &tracks[first.track];
    let (begin_us, lap_us) = (track.begin_us + us(first.begin_s), us(first.time_s));
    if pad_first && us(first.begin_s) < us(LEAD_S) {
        // Up to where the recording begins, one lap earlier.
        let from_us = (begin_us + lap_us).saturating_sub(us(LEAD_S));
        let to_us = track.begin_us + lap_us;
        out.extend(window(from_us, to_us).map(|s| moved(s, -(lap_us as i64))));
    }
    out.extend(samples.iter().map(|s| moved(s, 0)));
    let track = &tracks[last.track];
    let (begin_us, lap_us) = (track.begin_us + us(last.begin_s), us(last.time_s));
    let recorded_us = track.points.last().map_or(0, |p| p.time_us);
    // Until the corner that owns the start line is left behind.
    let next_s = view.corners.first().map_or(0.0, |c| {
        let over = c.begin_m > c.apex_m;
        if over { 0.0 } else { view.time_s(c.begin_m) }
    });
    let until_us = begin_us + us(f64::from(next_s) + TAIL_S);
    if pad_last && recorded_us < until_us + lap_us {
        let from_us = (recorded_us + 1).saturating_sub(lap_us);
        out.extend(window(from_us, until_us).map(|s| moved(s, lap_us as i64)));
    }
    (out, shift_us)
}

fn run(view: &ReferenceView<'_>, samples: &[Sample]) -> (Vec<LapEvent>, Vec<Facts>) {
    let mut engine = Engine::new(Config::default());
    let (mut laps, mut facts) = (Vec::new(), Vec::new());
    let mut take = |events: &[Event]| {
        for event in events {
            match event {
                Event::Lap(lap) => laps.push(*lap),
                Event::Corner(f) => facts.push(*f),
                _ => {}
            }
        }
    };
    for sample in samples {
        take(engine.feed(view, sample));
    }
    take(engine.finish(view));
    (laps, facts)
}

/// How far the laps scatter at a corner.
pub fn spread<'a>(all: impl Iterator<Item = &'a Facts> + Clone) -> Spread {
    let usable = all.filter(|f| f.usable);
    let of = |value: fn(&Facts) -> Option<f32>| {
        let values: Vec<f64> = usable.clone().filter_map(value).map(f64::from).collect();
        deviation(&values) as f32
    };
    Spread {
        laps: u8::try_from(usable.clone().count()).unwrap_or(u8::MAX),
        brake_m: of(|f| f.brake_m.map(|m| m.value)),
        slowest_mps: of(|f| f.slowest_mps.map(|m| m.value)),
        throttle_m: of(|f| f.throttle_m.map(|m| m.value)),
        full_m: of(|f| f.full_m.map(|m| m.value)),
        exit_mps: of(|f| f.exit_mps.map(|m| m.value)),
        offset_slowest_m: of(|f| f.offset_slowest_m.map(|m| m.value)),
        offset_exit_m: of(|f| f.offset_exit_m.map(|m| m.value)),
        loss_s: of(Facts::loss_s),
    }
}

/// Standard deviation over laps; with five laps and more from their median, so that one lap with a
/// mistake does not stand for the driver. 0 of fewer than two.
fn deviation(values: &[f64]) -> f64 {
    let n = values.len();
    if n < 2 {
        return 0.0;
    }
    if n >= 5 {
        let mut sorted = values.to_vec();
        let middle = median(&mut sorted).unwrap_or(0.0);
        let mut apart: Vec<f64> = values.iter().map(|v| (v - middle).abs()).collect();
        return median(&mut apart).unwrap_or(0.0) / 0.6745;
    }
    let mean = values.iter().sum::<f64>() / n as f64;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    (squares / (n - 1) as f64).sqrt()
}

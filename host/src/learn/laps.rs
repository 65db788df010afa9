//! Cuts recordings into laps.

use super::line::Trace;
use super::screen::Fault;
use super::start::StartLine;
use super::track::{Point, Track, median};

/// A stretch of a recording between two crossings of the start line.
#[derive(Clone, Debug, PartialEq)]
pub struct Lap {
    /// Its number, from 1, through all recordings.
    pub number: u32,
    /// Index of its recording.
    pub track: usize,
    /// Index of its first point after the start line.
    pub first: usize,
    /// Index of its first point after the end.
    pub end: usize,
    /// When it began, seconds from the recording's first sample.
    pub begin_s: f64,
    /// How long it took, seconds.
    pub time_s: f64,
    /// Why it cannot be learned from; `None` when it can.
    pub fault: Option<Fault>,
}

/// Laps and what lies before and after them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Cut {
    /// Whole laps, good and bad.
    pub laps: Vec<Lap>,
    /// Index of the recording of each track.
    pub takes: Vec<usize>,
    /// Seconds before the first crossing, one a track; the whole of it when none was.
    pub out_s: Vec<f64>,
    /// Seconds after the last crossing, one a track.
    pub in_s: Vec<f64>,
}

/// Cuts all recordings at the start line.
pub fn cut(tracks: &[Track], start: &StartLine) -> Cut {
    let mut found = Cut::default();
    let crossings: Vec<Vec<(usize, f64)>> = tracks.iter().map(|t| crossings(t, start)).collect();
    // A crossing soon after another one, as by a car that turns round on the line, opens the lap
    // anew: what lies between is no lap. Half of the usual lap is too soon.
    let mut rounds: Vec<f64> = tracks
        .iter()
        .zip(&crossings)
        .flat_map(|(t, c)| {
            c.windows(2)
                .map(|w| t.points[w[1].0].driven_m - t.points[w[0].0].driven_m)
        })
        .collect();
    let longest = rounds.iter().copied().fold(0.0, f64::max);
    rounds.retain(|r| *r > 0.2 * longest);
    let usual = median(&mut rounds).unwrap_or(0.0);
    for (index, (track, crossings)) in tracks.iter().zip(&crossings).enumerate() {
        found.takes.push(track.take);
        let length_s = track.points.last().map_or(0.0, |p| p.time_s);
        found
            .out_s
            .push(crossings.first().map_or(length_s, |c| c.1));
        found
            .in_s
            .push(crossings.last().map_or(0.0, |c| length_s - c.1));
        for w in crossings.windows(2) {
            let ((first, begin_s), (end, end_s)) = (w[0], w[1]);
            if track.points[end].driven_m - track.points[first].driven_m < 0.5 * usual {
                continue;
            }
            found.laps.push(Lap {
                number: found.laps.len() as u32 + 1,
                track: index,
                first,
                end,
                begin_s,
                time_s: end_s - begin_s,
                fault: None,
            });
        }
    }
    found
}

/// Index of the first point behind each crossing, and when it was.
fn crossings(track: &Track, start: &StartLine) -> Vec<(usize, f64)> {
    track
        .points
        .windows(2)
        .enumerate()
        .filter_map(|(i, w)| {
            let share = start.crossing(&w[0], &w[1])?;
            Some((i + 1, w[0].time_s + share * (w[1].time_s - w[0].time_s)))
        })
        .collect()
}

/// The points of a lap with its ends put exactly on the start line.
pub fn trace(track: &Track, lap: &Lap) -> Vec<Trace> {
    let points = &track.points;
    let mut out = Vec::with_capacity(lap.end - lap.first + 2);
    out.push(between(
        &points[lap.first - 1],
        &points[lap.first],
        lap.begin_s,
    ));
    for p in &points[lap.first..lap.end] {
        let next = as_trace(p);
        if out.last().is_none_or(|l| next.driven_m > l.driven_m) {
            out.push(next);
        }
    }
    let end_s = lap.begin_s + lap.time_s;
    out.push(between(&points[lap.end - 1], &points[lap.end], end_s));
    out
}

fn as_trace(p: &Point) -> Trace {
    Trace {
        driven_m: p.driven_m,
        at: [p.east_m, p.north_m],
    }
}

/// Between two points at a moment, with speed changing evenly.
fn between(a: &Point, b: &Point, time_s: f64) -> Trace {
    let dt = (b.time_s - a.time_s).max(1e-9);
    let x = ((time_s - a.time_s) / dt).clamp(0.0, 1.0);
    let driven = dt * (a.speed_mps * x + 0.5 * (b.speed_mps - a.speed_mps) * x * x);
    let whole = 0.5 * dt * (a.speed_mps + b.speed_mps);
    let share = if whole > 1e-9 { driven / whole } else { x };
    Trace {
        driven_m: a.driven_m + driven,
        at: [
            a.east_m + share * (b.east_m - a.east_m),
            a.north_m + share * (b.north_m - a.north_m),
        ],
    }
}

//! Says which laps are no good, and why.

use super::laps::{Lap, trace};
use super::line::{Line, Trace};
use super::start::StartLine;
use super::track::{Point, STANDING_MPS, Track, median};
use std::fmt;

/// Why a lap is not learned from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fault {
    /// Samples are missing.
    Gap {
        /// For how long, seconds.
        seconds: f64,
        /// Where, metres from the start line.
        at_m: f64,
    },
    /// The car stood.
    Stopped {
        /// Where, metres from the start line.
        at_m: f64,
    },
    /// The car spun or drove against the direction of travel.
    Spun {
        /// Where, metres from the start line.
        at_m: f64,
    },
    /// The car left the line the other laps took.
    OffLine {
        /// Farthest from it, metres, left positive.
        offset_m: f64,
        /// Where, metres from the start line.
        at_m: f64,
    },
    /// The car drove through the pit lane.
    Pit {
        /// Where it was off the line first, metres from the start line.
        at_m: f64,
    },
    /// The road driven is not a round of this circuit.
    Length {
        /// Metres driven.
        driven_m: f64,
        /// Metres that other laps drove.
        usual_m: f64,
    },
    /// Position and speed contradict one another.
    Contradiction {
        /// Distance by position over distance by speed.
        ratio: f64,
    },
    /// Position, speed and direction don't fit together for a while.
    Doubtful {
        /// For how long altogether, seconds.
        seconds: f64,
        /// Where first, metres from the start line.
        at_m: f64,
    },
    /// The car was slow at one of the lap's two passages of the start line.
    SlowAtLine {
        /// Speed there, m/s.
        speed_mps: f64,
        /// Speed at other passages, m/s.
        usual_mps: f64,
        /// True at the lap's end, false at its begin.
        end: bool,
    },
    /// Slower than the fastest lap by more than a warm-up or cool-down lap should count.
    TooSlow {
        /// Lap time over the fastest.
        ratio: f64,
    },
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Gap { seconds, at_m } => {
                write!(f, "{seconds:.1} s of samples missing at {at_m:.0} m")
            }
            Self::Stopped { at_m } => write!(f, "the car stood at {at_m:.0} m"),
            Self::Spun { at_m } => write!(f, "spun or turned round at {at_m:.0} m"),
            Self::OffLine { offset_m, at_m } => write!(
                f,
                "off the others' line at {at_m:.0} m, {:.0} m to the {}",
                offset_m.abs(),
                if *offset_m > 0.0 { "left" } else { "right" }
            ),
            Self::Pit { at_m } => write!(f, "through the pit lane from {at_m:.0} m"),
            Self::Length { driven_m, usual_m } => {
                write!(f, "{driven_m:.0} m long where a lap is {usual_m:.0} m")
            }
            Self::Contradiction { ratio } => write!(
                f,
                "position and speed contradict one another: {:.1} % apart",
                100.0 * (ratio - 1.0).abs()
            ),
            Self::Doubtful { seconds, at_m } => write!(
                f,
                "position and speed don't fit for {seconds:.1} s, first at {at_m:.0} m"
            ),
            Self::SlowAtLine {
                speed_mps,
                usual_mps,
                end,
            } => write!(
                f,
                "{} at {speed_mps:.1} m/s where laps do at {usual_mps:.1} m/s",
                if *end { "ended" } else { "began" }
            ),
            Self::TooSlow { ratio } => write!(
                f,
                "too slow: {:.0} % more than the fastest lap",
                100.0 * (ratio - 1.0)
            ),
        }
    }
}

/// Slower than this share over the fastest lap is a warm-up or cool-down lap (the usual limit for
/// a counting lap; common practice, no source).
const SLOW_RATIO: f64 = 1.07;
/// Distances of laps may differ by this share.
const LENGTH_SHARE: f64 = 0.03;
/// Farther than this from the others' line for longer than [`OFF_LINE_M`] is off it, metres: the
/// width of a circuit.
const OFF_M: f64 = 12.0;
/// See [`OFF_M`], metres.
const OFF_LINE_M: f64 = 25.0;

/// Longer than this with contradicting values and a lap is not believed, seconds.
const DOUBT_S: f64 = 2.0;
/// Slower at the start line than this share of the usual is an out lap or a lap backed out of.
const LINE_SHARE: f64 = 0.93;

/// Marks the laps that are no good. Needs the laps of all recordings at once, since what a lap is
/// shows in what most laps have in common.
pub fn screen(tracks: &[Track], laps: &mut [Lap], noise_m: f64, start: &StartLine) {
    let driven = |l: &Lap| {
        let points = &tracks[l.track].points;
        points[l.end].driven_m - points[l.first].driven_m
    };
    let whole = |tracks: &[Track], l: &Lap| {
        let points = &tracks[l.track].points[l.first..=l.end];
        points
            .iter()
            .all(|p| p.gap_s == 0.0 && p.speed_mps >= STANDING_MPS)
    };
    let mut lengths: Vec<f64> = laps
        .iter()
        .filter(|l| whole(tracks, l))
        .map(driven)
        .collect();
    let usual_m = median(&mut lengths).unwrap_or(0.0);
    for lap in laps.iter_mut() {
        let driven_m = driven(lap);
        lap.fault = broken(&tracks[lap.track], lap).or_else(|| {
            ((driven_m / usual_m - 1.0).abs() > LENGTH_SHARE)
                .then_some(Fault::Length { driven_m, usual_m })
        });
    }
    // The fastest lap that is whole stands for the circuit; the others are held against what most
    // of them have in common, seen from it.
    let Some(model) = laps
        .iter()
        .filter(|l| l.fault.is_none())
        .min_by(|a, b| a.time_s.total_cmp(&b.time_s))
        .cloned()
    else {
        return;
    };
    if let Some(line) = Line::fit(&trace(&tracks[model.track], &model), start, noise_m) {
        off_line(tracks, laps, &line);
    }
    slow_at_line(tracks, laps);
    let fastest = laps
        .iter()
        .filter(|l| l.fault.is_none())
        .map(|l| l.time_s)
        .fold(f64::INFINITY, f64::min);
    for lap in laps.iter_mut().filter(|l| l.fault.is_none()) {
        let ratio = lap.time_s / fastest;
        if ratio > SLOW_RATIO {
            lap.fault = Some(Fault::TooSlow { ratio });
        }
    }
}

/// Marks laps that began or ended slowly: time lost there is no corner's.
fn slow_at_line(tracks: &[Track], laps: &mut [Lap]) {
    let speeds = |l: &Lap| {
        let points = &tracks[l.track].points;
        (points[l.first].speed_mps, points[l.end].speed_mps)
    };
    let good = laps.iter().filter(|l| l.fault.is_none());
    let mut all: Vec<f64> = good.map(speeds).flat_map(|(a, b)| [a, b]).collect();
    let usual_mps = median(&mut all).unwrap_or(0.0);
    for lap in laps.iter_mut().filter(|l| l.fault.is_none()) {
        let (begin, end) = speeds(lap);
        for (speed_mps, end) in [(begin, false), (end, true)] {
            if speed_mps < LINE_SHARE * usual_mps {
                lap.fault = Some(Fault::SlowAtLine {
                    speed_mps,
                    usual_mps,
                    end,
                });
            }
        }
    }
}

/// What is wrong with a lap by itself.
fn broken(track: &Track, lap: &Lap) -> Option<Fault> {
    let points = &track.points[lap.first..=lap.end];
    let from = points.first()?.driven_m;
    let mut by_position = 0.0;
    let mut courses: Vec<(f64, f64)> = Vec::new();
    let mut last: Option<&Point> = None;
    for (i, p) in points.iter().enumerate() {
        let at_m = p.driven_m - from;
        if p.gap_s > 0.0 && i > 0 {
            return Some(Fault::Gap {
                seconds: p.gap_s,
                at_m,
            });
        }
        if p.speed_mps < STANDING_MPS {
            return Some(Fault::Stopped { at_m });
        }
        match last {
            Some(l) if p.driven_m - l.driven_m < 5.0 => {}
            Some(l) => {
                let (e, n) = (p.east_m - l.east_m, p.north_m - l.north_m);
                by_position += e.hypot(n);
                courses.push((at_m, n.atan2(e)));
                last = Some(p);
            }
            None => last = Some(p),
        }
    }
    let ratio = by_position / (points.last()?.driven_m - from).max(1.0);
    // Chords are a little shorter than the road, noise makes them longer.
    if !(0.97..=1.05).contains(&ratio) {
        return Some(Fault::Contradiction { ratio });
    }
    let mut doubtful = points
        .windows(2)
        .filter(|w| w[1].doubtful)
        .map(|w| (w[1].time_s - w[0].time_s, w[1].driven_m - from))
        .peekable();
    let first = doubtful.peek().map(|d| d.1);
    let seconds: f64 = doubtful.map(|d| d.0).sum();
    if let (Some(at_m), true) = (first, seconds > DOUBT_S) {
        return Some(Fault::Doubtful { seconds, at_m });
    }
    // Turned round within a few metres: no bend of a circuit does that.
    courses
        .windows(2)
        .find(|w| cuepost_engine::math::wrap_angle((w[1].1 - w[0].1) as f32).abs() > 1.6)
        .map(|w| Fault::Spun { at_m: w[1].0 })
}

/// Marks laps that leave the line the others took.
fn off_line(tracks: &[Track], laps: &mut [Lap], line: &Line) {
    const STATION_M: f64 = 10.0;
    let stations = (line.length_m() / STATION_M) as usize + 1;
    let offsets: Vec<Option<Vec<f64>>> = laps
        .iter()
        .map(|l| {
            matches!(l.fault, None | Some(Fault::Length { .. }))
                .then(|| follow(&trace(&tracks[l.track], l), line, stations, STATION_M))
        })
        .collect();
    let usual: Vec<f64> = (0..stations)
        .map(|k| {
            let mut here: Vec<f64> = offsets
                .iter()
                .zip(laps.iter())
                .filter(|(_, l)| l.fault.is_none())
                .filter_map(|(o, _)| o.as_ref().map(|o| o[k]))
                .filter(|o| o.is_finite())
                .collect();
            median(&mut here).unwrap_or(0.0)
        })
        .collect();
    for (lap, offsets) in laps.iter_mut().zip(&offsets) {
        let Some(offsets) = offsets else { continue };
        let off: Vec<f64> = offsets.iter().zip(&usual).map(|(o, u)| o - u).collect();
        let mut run = 0.0;
        let mut worst = (0.0_f64, 0_usize, 0_usize);
        for (k, o) in off.iter().enumerate() {
            run = if o.abs() > OFF_M {
                run + STATION_M
            } else {
                0.0
            };
            if run > OFF_LINE_M && o.abs() > worst.0.abs() {
                worst = (*o, k, k + 1 - (run / STATION_M) as usize);
            }
        }
        if worst.0 == 0.0 {
            continue;
        }
        let (offset_m, at, from) = worst;
        // A pit lane is beside the start line.
        let ends = off.iter().take(3).chain(off.iter().rev().take(3));
        lap.fault = Some(if ends.into_iter().any(|o| o.abs() > OFF_M) {
            Fault::Pit {
                at_m: from as f64 * STATION_M,
            }
        } else {
            Fault::OffLine {
                offset_m,
                at_m: at as f64 * STATION_M,
            }
        });
    }
}

/// Offsets of a lap from the line at even stations; where it passed none it stays unknown (NaN).
fn follow(lap: &[Trace], line: &Line, stations: usize, station_m: f64) -> Vec<f64> {
    let mut offsets = vec![f64::NAN; stations];
    let mut near = 0.0;
    let mut driven = lap.first().map_or(0.0, |p| p.driven_m);
    let mut next = 0.0;
    for p in lap {
        near += p.driven_m - driven;
        driven = p.driven_m;
        if near < next {
            continue;
        }
        next = near + 0.5 * station_m;
        let (s, offset) = line.project(p.at, near, 25.0);
        near += line.ahead_m(near, s).clamp(-25.0, 25.0);
        if let Some(slot) = offsets.get_mut((line.wrap_m(s) / station_m) as usize) {
            *slot = offset;
        }
    }
    offsets
}

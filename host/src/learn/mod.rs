//! Makes a reference from recordings: start line, laps, line, corners, what the car can do.
//!
//! Nothing here is known beforehand but the samples. In the order of the work, a file each:
//!
//! 1. [`plane`] and [`track`] put the samples into a plane, through the engine's own gate;
//! 2. [`start`] finds the start line, [`laps`] cuts, [`screen`] drops what is no good;
//! 3. [`mod@line`] fits the closed line with a [`spline`], [`profile`] lays the laps along it;
//! 4. [`curves`] learns the car; [`bends`] and [`corners`] find the corners on a [`round`], and
//!    [`spans`] lays out their road;
//! 5. [`measure`] lets the engine measure the laps, [`refine`] stores what it found.

pub mod bends;
pub mod corners;
pub mod curves;
pub mod laps;
pub mod line;
pub mod measure;
pub mod plane;
pub mod profile;
pub mod refine;
pub mod round;
pub mod screen;
pub mod spans;
pub mod spline;
pub mod start;
pub mod track;
pub mod words;

pub use start::{StartAt, StartLine};

#[cfg(test)]
mod tests;

use crate::reference_file::HostReference;
use cuepost_engine::gate::REFUSALS;
use cuepost_engine::reference::{Session, SourceKind};
use cuepost_engine::{Node, Sample};
use curves::Curves;
use laps::{Cut, Lap};
use line::Line;
use measure::LapFacts;
use profile::{Noise, Profile};
use screen::Fault;
use track::{Track, median};

/// Metres between the nodes of the line, about: a curve of 15 m radius is then true to 0.15 m.
const SPACING_M: f64 = 4.5;
/// Nodes that a reference can hold.
const NODES_MAX: usize = 8192;

/// One recording's samples.
#[derive(Clone, Copy, Debug)]
pub struct Take<'a> {
    /// Its name for messages.
    pub name: &'a str,
    /// Its samples in the order read.
    pub samples: &'a [Sample],
}

/// What the user decides.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// The start line; found when not given.
    pub start: Option<StartAt>,
    /// The reference lap's number; the fastest good one when not given.
    pub lap: Option<u32>,
    /// Name of circuit and layout.
    pub name: String,
    /// Name of the car.
    pub car: String,
    /// Conditions in words.
    pub conditions: String,
    /// Mass of car and driver, kilograms.
    pub mass_kg: Option<f32>,
    /// Kind of source.
    pub source: SourceKind,
}

/// What came out.
#[derive(Clone, Debug)]
pub struct Learned {
    /// The reference.
    pub reference: Box<HostReference>,
    /// All laps, and what lies before and behind them.
    pub cut: Cut,
    /// Index of the reference lap in `cut.laps`.
    pub chosen: usize,
    /// The start line as used.
    pub start: StartLine,
    /// True when the start line was found and not given.
    pub start_found: bool,
    /// The laps that the car was learned from, along the line.
    pub profiles: Vec<Profile>,
    /// What the engine says of the laps, in the order of `cut.laps`.
    pub measured: Vec<LapFacts>,
    /// Samples that were not used, by [`cuepost_engine::gate::Refusal`].
    pub refused: [u32; REFUSALS],
}

/// Why no reference could be made.
#[derive(Clone, Debug, thiserror::Error, PartialEq)]
pub enum LearnError {
    /// Nothing to learn from.
    #[error("no sample has a position and a speed; learning needs both")]
    NoPosition,
    /// Latitudes in one recording, metres in another.
    #[error(
        "the recordings mix latitude/longitude with plane metres; learn from one kind at a time"
    )]
    MixedPositions,
    /// No place is passed twice in one direction.
    #[error(
        "no whole lap: no place is driven past twice in the same direction; record at least one lap from before the start line to behind it"
    )]
    NoRound,
    /// The start line is somewhere else.
    #[error(
        "the start line given is not crossed twice by any recording; check its place and bearing (clockwise from north, the direction of travel)"
    )]
    NoCrossing,
    /// The start line is in the other kind of coordinates or too far away.
    #[error("the start line given is not near what was driven, or in another kind of coordinates")]
    StartElsewhere,
    /// All laps have faults.
    #[error(
        "none of the {0} laps can be learned from: {1}; a lap that is only slow can be chosen with --lap"
    )]
    NoGoodLap(usize, String),
    /// `--lap` names a lap that is not there.
    #[error("there is no lap {0}; laps are numbered 1 to {1}")]
    NoSuchLap(u32, usize),
    /// `--lap` names a lap that is broken.
    #[error("lap {0} cannot be the reference: {1}")]
    BadLap(u32, String),
    /// Something came out that no reference may hold.
    #[error("no valid reference came of it: {0}")]
    Invalid(String),
    /// The fit failed.
    #[error("lap {0} has too few samples for a line")]
    TooFew(u32),
}

/// Learns a reference. `tell` hears how far it is, as a share and a word.
pub fn learn(
    takes: &[Take<'_>],
    options: &Options,
    tell: &mut dyn FnMut(f32, &str),
) -> Result<Learned, LearnError> {
    tell(0.0, "reading positions");
    let samples: Vec<&[Sample]> = takes.iter().map(|t| t.samples).collect();
    let any = samples
        .iter()
        .any(|t| t.iter().any(|s| s.position.is_some()));
    let frame = plane::choose(&samples).ok_or(if any {
        LearnError::MixedPositions
    } else {
        LearnError::NoPosition
    })?;
    let mut refused = [0_u32; REFUSALS];
    let mut tracks: Vec<Track> = Vec::new();
    for (index, samples) in samples.iter().enumerate() {
        let (more, counts) = track::tracks(&frame, index, samples);
        tracks.extend(more);
        for (sum, count) in refused.iter_mut().zip(counts) {
            *sum = sum.saturating_add(count);
        }
    }
    if tracks.iter().all(|t| t.points.len() < 10) {
        return Err(LearnError::NoPosition);
    }
    let noise = noise(&tracks);

    tell(0.1, "finding the start line");
    let start = match options.start {
        Some(at) => at.locate(&frame).ok_or(LearnError::StartElsewhere)?,
        None => start::find(&tracks).ok_or(LearnError::NoRound)?,
    };

    tell(0.3, "cutting laps");
    let mut cut = laps::cut(&tracks, &start);
    if cut.laps.is_empty() {
        return Err(LearnError::NoCrossing);
    }
    screen::screen(&tracks, &mut cut.laps, noise.position_m, &start);
    let chosen = choose_lap(&cut.laps, options.lap)?;

    tell(0.5, "fitting the line");
    let lap = &cut.laps[chosen];
    let trace = laps::trace(&tracks[lap.track], lap);
    let too_few = LearnError::TooFew(lap.number);
    let line = Line::fit(&trace, &start, noise.position_m).ok_or(too_few.clone())?;

    tell(0.6, "laying the laps along the line");
    let profiles: Vec<Option<Profile>> = cut
        .laps
        .iter()
        .enumerate()
        .map(|(i, l)| {
            let wanted = l.fault.is_none() || i == chosen;
            wanted.then(|| Profile::new(&tracks[l.track], l, &line, noise))?
        })
        .collect();
    let lap_profile = profiles[chosen].clone().ok_or(too_few)?;
    for (lap, profile) in cut.laps.iter_mut().zip(&profiles) {
        // The start line is now where the line crosses it, at a right angle.
        if let Some(p) = profile {
            (lap.begin_s, lap.time_s) = (p.begin_s, p.lap_s);
        }
    }

    tell(0.8, "learning the car and the corners");
    let good: Vec<Profile> = profiles.into_iter().flatten().collect();
    let curves = Curves::learn(&good);
    let mut reference = Box::new(HostReference::new());
    reference.frame = frame;
    lay_nodes(&mut reference, &line, &lap_profile);
    for (corner, number) in corners::corners(&lap_profile, &curves).into_iter().zip(1..) {
        let mut corner = corner;
        corner.facts.corner = number;
        corner.facts.kind = corner.kind;
        if reference.corners.push(corner).is_err() {
            break;
        }
    }
    reference.car = curves.rounded();
    reference.session = session(options, &tracks, &lap_profile, noise);
    tell(0.85, "measuring the laps");
    let measured = engine_passes(&mut reference, &samples, &tracks, &cut.laps, chosen);
    cuepost_engine::reference::check(&reference.view())
        .map_err(|p| LearnError::Invalid(p.to_string()))?;
    tell(1.0, "done");
    Ok(Learned {
        reference,
        chosen,
        start: line.start(),
        start_found: options.start.is_none(),
        refused,
        cut,
        profiles: good,
        measured,
    })
}

/// Lets the engine measure the laps, moves the corners' places to what it found, and measures
/// again: what is stored was measured with what is stored.
fn engine_passes(
    reference: &mut HostReference,
    samples: &[&[Sample]],
    tracks: &[Track],
    laps: &[Lap],
    chosen: usize,
) -> Vec<LapFacts> {
    let first = measure::measure(&reference.view(), samples, tracks, laps);
    refine::kinds(reference, &first[chosen]);
    refine::places(reference, &first[chosen]);
    let last = measure::measure(&reference.view(), samples, tracks, laps);
    let good: Vec<&LapFacts> = last
        .iter()
        .zip(laps)
        .filter(|(_, l)| l.fault.is_none())
        .map(|(f, _)| f)
        .collect();
    refine::facts(reference, &good, &last[chosen]);
    last
}

/// The middle of the recordings' noise.
fn noise(tracks: &[Track]) -> Noise {
    let middle = |f: fn(&Track) -> f64| {
        let mut all: Vec<f64> = tracks
            .iter()
            .filter(|t| t.points.len() > 10)
            .map(f)
            .collect();
        median(&mut all).unwrap_or(0.0)
    };
    Noise {
        speed_mps: middle(Track::speed_noise_mps),
        position_m: middle(Track::position_noise_m),
    }
}

/// The fastest good lap, or the one asked for.
fn choose_lap(laps: &[Lap], wanted: Option<u32>) -> Result<usize, LearnError> {
    if let Some(number) = wanted {
        let index = laps
            .iter()
            .position(|l| l.number == number)
            .ok_or(LearnError::NoSuchLap(number, laps.len()))?;
        return match laps[index].fault {
            // The coach's choice counts more than the clock.
            None | Some(Fault::TooSlow { .. } | Fault::SlowAtLine { .. }) => Ok(index),
            Some(fault) => Err(LearnError::BadLap(number, fault.to_string())),
        };
    }
    laps.iter()
        .enumerate()
        .filter(|(_, l)| l.fault.is_none())
        .min_by(|a, b| a.1.time_s.total_cmp(&b.1.time_s))
        .map(|(i, _)| i)
        .ok_or_else(|| {
            let why: Vec<String> = laps
                .iter()
                .filter_map(|l| l.fault.map(|f| format!("lap {}: {f}", l.number)))
                .collect();
            LearnError::NoGoodLap(laps.len(), why.join("; "))
        })
}

/// Puts even nodes on the line, with the lap's times and speeds.
fn lay_nodes(reference: &mut HostReference, line: &Line, lap: &Profile) {
    let length = line.length_m();
    let count = ((length / SPACING_M).round() as usize).clamp(16, NODES_MAX);
    let spacing = length / count as f64;
    reference.spacing_m = spacing as f32;
    for k in 0..count {
        let s = k as f64 * spacing;
        let at = line.at(s);
        let node = Node {
            east_mm: (at.east_m * 1e3).round() as i32,
            north_mm: (at.north_m * 1e3).round() as i32,
            time_ms: (lap.time_at(s) * 1e3).round() as u32,
            speed_cmps: (lap.speed_at(s) * 1e2).round().clamp(0.0, 65_535.0) as u16,
            curvature_e5: (at.curvature_pm * 1e5).round().clamp(-32_768.0, 32_767.0) as i16,
        };
        if reference.nodes.push(node).is_err() {
            break;
        }
    }
}

fn session(options: &Options, tracks: &[Track], lap: &Profile, noise: Noise) -> Session {
    let mut steps: Vec<f64> = tracks
        .iter()
        .map(Track::step_s)
        .filter(|s| *s > 0.0)
        .collect();
    let step = median(&mut steps).unwrap_or(0.0);
    Session {
        name: short(&options.name),
        car: short(&options.car),
        conditions: short(&options.conditions),
        source: options.source,
        rate_hz: if step > 0.0 { (1.0 / step) as f32 } else { 0.0 },
        speed_noise_mps: noise.speed_mps as f32,
        pedals: lap.brake.is_some() && lap.throttle.is_some(),
        computed: false,
        mass_kg: options.mass_kg,
        lap_time_us: (lap.lap_s * 1e6).round() as u64,
    }
}

/// As much of a text as fits, cut between characters.
pub(crate) fn short<const N: usize>(text: &str) -> heapless::String<N> {
    let mut out = heapless::String::new();
    for c in text.chars().filter(|c| !c.is_control()) {
        if out.push(c).is_err() {
            break;
        }
    }
    out
}

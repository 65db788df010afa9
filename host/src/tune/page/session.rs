//! What the page needs once: the circuit, the thresholds, the laps; and the traces of a lap.

use super::Work;
use crate::report::units::lap_time;
use crate::report::words;
use crate::session::{Grid, MISSING};
use crate::thresholds_file::GROUPS;
use cuepost_engine::{Focus, ReferenceView, Thresholds};
use serde::Serialize;

/// Points of a trace: finer than a screen.
const POINTS: usize = 900;
/// A slider goes this far below and above the built-in value.
const REACH: f32 = 5.0;

#[derive(Serialize)]
pub struct Session<'a> {
    reference: &'a str,
    marks_path: String,
    length: Unit,
    speed: Unit,
    length_m: f32,
    focus: &'static str,
    groups: Vec<Group>,
    corners: Vec<Corner>,
    /// Metres from the start, east, north, and the reference's speed.
    line: Vec<[f32; 4]>,
    takes: Vec<Take<'a>>,
}

#[derive(Serialize)]
struct Unit {
    name: &'static str,
    per: f64,
}

#[derive(Serialize)]
struct Group {
    phase: &'static str,
    sliders: Vec<Slider>,
}

#[derive(Serialize)]
struct Slider {
    name: &'static str,
    about: &'static str,
    value: f32,
    /// The range allowed.
    least: f32,
    most: f32,
    /// The range of the slider.
    low: f32,
    high: f32,
}

#[derive(Serialize)]
struct Corner {
    name: String,
    apex_m: f32,
    turn_m: f32,
    exit_m: f32,
    turn: i8,
}

#[derive(Serialize)]
struct Take<'a> {
    name: &'a str,
    laps: Vec<Lap>,
}

#[derive(Serialize)]
struct Lap {
    lap: u16,
    time: String,
    valid: bool,
}

/// The page's beginning.
pub fn session(work: &Work) -> serde_json::Result<String> {
    let view = work.reference.view();
    let unit = |name, per| Unit { name, per };
    let grid = grid(&view);
    let nodes = view.nodes.len().max(1);
    let place = |m: f32| {
        let index = (m / view.spacing_m).round() as usize % nodes;
        let node = view.nodes.get(index).copied().unwrap_or_default();
        [
            m,
            node.east_mm as f32 * 1e-3,
            node.north_mm as f32 * 1e-3,
            view.speed_mps(m),
        ]
    };
    let object = Session {
        reference: &view.session.name,
        marks_path: work.marks_path.display().to_string(),
        length: unit(work.units.length_name(), work.units.lengths_a_metre()),
        speed: unit(work.units.speed_name(), work.units.speeds_a_mps()),
        length_m: view.length_m(),
        focus: match work.base.focus {
            Focus::Every => "every",
            Focus::One => "one",
        },
        groups: groups(&work.base.thresholds),
        corners: corners(&view),
        line: grid.progress_m().map(place).collect(),
        takes: work.takes.iter().map(take).collect(),
    };
    serde_json::to_string(&object)
}

fn take(take: &crate::tune::Take) -> Take<'_> {
    let lap = |l: &cuepost_engine::LapEvent| Lap {
        lap: l.lap,
        time: lap_time(l.time_us),
        valid: l.valid,
    };
    Take {
        name: &take.name,
        laps: take.session.laps.iter().map(lap).collect(),
    }
}

fn corners(view: &ReferenceView<'_>) -> Vec<Corner> {
    let corner = |(number, c): (u8, &cuepost_engine::Corner)| Corner {
        name: words::corner_name(view, number),
        apex_m: c.apex_m,
        turn_m: c.turn_m,
        exit_m: c.exit_m,
        turn: c.turn,
    };
    (1..=u8::MAX).zip(view.corners).map(corner).collect()
}

fn groups(thresholds: &Thresholds) -> Vec<Group> {
    let ranges = thresholds.ranges();
    let built_in = Thresholds::DEFAULT.ranges();
    let slider = |(name, about): &(&'static str, &'static str)| {
        let (_, value, least, most) = ranges.iter().find(|r| r.0 == *name)?;
        let usual = built_in.iter().find(|r| r.0 == *name)?.1;
        Some(Slider {
            name,
            about,
            value: *value,
            least: *least,
            most: *most,
            low: (usual / REACH).max(*least).min(*value),
            high: (usual * REACH).min(*most).max(*value),
        })
    };
    GROUPS
        .iter()
        .map(|(phase, fields)| Group {
            phase,
            sliders: fields.iter().filter_map(slider).collect(),
        })
        .collect()
}

fn grid(view: &ReferenceView<'_>) -> Grid {
    Grid::new(view, 2.0, POINTS)
}

/// The traces of one lap on the points of the line, null where the place was not known.
#[derive(Serialize)]
pub struct Trace {
    speed_mps: Vec<Option<f32>>,
    gap_s: Vec<Option<f32>>,
}

/// The traces of a lap; none when it did not end.
pub fn trace(work: &Work, take: usize, lap: u16) -> Option<Trace> {
    let view = work.reference.view();
    let trace = work
        .takes
        .get(take)?
        .session
        .trace(lap, &grid(&view), &view)?;
    let scaled = |values: &[i16], by: f32| {
        let one = |v: &i16| (*v != MISSING).then(|| f32::from(*v) * by);
        values.iter().map(one).collect()
    };
    Some(Trace {
        speed_mps: scaled(&trace.speed_cmps, 0.01),
        gap_s: scaled(&trace.gap_ms, 0.001),
    })
}

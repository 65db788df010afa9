//! Lays landmarks and notes onto a reference.

use super::file::{Entry, Notes, Spot};
use crate::reference_file::HostReference;
use cuepost_engine::{Landmark, Position, ReferenceView};

/// A landmark farther from the line than this is not beside this road, metres.
const REACH_M: f64 = 80.0;
/// Nearer to the line than this a position says nothing about the side, metres.
const SIDE_M: f64 = 3.0;

/// Puts the landmarks of a file into a reference, in place of those it has, and the notes into its
/// corners. Nothing is changed when something is wrong.
pub fn put(reference: &mut HostReference, notes: &Notes) -> Result<(), String> {
    let view = reference.view();
    let mut placed = Vec::with_capacity(notes.landmarks.len());
    for entry in &notes.landmarks {
        placed.push(place(&view, entry).map_err(|e| format!("line {}: {e}", entry.line))?);
    }
    placed.sort_by(|a, b| a.progress_m.total_cmp(&b.progress_m));
    let most = reference.landmarks.capacity();
    if placed.len() > most {
        return Err(format!(
            "{} landmarks, there is room for {most}",
            placed.len()
        ));
    }
    let count = reference.corners.len();
    if let Some(c) = notes.corners.iter().find(|c| usize::from(c.number) > count) {
        return Err(format!(
            "line {}: there is no corner {}; the reference has {count}",
            c.line, c.number
        ));
    }
    if !notes.landmarks.is_empty() {
        reference.landmarks.clear();
    }
    for landmark in placed {
        if reference.landmarks.push(landmark).is_err() {
            break;
        }
    }
    for entry in &notes.corners {
        let Some(corner) = reference.corners.get_mut(usize::from(entry.number) - 1) else {
            continue;
        };
        // They were measured to fit when the file was read.
        if let Some(Ok(name)) = entry.name.as_deref().map(heapless::String::try_from) {
            corner.name = name;
        }
        if let Some(Ok(note)) = entry.note.as_deref().map(heapless::String::try_from) {
            corner.note = note;
        }
        corner.gear = entry.gear.or(corner.gear);
    }
    Ok(())
}

fn place(view: &ReferenceView<'_>, entry: &Entry) -> Result<Landmark, String> {
    let name = &entry.name;
    let length = view.length_m();
    let (progress_m, side) = match entry.spot {
        Spot::Progress(at) => {
            if !(0.0..f64::from(length)).contains(&at) {
                return Err(format!(
                    "{name}: progress_m = {at} is not on this line, which is {length:.0} m round"
                ));
            }
            (at as f32, entry.side.unwrap_or(0))
        }
        Spot::Position(position) => {
            let (at, offset_m) = project(view, position).ok_or_else(|| {
                format!("{name}: not in the kind of coordinates the reference has, or far away")
            })?;
            if offset_m.abs() > REACH_M {
                return Err(format!(
                    "{name}: {:.0} m away from the line, is it on this circuit?",
                    offset_m.abs()
                ));
            }
            let seen = if offset_m.abs() < SIDE_M {
                0
            } else {
                offset_m.signum() as i8
            };
            (at as f32, entry.side.unwrap_or(seen))
        }
    };
    Ok(Landmark {
        progress_m: view.wrap_m(progress_m),
        side,
        name: name.chars().take(super::file::NAME_MAX).collect(),
    })
}

/// Progress and offset of a position: the nearest place of the whole line, metres.
pub fn project(view: &ReferenceView<'_>, position: Position) -> Option<(f64, f64)> {
    let (east, north) = view.frame.locate(position)?;
    let (east, north) = (f64::from(east), f64::from(north));
    let spacing = f64::from(view.spacing_m);
    let at = |i: usize| {
        let n = view.nodes.get(i).or(view.nodes.first());
        n.map(|n| (f64::from(n.east_mm) * 1e-3, f64::from(n.north_mm) * 1e-3))
    };
    let mut best: Option<(f64, f64, f64)> = None;
    for i in 0..view.nodes.len() {
        let ((ax, ay), (bx, by)) = (at(i)?, at(i + 1)?);
        let (dx, dy) = (bx - ax, by - ay);
        let square = dx * dx + dy * dy;
        if square <= 0.0 {
            continue;
        }
        let share = (((east - ax) * dx + (north - ay) * dy) / square).clamp(0.0, 1.0);
        let (px, py) = (east - ax - share * dx, north - ay - share * dy);
        let away = px.hypot(py);
        if best.is_none_or(|(least, ..)| away < least) {
            let left = dx * py - dy * px;
            best = Some((away, (i as f64 + share) * spacing, away.copysign(left)));
        }
    }
    best.map(|(_, progress, offset)| (progress, offset))
}

/// The position of a place of the line.
pub fn position(view: &ReferenceView<'_>, progress_m: f64) -> Option<Position> {
    let x = f64::from(view.wrap_m(progress_m as f32)) / f64::from(view.spacing_m);
    let i = x as usize;
    let (a, b) = (
        view.nodes.get(i)?,
        view.nodes.get(i + 1).or(view.nodes.first())?,
    );
    let share = x - i as f64;
    let mix = |a: i32, b: i32| 1e-3 * (f64::from(a) + (f64::from(b) - f64::from(a)) * share);
    let (east, north) = (mix(a.east_mm, b.east_mm), mix(a.north_mm, b.north_mm));
    Some(crate::learn::plane::position(&view.frame, east, north))
}

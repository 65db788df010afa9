//! Puts what the engine measured of the laps into the corners.

use super::measure::{LapFacts, spread};
use super::spans::{MIDDLE_S, Places};
use crate::reference_file::HostReference;
use cuepost_engine::{CornerKind, Facts, Measured, ReferenceView};

/// Moves the places of the corners to where the engine found them on the reference lap.
pub fn places(reference: &mut HostReference, lap: &LapFacts) {
    let view = reference.view();
    let length_m = f64::from(view.length_m());
    let moved: Vec<Option<Places>> = (0..view.corners.len())
        .map(|i| {
            let facts = lap.corners.get(i).copied().flatten()?;
            // The tightest place of a bend taken flat is known from the line.
            let slow = view.corners.get(i)?.kind != CornerKind::Flat;
            (facts.usable && slow).then(|| corner_places(&view, i, &facts))?
        })
        .collect();
    for (corner, places) in reference.corners.iter_mut().zip(moved) {
        if let Some(places) = places {
            places.store(corner, length_m);
        }
    }
}

fn corner_places(view: &ReferenceView<'_>, index: usize, facts: &Facts) -> Option<Places> {
    let corner = view.corners.get(index)?;
    let next = view.corners.get(index + 1).or(view.corners.first())?;
    let span = view.wrap_m(next.begin_m - corner.begin_m);
    let span = if span > 0.0 { span } else { view.length_m() };
    let into = |m: f32| view.wrap_m(m - corner.begin_m);
    let place = |m: Option<Measured>| m.map(|m| into(m.value)).filter(|m| *m < span);
    let apex = place(facts.slowest_m).unwrap_or(into(corner.apex_m));
    let side = MIDDLE_S as f32 * view.speed_mps(corner.begin_m + apex);
    let begin = place(facts.release_m).unwrap_or(into(corner.middle_begin_m));
    let end = place(facts.throttle_m).unwrap_or(into(corner.middle_end_m));
    let places = Places {
        turn_m: into(corner.turn_m).into(),
        middle_begin_m: begin.min(apex - side).into(),
        apex_m: apex.into(),
        middle_end_m: end.max(apex + side).into(),
        exit_m: into(corner.exit_m).into(),
    };
    Some(places.in_order(span.into()))
}

/// A corner that was taken for braked and in which the engine finds no braking is a lift.
pub fn kinds(reference: &mut HostReference, lap: &LapFacts) {
    for (corner, facts) in reference.corners.iter_mut().zip(&lap.corners) {
        let Some(facts) = facts.filter(|f| f.usable) else {
            continue;
        };
        if corner.kind == CornerKind::Braked && facts.brake_m.is_none() {
            corner.kind = CornerKind::Lifted;
        } else if facts.kind == CornerKind::Braked && facts.brake_m.is_some() {
            corner.kind = CornerKind::Braked;
        }
    }
}

/// Stores the reference lap's facts and how far the good laps scatter.
pub fn facts(reference: &mut HostReference, laps: &[&LapFacts], lap: &LapFacts) {
    for (i, corner) in reference.corners.iter_mut().enumerate() {
        let number = u8::try_from(i + 1).unwrap_or(u8::MAX);
        corner.facts = match lap.corners.get(i).copied().flatten() {
            Some(facts) => tidied(facts, corner.kind),
            None => Facts {
                corner: number,
                kind: corner.kind,
                ..Facts::default()
            },
        };
        corner.spread = spread(laps.iter().filter_map(|l| l.corners.get(i)?.as_ref()));
    }
}

/// The reference loses nothing to itself, and in a corner taken flat nobody braked or lifted: what
/// looked so took off less speed than a corner costs.
fn tidied(mut facts: Facts, kind: CornerKind) -> Facts {
    for loss in [
        &mut facts.loss_entry_s,
        &mut facts.loss_middle_s,
        &mut facts.loss_exit_s,
    ] {
        *loss = loss.map(|m| Measured::new(0.0, m.sd));
    }
    if kind == CornerKind::Flat {
        facts = facts.flat();
    }
    facts
}

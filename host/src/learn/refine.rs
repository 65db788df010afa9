//! Puts what the engine measured of the laps into the corners.

use super::corners::MIDDLE_S;
use super::measure::{LapFacts, spread};
use crate::reference_file::HostReference;
use cuepost_engine::{Corner, CornerKind, Facts, Measured};

/// Moves the places of the corners to where the engine found them on the reference lap.
pub fn places(reference: &mut HostReference, lap: &LapFacts) {
    let view = reference.view();
    let begins: Vec<f32> = view.corners.iter().map(|c| c.begin_m).collect();
    let moved: Vec<Corner> = view
        .corners
        .iter()
        .enumerate()
        .map(|(i, corner)| {
            let mut corner = corner.clone();
            let Some(facts) = lap.corners.get(i).copied().flatten().filter(|f| f.usable) else {
                return corner;
            };
            let next = begins[(i + 1) % begins.len()];
            let span = view.wrap_m(next - corner.begin_m);
            let span = if span > 0.0 { span } else { view.length_m() };
            let into = |m: f32| view.wrap_m(m - corner.begin_m);
            let place = |m: Option<Measured>| m.map(|m| into(m.value)).filter(|m| *m < span);
            let apex = place(facts.slowest_m).unwrap_or(into(corner.apex_m));
            let side = MIDDLE_S as f32 * view.speed_mps(corner.begin_m + apex);
            let begin = place(facts.release_m).unwrap_or(into(corner.middle_begin_m));
            let end = place(facts.throttle_m).unwrap_or(into(corner.middle_end_m));
            let begin = begin.min(apex - side).max(1.0).min(apex);
            let end = end.max(apex + side).min(span - 2.0).max(apex);
            let exit = into(corner.exit_m).max(end).min(span - 1.0);
            let turn = into(corner.turn_m).min(exit);
            let back = |m: f32| view.wrap_m(corner.begin_m + m);
            corner.turn_m = back(turn);
            corner.middle_begin_m = back(begin);
            corner.apex_m = back(apex);
            corner.middle_end_m = back(end);
            corner.exit_m = back(exit);
            corner
        })
        .collect();
    for (slot, corner) in reference.corners.iter_mut().zip(moved) {
        *slot = corner;
    }
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
            Some(facts) => nothing_lost(facts),
            None => Facts {
                corner: number,
                kind: corner.kind,
                ..Facts::default()
            },
        };
        corner.spread = spread(laps.iter().filter_map(|l| l.corners.get(i)?.as_ref()));
    }
}

/// The reference loses nothing to itself.
fn nothing_lost(mut facts: Facts) -> Facts {
    for loss in [
        &mut facts.loss_entry_s,
        &mut facts.loss_middle_s,
        &mut facts.loss_exit_s,
    ] {
        *loss = loss.map(|m| Measured::new(0.0, m.sd));
    }
    facts
}

/// Takes the engine's lap time, which laps are held against, for the nodes' times as well.
pub fn lap_time(reference: &mut HostReference, time_us: u64) {
    let before = reference.session.lap_time_us.max(1) as f64;
    let stretch = time_us as f64 / before;
    // Two clocks that disagree by more than this measured different things.
    if (stretch - 1.0).abs() > 1e-3 {
        return;
    }
    for node in &mut reference.nodes {
        node.time_ms = (f64::from(node.time_ms) * stretch).round() as u32;
    }
    reference.session.lap_time_us = time_us;
}

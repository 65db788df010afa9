//! The answer to a slider: every cue, and what it comes to.

use super::Work;
use crate::report::words;
use crate::tune::marks::What;
use cuepost_engine::Config;
use serde::Serialize;

#[derive(Serialize)]
pub struct Answer {
    cues: Vec<CueRow>,
    /// As it happened, on the way out, before the corner.
    told: [u32; 3],
    cues_per_lap: f64,
    told_s_per_lap: f64,
    flips: Option<f64>,
    /// Marked and told, told and not marked so, marked and not told.
    marks: Option<[u32; 3]>,
}

#[derive(Serialize)]
struct CueRow {
    take: usize,
    lap: u16,
    corner: u8,
    phase: &'static str,
    advice: &'static str,
    told: &'static str,
    progress_m: f32,
    /// What the passage lost in the end.
    lost_s: Option<f32>,
    text: String,
    /// Accepted or rejected by the coach.
    right: Option<bool>,
}

/// Judges everything under a configuration.
pub fn answer(work: &Work, config: &Config) -> Answer {
    work.with_desk(|desk, marks| {
        let mut rows = Vec::new();
        let outcome = work.shaken.try_one(desk, config, |index, cues| {
            let Some(take) = desk.takes.get(index) else {
                return;
            };
            rows.extend(cues.iter().map(|cue| CueRow {
                take: index,
                lap: cue.lap,
                corner: cue.corner,
                phase: cue.phase.name(),
                advice: cue.advice.name(),
                told: cue.told.name(),
                progress_m: cue.progress_m,
                lost_s: take.lost_s.get(&(cue.lap, cue.corner)).copied(),
                text: words::instruction(cue, work.units),
                right: marks.of(&take.name, What::of(cue)),
            }));
        });
        let laps = desk.laps().max(1) as f64;
        Answer {
            cues: rows,
            told: outcome.told,
            cues_per_lap: f64::from(outcome.cues()) / laps,
            told_s_per_lap: outcome.told_s,
            flips: outcome.flips,
            marks: outcome.agreement.map(|a| [a.right, a.wrong, a.missed]),
        }
    })
}

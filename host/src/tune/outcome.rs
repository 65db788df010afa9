//! What came of a setting.

use super::Take;
use super::marks::{Agreement, Marks, Sheet, What};
use super::settings::Setting;
use super::tape::Tape;
use cuepost_engine::{Advice, Config, Cue, ReferenceView, Told};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Settings tried together on a core.
const BLOCK: usize = 16;

/// What a setting would have told.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outcome {
    /// Cues as it happened, on the way out, before the corner.
    pub told: [u32; 3],
    /// Cues by the phase they are about, in the order of [`cuepost_engine::Phase::ALL`]; the whole corner's praise
    /// comes first, under the straight.
    pub phases: [u32; 5],
    /// Cues by corner, reminders included.
    pub corners: BTreeMap<u8, u32>,
    /// What the passages lost that something was told of, praise left out, seconds a lap.
    pub told_s: f64,
    /// With the coach's marks, where there are any.
    pub agreement: Option<Agreement>,
    /// The share of what is told that would be told otherwise if the same drive were measured once
    /// more; none when nothing is told, or it was not tried.
    pub flips: Option<f64>,
}

impl Outcome {
    /// Cues altogether.
    pub fn cues(&self) -> u32 {
        self.told.iter().sum()
    }
}

/// Recordings measured again some times, and how many laps they have: all that settings are tried
/// on.
pub struct Trial {
    /// For each recording the same drive measured again.
    shaken: Vec<Vec<Tape>>,
    laps: usize,
}

impl Trial {
    /// `shakes` is how often each drive is measured again to see what flips; 0 leaves it out.
    pub fn new(reference: &ReferenceView<'_>, takes: &[Take], shakes: u64) -> Self {
        let shake = |take: &Take| {
            let one = |seed| take.tape.shaken(reference, seed);
            (1..=shakes).into_par_iter().map(one).collect()
        };
        Self {
            shaken: takes.iter().map(shake).collect(),
            laps: takes.iter().map(|t| t.session.laps.len()).sum(),
        }
    }

    /// Laps that ended in all recordings.
    pub fn laps(&self) -> usize {
        self.laps
    }

    /// Tries settings on all cores; `done` is told how many more.
    pub fn try_all(
        &self,
        desk: Desk<'_>,
        settings: &[Setting],
        done: impl Fn(u64) + Sync,
    ) -> Vec<Outcome> {
        let block = |block: &[Setting]| {
            let configs: Vec<&Config> = block.iter().map(|s| &s.config).collect();
            let outcomes = self.try_block(desk, &configs, |_, _, _| {});
            done(block.len() as u64);
            outcomes
        };
        settings.par_chunks(BLOCK).flat_map_iter(block).collect()
    }

    /// Tries one setting; `told` gets the cues of each recording.
    pub fn try_one(
        &self,
        desk: Desk<'_>,
        config: &Config,
        mut told: impl FnMut(usize, &[Cue]),
    ) -> Outcome {
        let mut outcomes = self.try_block(desk, &[config], |_, take, cues| told(take, cues));
        outcomes.pop().unwrap_or_default()
    }

    /// Tries some settings together; `told` gets setting, recording, and the cues.
    fn try_block(
        &self,
        desk: Desk<'_>,
        configs: &[&Config],
        mut told: impl FnMut(usize, usize, &[Cue]),
    ) -> Vec<Outcome> {
        let mut sums = vec![Sum::default(); configs.len()];
        let mut cues: Vec<Vec<Cue>> = vec![Vec::new(); configs.len()];
        let play = |tape: &Tape, cues: &mut Vec<Vec<Cue>>| {
            cues.iter_mut().for_each(Vec::clear);
            tape.play_all(desk.reference, configs, |number, cue| {
                if let Some(cues) = cues.get_mut(number) {
                    cues.push(cue);
                }
            });
        };
        let mut again = Vec::new();
        for (index, take) in desk.takes.iter().enumerate() {
            play(&take.tape, &mut cues);
            let sheet = desk.sheets.and_then(|s| s.get(index));
            for (number, (sum, cues)) in sums.iter_mut().zip(&cues).enumerate() {
                count(&mut sum.outcome, take, cues);
                told(number, index, cues);
                if let Some(sheet) = sheet {
                    sum.agreement.add(sheet.agreement(cues));
                }
                sorted(cues, &mut sum.whats);
            }
            for tape in self.shaken.get(index).into_iter().flatten() {
                play(tape, &mut cues);
                for (sum, cues) in sums.iter_mut().zip(&cues) {
                    sorted(cues, &mut again);
                    let (one, both) = compare(&sum.whats, &again);
                    sum.flipped += one;
                    sum.all += one + both;
                }
            }
        }
        let outcome = |sum: Sum| Outcome {
            told_s: sum.outcome.told_s / self.laps.max(1) as f64,
            agreement: desk.sheets.map(|_| sum.agreement),
            flips: (sum.all > 0).then(|| sum.flipped as f64 / sum.all as f64),
            ..sum.outcome
        };
        sums.into_iter().map(outcome).collect()
    }
}

/// A setting under way.
#[derive(Clone, Default)]
struct Sum {
    outcome: Outcome,
    agreement: Agreement,
    /// What the recording under way tells, as it was measured.
    whats: Vec<What>,
    flipped: usize,
    all: usize,
}

/// What is judged, and what it is held against.
#[derive(Clone, Copy)]
pub struct Desk<'a> {
    /// The reference.
    pub reference: &'a ReferenceView<'a>,
    /// The recordings.
    pub takes: &'a [Take],
    /// The marks of each, where there are any.
    pub sheets: Option<&'a [Sheet]>,
}

/// The marks of each recording.
pub fn sheets(takes: &[Take], marks: &Marks) -> Vec<Sheet> {
    takes.iter().map(|t| marks.sheet(&t.name)).collect()
}

fn count(outcome: &mut Outcome, take: &Take, cues: &[Cue]) {
    for cue in cues {
        outcome.told[cue.told as usize] += 1;
        outcome.phases[cue.phase as usize] += 1;
        *outcome.corners.entry(cue.corner).or_default() += 1;
        if cue.told != Told::Ahead && cue.advice != Advice::Better {
            let lost_s = take.lost_s.get(&(cue.lap, cue.corner));
            outcome.told_s += f64::from(lost_s.copied().unwrap_or(0.0));
        }
    }
}

/// What is told, whenever: sorted, each once.
fn sorted(cues: &[Cue], whats: &mut Vec<What>) {
    whats.clear();
    whats.extend(cues.iter().map(What::of));
    whats.sort_unstable();
    whats.dedup();
}

/// How many are in one of two sorted lists only, and how many in both.
fn compare(a: &[What], b: &[What]) -> (usize, usize) {
    let both = a.iter().filter(|w| b.binary_search(w).is_ok()).count();
    (a.len() + b.len() - 2 * both, both)
}

//! What came of a setting.

use super::Take;
use super::marks::{Agreement, Marks, Sheet, What};
use super::settings::Setting;
use super::tape::Tape;
use cuepost_engine::{Advice, Config, Cue, ReferenceView, Told};
use rayon::prelude::*;
use std::collections::BTreeMap;

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

    /// Tries settings on all cores; `done` is told of each.
    pub fn try_all(
        &self,
        desk: Desk<'_>,
        settings: &[Setting],
        done: impl Fn() + Sync,
    ) -> Vec<Outcome> {
        let one = |setting: &Setting| {
            let outcome = self.try_one(desk, &setting.config, |_, _| {});
            done();
            outcome
        };
        settings.par_iter().map(one).collect()
    }

    /// Tries one setting; `told` gets the cues of each recording.
    pub fn try_one(
        &self,
        desk: Desk<'_>,
        config: &Config,
        mut told: impl FnMut(usize, &[Cue]),
    ) -> Outcome {
        let mut outcome = Outcome::default();
        let mut agreement = Agreement::default();
        let (mut flipped, mut all) = (0, 0);
        let mut cues = Vec::new();
        for (index, take) in desk.takes.iter().enumerate() {
            cues.clear();
            take.tape.play(desk.reference, config, |cue| cues.push(cue));
            count(&mut outcome, take, &cues);
            told(index, &cues);
            if let Some(sheet) = desk.sheets.and_then(|s| s.get(index)) {
                agreement.add(sheet.agreement(&cues));
            }
            let mut whats = Vec::new();
            sorted(&cues, &mut whats);
            let mut again = Vec::new();
            for tape in self.shaken.get(index).into_iter().flatten() {
                cues.clear();
                tape.play(desk.reference, config, |cue| cues.push(cue));
                sorted(&cues, &mut again);
                let (one, both) = compare(&whats, &again);
                flipped += one;
                all += one + both;
            }
        }
        outcome.told_s /= self.laps.max(1) as f64;
        outcome.agreement = desk.sheets.map(|_| agreement);
        outcome.flips = (all > 0).then(|| flipped as f64 / all as f64);
        outcome
    }
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

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
    /// Cues by the phase they are about, in the order of [`cuepost_engine::Phase::ALL`]; praise of
    /// a whole corner comes first, under the straight.
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

/// Tries settings on all cores. `shakes` is how often each drive is measured again to see what
/// flips; 0 leaves it out. `done` is told of each of the [`passes`].
///
/// One drive measured again is kept at a time: a season has thousands of laps.
pub fn sweep(desk: Desk<'_>, settings: &[Setting], shakes: u64, done: impl Fn()) -> Vec<Outcome> {
    let mut sums = vec![Sum::default(); settings.len()];
    let on_all = |sums: &mut Vec<Sum>, tape: &Tape, take: &(dyn Fn(&mut Sum, &[Cue]) + Sync)| {
        let blocks = sums.par_chunks_mut(BLOCK).zip(settings.par_chunks(BLOCK));
        blocks.for_each(|(sums, settings)| {
            let configs: Vec<&Config> = settings.iter().map(|s| &s.config).collect();
            let cues = play(desk.reference, tape, &configs);
            for (sum, cues) in sums.iter_mut().zip(&cues) {
                take(sum, cues);
            }
        });
        done();
    };
    for (index, take) in desk.takes.iter().enumerate() {
        on_all(&mut sums, &take.tape, &|sum, cues| {
            sum.take(desk, index, cues);
        });
        for seed in 1..=shakes {
            let again = take.tape.shaken(desk.reference, seed);
            on_all(&mut sums, &again, &Sum::take_again);
        }
    }
    sums.into_iter().map(|sum| sum.outcome(desk)).collect()
}

/// How many passes over all settings a [`sweep`] makes.
pub fn passes(takes: usize, shakes: u64) -> u64 {
    takes as u64 * (shakes + 1)
}

/// Each recording measured again some times, and kept: a slider is to be followed at once.
pub struct Shaken(Vec<Vec<Tape>>);

impl Shaken {
    /// Measures again, this many times.
    pub fn new(reference: &ReferenceView<'_>, takes: &[Take], times: u64) -> Self {
        let shake = |take: &Take| {
            let one = |seed| take.tape.shaken(reference, seed);
            (1..=times).into_par_iter().map(one).collect()
        };
        Self(takes.iter().map(shake).collect())
    }

    /// Tries one setting; `told` gets the cues of each recording.
    pub fn try_one(
        &self,
        desk: Desk<'_>,
        config: &Config,
        mut told: impl FnMut(usize, &[Cue]),
    ) -> Outcome {
        let mut sum = Sum::default();
        for (index, take) in desk.takes.iter().enumerate() {
            let cues = take.cues(desk.reference, config);
            sum.take(desk, index, &cues);
            told(index, &cues);
            for tape in self.0.get(index).into_iter().flatten() {
                for cues in play(desk.reference, tape, &[config]) {
                    sum.take_again(&cues);
                }
            }
        }
        sum.outcome(desk)
    }
}

/// The cues of each configuration.
fn play(reference: &ReferenceView<'_>, tape: &Tape, configs: &[&Config]) -> Vec<Vec<Cue>> {
    let mut cues = vec![Vec::new(); configs.len()];
    tape.play_all(reference, configs, |number, cue| {
        if let Some(cues) = cues.get_mut(number) {
            cues.push(cue);
        }
    });
    cues
}

/// A setting under way.
#[derive(Clone, Default)]
struct Sum {
    outcome: Outcome,
    agreement: Agreement,
    /// What is told on the recording under way, as it was measured.
    whats: Vec<What>,
    flipped: usize,
    all: usize,
}

impl Sum {
    /// Takes what is told on a recording.
    fn take(&mut self, desk: Desk<'_>, index: usize, cues: &[Cue]) {
        if let Some(take) = desk.takes.get(index) {
            count(&mut self.outcome, take, cues);
        }
        if let Some(sheet) = desk.sheets.and_then(|s| s.get(index)) {
            self.agreement.add(sheet.agreement(cues));
        }
        self.whats = sorted(cues);
    }

    /// Takes what is told on the same recording measured again.
    fn take_again(&mut self, cues: &[Cue]) {
        let (one, both) = compare(&self.whats, &sorted(cues));
        self.flipped += one;
        self.all += one + both;
    }

    fn outcome(self, desk: Desk<'_>) -> Outcome {
        Outcome {
            told_s: self.outcome.told_s / desk.laps().max(1) as f64,
            agreement: desk.sheets.map(|_| self.agreement),
            flips: (self.all > 0).then(|| self.flipped as f64 / self.all as f64),
            ..self.outcome
        }
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

impl Desk<'_> {
    /// Laps that ended in all recordings.
    pub fn laps(&self) -> usize {
        self.takes.iter().map(|t| t.session.laps.len()).sum()
    }
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
fn sorted(cues: &[Cue]) -> Vec<What> {
    let mut whats: Vec<What> = cues.iter().map(What::of).collect();
    whats.sort_unstable();
    whats.dedup();
    whats
}

/// How many are in one of two sorted lists only, and how many in both.
fn compare(a: &[What], b: &[What]) -> (usize, usize) {
    let both = a.iter().filter(|w| b.binary_search(w).is_ok()).count();
    (a.len() + b.len() - 2 * both, both)
}

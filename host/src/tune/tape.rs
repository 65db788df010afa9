//! All that the engine gave its judge and its voice, kept so that both can be asked again under
//! other thresholds. Nothing is measured here, and nothing judged: [`Tape::play`] runs the
//! engine's own judge and voice.

use super::beat::{Beat, Finished, Known, Part};
use super::shake::Shake;
use cuepost_engine::judge::{Deviations, Losses, Verdict};
use cuepost_engine::voice::{Coming, Overdue, Pace, Scene, View, Voice, Watch};
use cuepost_engine::{Config, Corner, Cue, Facts, ReferenceView, Thresholds};

/// Steps played under all configurations before the next ones: about two laps.
const STRETCH: usize = 128;

/// What happened, in its order.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Step {
    /// The voice was silenced.
    Hush,
    /// A corner was finished.
    Finished(u32),
    /// Moments that are open to the same.
    Part(Part),
}

/// One recording, measured.
#[derive(Clone, Debug, Default)]
pub struct Tape {
    steps: Vec<Step>,
    beats: Vec<Beat>,
    known: Vec<Known>,
    finished: Vec<Finished>,
}

/// Takes the tape of a recording while it is replayed.
pub struct Recorder<'a> {
    reference: ReferenceView<'a>,
    tape: Tape,
}

impl<'a> Recorder<'a> {
    /// An empty tape.
    pub fn new(reference: ReferenceView<'a>) -> Self {
        Self {
            reference,
            tape: Tape::default(),
        }
    }

    /// The tape, once the recording is over.
    pub fn finish(self) -> Tape {
        self.tape
    }

    /// The number under which facts are kept; those before it are looked at first.
    fn know(&mut self, facts: &Facts, pace: &Pace) -> u32 {
        let index = usize::from(facts.corner).saturating_sub(1);
        let facts = Facts {
            loss_exit_s: None,
            ..*facts
        };
        let allowance = pace.allowance(&self.reference, index);
        let same = |k: &Known| k.facts == facts && k.allowance == allowance;
        if !self.tape.known.last().is_some_and(same) {
            let known = Known::new(&self.reference, facts, allowance);
            self.tape.known.push(known);
        }
        self.tape.known.len().saturating_sub(1) as u32
    }
}

impl Watch for Recorder<'_> {
    fn hushed(&mut self) {
        if self.tape.steps.last() != Some(&Step::Hush) {
            self.tape.steps.push(Step::Hush);
        }
    }

    fn finished(&mut self, facts: &Facts, time_us: u64, pace: &Pace) {
        let index = usize::from(facts.corner).saturating_sub(1);
        let allowance = pace.allowance(&self.reference, index);
        let number = self.tape.finished.len() as u32;
        self.tape.steps.push(Step::Finished(number));
        self.tape.finished.push(Finished {
            known: Known::new(&self.reference, *facts, allowance),
            losses: Losses::of(facts),
            time_us,
        });
    }

    fn moment(&mut self, view: &View<'_>, pace: &Pace) {
        let overdue = view.overdue();
        let part = Part {
            lap: view.lap(),
            corner: view.corner(),
            overdue: overdue.is_some(),
            way_out: view.way_out(),
            opening: view.opening(),
            coming: view.coming(),
            first: self.tape.beats.len(),
            end: self.tape.beats.len(),
            first_us: view.time_us(),
            last_us: view.time_us(),
        };
        if !(part.overdue || part.way_out || part.opening || part.coming.is_some()) {
            return;
        }
        let facts = (part.overdue || part.way_out).then(|| view.facts());
        let known = facts.map_or(0, |f| self.know(&f, pace));
        self.tape.beats.push(Beat {
            time_us: view.time_us(),
            progress_m: view.progress_m(),
            speed_mps: view.speed_mps(),
            overdue,
            known,
            exit_s: facts.and_then(|f| f.loss_exit_s),
            losses: facts.map(|f| Losses::of(&f)).unwrap_or_default(),
        });
        match self.tape.steps.last_mut() {
            Some(Step::Part(last)) if last.opens_as(&part) => {
                last.end += 1;
                last.last_us = part.last_us;
            }
            _ => self.tape.steps.push(Step::Part(Part {
                end: part.end + 1,
                ..part
            })),
        }
    }
}

/// A kept moment, as the voice sees it.
struct Kept<'a> {
    reference: &'a ReferenceView<'a>,
    part: &'a Part,
    beat: &'a Beat,
    known: Option<&'a Known>,
}

fn shake(seed: u64, facts: &Facts) -> Facts {
    Shake::of(seed, facts.lap, facts.corner).facts(facts)
}

fn corner<'a>(reference: &'a ReferenceView<'_>, number: u8) -> Option<&'a Corner> {
    reference.corners.get(usize::from(number).checked_sub(1)?)
}

impl Scene for Kept<'_> {
    fn time_us(&self) -> u64 {
        self.beat.time_us
    }

    fn progress_m(&self) -> f32 {
        self.beat.progress_m
    }

    fn speed_mps(&self) -> f32 {
        self.beat.speed_mps
    }

    fn lap(&self) -> u16 {
        self.part.lap
    }

    fn corner(&self) -> u8 {
        self.part.corner
    }

    fn overdue(&self) -> Option<Overdue> {
        self.beat.overdue
    }

    fn way_out(&self) -> bool {
        self.part.way_out
    }

    fn opening(&self) -> bool {
        self.part.opening
    }

    fn coming(&self) -> Option<Coming> {
        self.part.coming
    }

    fn deviations(&self, limit: &Thresholds) -> Option<Deviations> {
        Some(self.known?.differences.against(&self.beat.losses, limit))
    }

    fn verdict(&self, limit: &Thresholds, _: &Pace) -> Option<Verdict> {
        let own = corner(self.reference, self.part.corner)?;
        self.known?.verdict(own, &self.beat.losses, limit)
    }
}

impl Tape {
    /// The same drive measured once more: every fact moved within its own uncertainty, the same
    /// way wherever the passage is looked at.
    pub fn shaken(&self, reference: &ReferenceView<'_>, seed: u64) -> Self {
        let mut shaken = self.clone();
        for known in &mut shaken.known {
            let facts = shake(seed, &known.facts);
            *known = Known::new(reference, facts, known.allowance);
        }
        for finished in &mut shaken.finished {
            let known = &mut finished.known;
            let facts = shake(seed, &known.facts);
            *known = Known::new(reference, facts, known.allowance);
            finished.losses = Losses::of(&facts);
        }
        for step in &self.steps {
            let Step::Part(part) = step else { continue };
            if !(part.overdue || part.way_out) {
                continue;
            }
            let shake = Shake::of(seed, part.lap, part.corner);
            for beat in shaken
                .beats
                .get_mut(part.first..part.end)
                .unwrap_or_default()
            {
                let Some(known) = shaken.known.get(beat.known as usize) else {
                    continue;
                };
                beat.losses = Losses::of(&Facts {
                    loss_exit_s: shake.exit_s(beat.exit_s),
                    ..known.facts
                });
            }
        }
        shaken
    }

    /// What is told under a configuration, in the order told: what the engine's own replay would
    /// tell, to the bit.
    pub fn play(&self, reference: &ReferenceView<'_>, config: &Config, mut tell: impl FnMut(Cue)) {
        self.play_all(reference, &[config], |_, cue| tell(cue));
    }

    /// As [`Tape::play`] for several configurations, each cue with the number of its own. A
    /// stretch of the tape is played under all of them before the next one: it is in the cache.
    pub fn play_all(
        &self,
        reference: &ReferenceView<'_>,
        configs: &[&Config],
        mut tell: impl FnMut(usize, Cue),
    ) {
        let mut voices = vec![Voice::default(); configs.len()];
        for stretch in self.steps.chunks(STRETCH) {
            for (number, (voice, config)) in voices.iter_mut().zip(configs).enumerate() {
                for step in stretch {
                    let mut tell = |cue| tell(number, cue);
                    self.play_step(reference, config, step, voice, &mut tell);
                }
            }
        }
    }

    fn play_step(
        &self,
        reference: &ReferenceView<'_>,
        config: &Config,
        step: &Step,
        voice: &mut Voice,
        tell: &mut impl FnMut(Cue),
    ) {
        match step {
            Step::Hush => voice.hush(),
            Step::Finished(number) => {
                let Some(finished) = self.finished.get(*number as usize) else {
                    return;
                };
                let known = &finished.known;
                let limit = config.at(known.facts.corner);
                let own = corner(reference, known.facts.corner);
                let verdict = own.and_then(|own| known.verdict(own, &finished.losses, limit));
                voice.keep(&known.facts, verdict, finished.time_us);
            }
            Step::Part(part) => self.play_part(reference, config, part, voice, tell),
        }
    }

    fn play_part(
        &self,
        reference: &ReferenceView<'_>,
        config: &Config,
        part: &Part,
        voice: &mut Voice,
        tell: &mut impl FnMut(Cue),
    ) {
        let mut at = part.first;
        while let Some(beat) = self.beats.get(at).filter(|_| at < part.end) {
            let kept = Kept {
                reference,
                part,
                beat,
                known: self.known.get(beat.known as usize),
            };
            if at == part.first && !voice.awaits(&kept) {
                return;
            }
            if let Some(cue) = voice.speak(&kept, config) {
                tell(cue);
            }
            at = part.seek(&self.beats, at, voice.rests_until_us(&kept));
        }
    }
}

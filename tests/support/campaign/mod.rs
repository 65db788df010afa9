//! Planted faults against what was told: one case end to end, and the tables over many.

mod advice;
mod report;
mod truth;

pub use report::Report;

use cuepost_engine::judge::{Deviations, Verdict};
use cuepost_engine::reference::CornerKind;
use cuepost_engine::thresholds::Config;
use cuepost_engine::{Cue, Engine, Event, Facts, PaceEvent};
use cuepost_host::demo::campaign::{Case, Planted, Wanted, case};
use cuepost_host::demo::receiver::{ReceiverModel, sample};
use cuepost_host::demo::truth::Passage;
use cuepost_host::learn::{Learned, Options, Take, learn};
pub use truth::Deviation;

/// What became of one passage of one corner.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The seed of its case.
    pub seed: u64,
    /// What was driven.
    pub passage: Passage,
    /// What was planted, if anything.
    pub planted: Option<Planted>,
    /// Whether the whole lap was slower.
    pub paced: bool,
    /// Whether the corner before it had a planted fault.
    pub after_fault: bool,
    /// What kind of corner it is in the reference.
    pub kind: CornerKind,
    /// For a bend that the reference has not as a corner: the corner on whose road it lies.
    pub on_the_road_of: Option<u8>,
    /// Whether no other fault was planted on the same corner's road of the reference.
    pub alone: bool,
    /// How it really differed from the reference lap.
    pub truth: Deviation,
    /// What the engine measured, against its reference.
    pub seen: Option<Deviations>,
    /// What the judge makes of it when all is known.
    pub verdict: Option<Verdict>,
    /// What was told of it. Of reminders, those that said the right thing just before it was done
    /// again: they are not repeated.
    pub told: Vec<Cue>,
    /// Whether its lap was called slower everywhere.
    pub pace_told: bool,
    /// For a cue told at once: seconds after it could be known.
    pub delay_s: Option<f64>,
    /// Whether it was told while the car was no slower there than the reference.
    pub told_while_faster: bool,
}

/// Drives, learns and replays one case. `None` when no reference came of the coach's laps.
pub fn run(seed: u64, wanted: &Wanted, receiver: &ReceiverModel) -> Option<Vec<Outcome>> {
    let case = case(seed, wanted);
    let learned = teach(&case, receiver, seed.wrapping_mul(2))?;
    let chosen = learned.cut.laps.get(learned.chosen)?.number as u16;
    let samples = sample(&case.driven, receiver, seed.wrapping_mul(2) + 1);
    let config = Config {
        thresholds: wanted.thresholds,
        ..Config::default()
    };
    let reference = learned.reference.view();
    let mut engine = Engine::new(config);
    let mut heard = Heard::default();
    let mut hear = |events: &[Event]| {
        for event in events {
            match event {
                Event::Cue(cue) => heard.cues.push(*cue),
                Event::Corner(facts) => heard.facts.push(*facts),
                Event::Pace(pace) => heard.paces.push(*pace),
                _ => {}
            }
        }
    };
    for s in &samples {
        hear(engine.feed(&reference, s));
    }
    hear(engine.finish(&reference));
    Some(truth::outcomes(&case, wanted, &learned, chosen, &heard))
}

/// What the engine said of a drive.
#[derive(Clone, Debug, Default)]
pub struct Heard {
    /// Cues.
    pub cues: Vec<Cue>,
    /// Facts of corners.
    pub facts: Vec<Facts>,
    /// Laps that were called slower everywhere.
    pub paces: Vec<PaceEvent>,
}

/// The reference from the coach's laps as a receiver saw them; the seed is the receiver's noise.
pub fn teach(case: &Case, receiver: &ReceiverModel, seed: u64) -> Option<Learned> {
    let samples = sample(&case.coach, receiver, seed);
    let take = Take {
        name: "coach",
        samples: &samples,
    };
    let options = Options {
        start: Some(case.circuit.start()),
        ..Options::default()
    };
    learn(&[take], &options, &mut |_, _| {}).ok()
}

//! Faults between a drive and the engine: which cues come that the clean drive would not give,
//! which laps are wrong, how soon it is named and how soon it is over.
//!
//! The engine drives the same stream clean and faulted. The clean stream is driven more than once:
//! with other noise of the receiver, and from later on, because what was told before decides what
//! is told again. A cue of the faulted drive is *the same* when one of the clean drives gives it
//! too, *borne out* when the clean drive's facts of that passage deviate that way by most of the
//! threshold (a fault may make the judge choose the second of two true advices), and *wrong*
//! otherwise.

mod fault;
mod inject;
mod judge;
mod report;
mod road;
mod spoil;
mod streams;

pub use fault::{Fault, Rate};
pub use inject::{Fed, inject};
pub use report::{Report, Row};
pub use streams::{Stream, invented, simulator};

use cuepost_engine::event::Why;
use cuepost_engine::voice::{Pace, View, Watch};
use cuepost_engine::{Config, Cue, Engine, Event, Facts, HealthState, LapEvent};

/// One thing the engine said, and at which sample of the stream.
#[derive(Clone, Copy, Debug)]
pub struct Heard<T> {
    /// Index of the sample.
    pub at: usize,
    /// What it said.
    pub what: T,
}

/// What the engine made of each sample.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    /// Metres from the start line, where it knows.
    pub progress_m: Option<f32>,
    /// Its health.
    pub health: HealthState,
    /// And why.
    pub why: Why,
    /// The facts of the passage under way will not be used.
    pub admitted: bool,
}

/// A whole drive through the engine.
#[derive(Clone, Debug, Default)]
pub struct Run {
    /// Sample by sample.
    pub steps: Vec<Step>,
    /// Cues.
    pub cues: Vec<Heard<Cue>>,
    /// Laps.
    pub laps: Vec<Heard<LapEvent>>,
    /// Finished corners.
    pub facts: Vec<Heard<Facts>>,
}

/// What the clean stream gives.
pub struct Clean {
    /// The stream as it is.
    pub run: Run,
    /// Cues of that and of the other drives, and when, seconds of the clean stream.
    pub cues: Vec<(f64, Cue)>,
}

/// How often the clean stream is driven with noise of its own.
const NOISES: u64 = 12;

/// Drives the clean stream.
pub fn clean(stream: &Stream) -> Clean {
    let whole = stream.clean();
    let run = drive(stream, &whole);
    let mut cues = Vec::new();
    let mut hear = |run: &Run, fed: &[Fed]| {
        let at_s = |at: usize| fed[at].clean_us as f64 * 1e-6;
        cues.extend(run.cues.iter().map(|c| (at_s(c.at), c.what)));
    };
    hear(&run, &whole);
    for seed in 0..NOISES {
        for part in 0..6 {
            let mut fed = whole[whole.len() * part / 6..].to_vec();
            streams::roughen(fed.iter_mut().map(|f| &mut f.sample), 100 + seed);
            hear(&drive(stream, &fed), &fed);
        }
    }
    Clean { run, cues }
}

/// Drives a stream.
pub fn drive(stream: &Stream, fed: &[Fed]) -> Run {
    let reference = stream.reference.view();
    let mut engine = Engine::new(Config::default());
    let mut run = Run::default();
    let mut last = Last::default();
    for (at, item) in fed.iter().enumerate() {
        let before = refused(&engine);
        for event in engine.feed_watched(&reference, &item.sample, &mut last) {
            match event {
                Event::Cue(what) => run.cues.push(Heard { at, what: *what }),
                Event::Lap(what) => run.laps.push(Heard { at, what: *what }),
                Event::Corner(what) => run.facts.push(Heard { at, what: *what }),
                _ => {}
            }
        }
        run.steps.push(Step {
            progress_m: engine.place().map(|p| p.progress_m),
            health: engine.health().0,
            why: engine.health().1,
            admitted: refused(&engine) == before,
        });
    }
    let at = fed.len().saturating_sub(1);
    for event in engine.finish(&reference) {
        if let Event::Corner(what) = event {
            run.facts.push(Heard { at, what: *what });
        }
    }
    // The corner in which the recording ends, as far as it was driven.
    run.facts.extend(last.facts.map(|what| Heard { at, what }));
    run
}

/// The facts of the passage under way.
#[derive(Default)]
struct Last {
    facts: Option<Facts>,
}

impl Watch for Last {
    fn hushed(&mut self) {
        self.facts = None;
    }

    fn finished(&mut self, _: &Facts, _: u64, _: &Pace) {}

    fn moment(&mut self, view: &View<'_>, _: &Pace) {
        self.facts = Some(view.facts());
    }
}

fn refused(engine: &Engine) -> u32 {
    engine.refused().iter().sum()
}

/// One fault at one rate over one stream.
pub fn measure(stream: &Stream, clean: &Clean, fault: Fault, rate: Rate, seed: u64) -> Row {
    let fed = inject(stream, fault, rate, seed);
    let run = drive(stream, &fed.samples);
    judge::row(stream, clean, &fed, &run)
}

//! A recording measured once: its laps, traces, facts and cues, for everything that looks at it
//! afterwards. Thresholds change the cues only.

mod trace;

pub use trace::{Grid, LapTrace, MISSING, MISSING_PEDAL};

use crate::replay::{Summary, replay_watched};
use cuepost_engine::judge::{Allowance, Verdict, judge};
use cuepost_engine::voice::{Pace, Watch};
use cuepost_engine::{
    Config, Cue, Event, Facts, LapEvent, PaceEvent, PhaseEvent, ReferenceView, Sample, Thresholds,
};
use std::collections::BTreeMap;
use trace::Drawn;

/// One passage of one corner: all that the judge needs besides thresholds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Passage {
    /// What was measured.
    pub facts: Facts,
    /// What the day's pace explained at that moment.
    pub allowance: Allowance,
}

impl Passage {
    /// What these thresholds make of it.
    pub fn verdict(&self, reference: &ReferenceView<'_>, limit: &Thresholds) -> Option<Verdict> {
        let index = usize::from(self.facts.corner).checked_sub(1)?;
        let corner = reference.corners.get(index)?;
        judge(reference, corner, &self.facts, limit, self.allowance)
    }

    /// Whether it is to be judged and all three parts of its loss are known.
    pub fn loss_s(&self) -> Option<f32> {
        let loss_s = self.facts.usable.then(|| self.facts.loss_s()).flatten()?;
        loss_s.is_finite().then_some(loss_s)
    }
}

/// A recording, measured.
#[derive(Clone, Debug, Default)]
pub struct Session {
    /// Laps that ended.
    pub laps: Vec<LapEvent>,
    /// Passages of corners, in the order driven.
    pub passages: Vec<Passage>,
    /// Begun phases.
    pub phases: Vec<PhaseEvent>,
    /// What was told.
    pub cues: Vec<Cue>,
    /// Laps slower or faster everywhere.
    pub paces: Vec<PaceEvent>,
    /// What was read.
    pub summary: Summary,
    traces: BTreeMap<u16, Drawn>,
}

impl Session {
    /// The trace of a lap that ended, on the points of a grid.
    pub fn trace(&self, lap: u16, grid: &Grid, reference: &ReferenceView<'_>) -> Option<LapTrace> {
        Some(self.traces.get(&lap)?.on(grid, reference))
    }

    /// Why there is nothing to look at; none where a lap was closed or a corner is to be judged.
    pub fn nothing(&self) -> Option<&'static str> {
        let judged = self.passages.iter().any(|p| p.facts.usable);
        (self.laps.is_empty() && !judged).then_some(
            "no lap and no corner was driven on this reference: is it the same circuit, and driven \
             the same way round?",
        )
    }

    /// Usable passages of one corner whose loss is known.
    pub fn of_corner(&self, corner: u8) -> impl Iterator<Item = &Passage> {
        let of = move |p: &&Passage| p.facts.corner == corner && p.loss_s().is_some();
        self.passages.iter().filter(of)
    }
}

/// Runs the engine over a recording and keeps what it says. The error is the source's, beside all
/// that was measured before it.
pub fn measure<E>(
    samples: impl Iterator<Item = Result<Sample, E>>,
    reference: &ReferenceView<'_>,
    config: &Config,
) -> (Session, Option<E>) {
    measure_watched(samples, reference, config, &mut ())
}

/// As [`measure`]; `voice` sees what the engine's voice is given.
pub fn measure_watched<E>(
    samples: impl Iterator<Item = Result<Sample, E>>,
    reference: &ReferenceView<'_>,
    config: &Config,
    voice: &mut impl Watch,
) -> (Session, Option<E>) {
    let mut session = Session::default();
    let mut traces: BTreeMap<u16, Drawn> = BTreeMap::new();
    let mut pace = Pace::default();
    let (summary, fault) = replay_watched(
        samples,
        reference,
        config.clone(),
        voice,
        |sample, place| trace::draw(&mut traces, sample, place, reference.length_m()),
        |event, _| match event {
            Event::Lap(lap) => session.laps.push(*lap),
            Event::Corner(facts) => session.passages.push(passage(reference, &mut pace, facts)),
            Event::Phase(phase) => session.phases.push(*phase),
            Event::Cue(cue) => session.cues.push(*cue),
            Event::Pace(told) => session.paces.push(*told),
            Event::Health(_) => {}
        },
    );
    session.summary = summary;
    session.traces = traces;
    (session, fault)
}

/// The same order as the engine's: the pace takes the facts in, then says what it explains.
fn passage(reference: &ReferenceView<'_>, pace: &mut Pace, facts: &Facts) -> Passage {
    let Some(index) = usize::from(facts.corner).checked_sub(1) else {
        return Passage {
            facts: *facts,
            allowance: Allowance::default(),
        };
    };
    if facts.usable {
        pace.take(reference, index, facts);
    }
    Passage {
        facts: *facts,
        allowance: pace.allowance(reference, index),
    }
}

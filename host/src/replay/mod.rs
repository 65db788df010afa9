//! Runs the engine over a recording. The engine does the work; this counts and hands on.

pub mod table;
pub mod text;

use cuepost_engine::gate::REFUSALS;
use cuepost_engine::progress::Place;
use cuepost_engine::voice::Watch;
use cuepost_engine::{Config, Engine, Event, ReferenceView, Sample};

/// What a replay went through.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Summary {
    /// Samples read.
    pub samples: u64,
    /// Source time of the first sample, microseconds.
    pub start_us: u64,
    /// Source time of the last one.
    pub end_us: u64,
    /// Refused by the gate, by reason.
    pub refused: [u32; REFUSALS],
    /// Laps that ended.
    pub laps: u32,
    /// Cues given.
    pub cues: u32,
}

/// Feeds samples to an engine and hands every event on, with the source time of the first sample.
///
/// Stops at the first error of the source and returns it beside what was done before; whatever
/// was read until then has been told.
pub fn replay<E, F>(
    samples: impl Iterator<Item = Result<Sample, E>>,
    reference: &ReferenceView<'_>,
    config: Config,
    on_event: F,
) -> (Summary, Option<E>)
where
    F: FnMut(&Event, u64),
{
    replay_watched(samples, reference, config, &mut (), |_, _| {}, on_event)
}

/// As [`replay`]; `watch` also sees each admitted sample with its place on the line, before the
/// events it caused, and `voice` what the engine's voice is given.
pub fn replay_watched<E, W, F>(
    samples: impl Iterator<Item = Result<Sample, E>>,
    reference: &ReferenceView<'_>,
    config: Config,
    voice: &mut impl Watch,
    mut watch: W,
    mut on_event: F,
) -> (Summary, Option<E>)
where
    W: FnMut(&Sample, &Place),
    F: FnMut(&Event, u64),
{
    let mut engine = Engine::new(config);
    let mut summary = Summary::default();
    let mut fault = None;
    let mut refused_before = [0; REFUSALS];
    for sample in samples {
        let sample = match sample {
            Ok(sample) => sample,
            Err(error) => {
                fault = Some(error);
                break;
            }
        };
        if summary.samples == 0 {
            summary.start_us = sample.time_us;
        }
        summary.samples += 1;
        summary.end_us = sample.time_us;
        let start_us = summary.start_us;
        engine.feed_watched(reference, &sample, voice);
        let admitted = *engine.refused() == refused_before;
        refused_before = *engine.refused();
        if let (Some(place), true) = (engine.place(), admitted) {
            watch(&sample, place);
        }
        for event in engine.events() {
            summary.laps += u32::from(matches!(event, Event::Lap(_)));
            summary.cues += u32::from(matches!(event, Event::Cue(_)));
            on_event(event, start_us);
        }
    }
    for event in engine.finish(reference) {
        on_event(event, summary.start_us);
    }
    summary.refused = *engine.refused();
    (summary, fault)
}

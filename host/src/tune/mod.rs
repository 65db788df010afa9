//! Recordings measured once and judged under many settings.
//!
//! [`tape`] keeps what the engine gave its voice; [`settings`] says what is tried; [`outcome`] is
//! what came of it, held against the coach's [`marks`]; [`recommend`] picks one and says why.

pub mod beat;
pub mod marks;
pub mod outcome;
pub mod page;
pub mod recommend;
pub mod settings;
pub mod shake;
pub mod show;
pub mod tape;

use crate::session::{Session, measure_watched};
use cuepost_engine::{Config, Cue, ReferenceView, Sample};
use std::collections::HashMap;
use tape::{Recorder, Tape};

/// One recording, measured once.
#[derive(Clone, Debug, Default)]
pub struct Take {
    /// Its name, for marks and tables.
    pub name: String,
    /// Laps, facts and traces.
    pub session: Session,
    /// What the voice was given.
    pub tape: Tape,
    /// What each passage lost, by lap and corner.
    pub lost_s: HashMap<(u16, u8), f32>,
}

impl Take {
    /// Runs the engine over a recording. The error is the source's, beside all that was measured
    /// before it.
    pub fn measure<E>(
        name: &str,
        samples: impl Iterator<Item = Result<Sample, E>>,
        reference: &ReferenceView<'_>,
    ) -> (Self, Option<E>) {
        let mut recorder = Recorder::new(*reference);
        let config = Config::default();
        let (session, fault) = measure_watched(samples, reference, &config, &mut recorder);
        let losses = session.passages.iter().filter_map(|p| {
            let facts = &p.facts;
            Some(((facts.lap, facts.corner), p.loss_s()?))
        });
        let lost_s = losses.collect();
        let take = Self {
            name: name.to_owned(),
            lost_s,
            session,
            tape: recorder.finish(),
        };
        (take, fault)
    }

    /// What is told under a configuration, in the order told.
    pub fn cues(&self, reference: &ReferenceView<'_>, config: &Config) -> Vec<Cue> {
        let mut cues = Vec::new();
        self.tape.play(reference, config, |cue| cues.push(cue));
        cues
    }
}

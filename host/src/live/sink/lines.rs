//! Plain lines on standard output, for pipes and for terminals that are none.

use crate::live::message::{Said, SourceState};
use crate::reference_file::HostReference;
use crate::report::fold::fitted;
use crate::report::{Units, event_json, words};
use crossbeam_channel::Receiver;
use cuepost_engine::Event;
use std::io::Write;
use std::sync::{Arc, OnceLock};

/// How a line is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineFormat {
    /// For people: cues, laps, health and notes in words.
    Words,
    /// For programs: every event as `cuepost replay --format jsonl` writes it. Notes go to
    /// standard error.
    Json,
}

/// What the line sink needs.
pub struct Lines {
    /// How.
    pub format: LineFormat,
    /// For names and landmarks.
    pub reference: Arc<HostReference>,
    /// The driver's units.
    pub units: Units,
    /// Source time of the first sample.
    pub start_us: Arc<OnceLock<u64>>,
}

impl Lines {
    /// Writes until the engine ends or nobody reads any more.
    pub fn run(self, take: &Receiver<Said>, mut out: impl Write) {
        for said in take {
            let line = match said {
                Said::Event(event, _) => self.event(&event),
                Said::Note(note) if self.format == LineFormat::Json => {
                    eprintln!("cuepost: {}", note.text);
                    None
                }
                Said::Note(note) => Some(format!("-- {}", note.text)),
                Said::Source(SourceState::Silent) if self.format == LineFormat::Words => {
                    Some("-- no samples from the source".into())
                }
                Said::Source(_) => None,
            };
            let Some(mut line) = line else { continue };
            if self.format == LineFormat::Words {
                line = fitted(&line).into_owned();
            }
            if writeln!(out, "{line}").and_then(|()| out.flush()).is_err() {
                return;
            }
        }
    }

    fn event(&self, event: &Event) -> Option<String> {
        let view = self.reference.view();
        match self.format {
            LineFormat::Json => {
                let start_us = self.start_us.get().copied().unwrap_or(0);
                Some(event_json(event, &view, start_us, self.units))
            }
            LineFormat::Words => words::event(event, &view, self.units),
        }
    }
}

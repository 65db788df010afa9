//! What goes between the threads of a drive.

use cuepost_engine::{Event, HealthState, Sample, Why};
use std::time::Instant;

/// From the reader to the engine.
#[derive(Clone, Debug)]
pub enum Arrived {
    /// A sample, and when its last byte came.
    Sample(Sample, Instant),
    /// The source changed.
    Source(SourceState),
    /// Something to tell the people.
    Note(Note),
    /// The drive is over.
    End,
}

/// From the reader to the recorder.
#[derive(Clone, Copy, Debug)]
pub enum Record {
    /// A sample.
    Sample(Sample),
    /// The drive is over.
    End,
}

/// How the source is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum SourceState {
    /// It is open, and it may send.
    #[default]
    Open,
    /// It was unplugged or closed.
    Gone,
    /// It is open, but no usable sample has come for 0.6 s.
    Silent,
    /// A file or a pipe has ended.
    Ended,
}

impl SourceState {
    /// The one word for it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Gone => "gone",
            Self::Silent => "silent",
            Self::Ended => "ended",
        }
    }
}

/// Something that people should know about the drive itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Note {
    /// What it is about.
    pub kind: NoteKind,
    /// In words.
    pub text: String,
}

/// What a [`Note`] is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoteKind {
    /// The source went away, came back, or cannot be opened.
    Source,
    /// The line carries less than what is sent over it, or at another rate.
    Line,
    /// The recording is in trouble, or well again.
    Recording,
    /// A display is in trouble.
    Display,
}

impl NoteKind {
    /// The one word for it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Source => "source",
            Self::Line => "line",
            Self::Recording => "recording",
            Self::Display => "display",
        }
    }
}

impl Note {
    /// A note.
    pub fn new(kind: NoteKind, text: impl Into<String>) -> Self {
        Self {
            kind,
            text: text.into(),
        }
    }
}

/// From the engine to every sink.
#[derive(Clone, Debug)]
#[allow(clippy::large_enum_variant, reason = "a box would be an allocation")]
pub enum Said {
    /// The engine said this, caused by a sample that arrived then. By value: the engine's thread
    /// allocates nothing.
    Event(Event, Instant),
    /// The source changed.
    Source(SourceState),
    /// Something to tell the people.
    Note(Note),
}

/// Where things stand: the newest replaces the one before.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Now {
    /// Source time since the first sample, seconds.
    pub time_s: f64,
    /// Lap under way; 0 before the first crossing.
    pub lap: u16,
    /// Corner the car is in or comes from, from 1; 0 when not known.
    pub corner: u8,
    /// Metres from the start line.
    pub progress_m: Option<f32>,
    /// Metres left of the reference line.
    pub offset_m: Option<f32>,
    /// Metres east and north of the reference's origin.
    pub position_m: Option<(f32, f32)>,
    /// Ground speed, m/s.
    pub speed_mps: Option<f32>,
    /// Seconds behind the reference lap; negative when ahead.
    pub gap_s: Option<f32>,
    /// What the engine thinks of its input.
    pub state: HealthState,
    /// Why.
    pub why: Why,
    /// How the source is.
    pub source: SourceState,
}

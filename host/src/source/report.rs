//! What was found in a recording: what it is, what was understood, what was refused and where.

use std::fmt;
use std::path::PathBuf;

/// What a recording consists of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// NMEA 0183 sentences.
    Nmea,
    /// UBX frames.
    Ubx,
    /// Both of them in one stream.
    Mixed,
    /// A table of text with named columns.
    Csv,
    /// Our own wire frames.
    WireRecording,
}

impl Kind {
    /// In a few words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Nmea => "NMEA 0183 sentences",
            Self::Ubx => "UBX frames",
            Self::Mixed => "NMEA 0183 sentences and UBX frames",
            Self::Csv => "a table of text",
            Self::WireRecording => "a recording of Cuepost",
        }
    }

    /// True when a satellite receiver made it, so that its speed lags.
    pub const fn is_receiver(self) -> bool {
        matches!(self, Self::Nmea | Self::Ubx | Self::Mixed)
    }
}

/// A place in a recording.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Place {
    /// Line from 1, in text.
    pub line: Option<u64>,
    /// Offset in bytes, where it is known.
    pub byte: Option<u64>,
}

impl Place {
    /// A line of a text.
    pub const fn line(line: u64) -> Self {
        Self {
            line: Some(line),
            byte: None,
        }
    }

    /// A byte of a stream.
    pub const fn byte(byte: u64) -> Self {
        Self {
            line: None,
            byte: Some(byte),
        }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.line, self.byte) {
            (Some(line), Some(byte)) => write!(f, "line {line} (byte {byte})"),
            (Some(line), None) => write!(f, "line {line}"),
            (None, Some(byte)) => write!(f, "byte {byte}"),
            (None, None) => write!(f, "somewhere"),
        }
    }
}

/// Something that was refused, how often and where first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// Why, in a few words.
    pub reason: String,
    /// How often.
    pub count: u64,
    /// Where first.
    pub first: Place,
}

/// Refusals by reason, in the order they were first met.
#[derive(Clone, Debug, Default)]
pub(super) struct Refusals(Vec<Refusal>);

impl Refusals {
    /// Counts one. The words are made only for the first of a reason.
    pub fn add(&mut self, reason: &str, first: Place) {
        match self.0.iter_mut().find(|known| known.reason == reason) {
            Some(known) => known.count += 1,
            None => self.0.push(Refusal {
                reason: reason.to_owned(),
                count: 1,
                first,
            }),
        }
    }

    /// All of them.
    pub fn all(&self) -> &[Refusal] {
        &self.0
    }
}

/// What was found in a recording so far.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// What it is.
    pub kind: Kind,
    /// Bytes read.
    pub bytes: u64,
    /// Samples given.
    pub samples: u64,
    /// What was understood and how: columns with their units, or messages with their number.
    pub understood: Vec<String>,
    /// Columns that are not used.
    pub ignored: Vec<String>,
    /// What was decided and why: separator, decimal sign, pedal scale, sense of courses.
    pub notes: Vec<String>,
    /// What was refused.
    pub refused: Vec<Refusal>,
}

impl Report {
    /// How much was refused in all.
    pub fn refused_total(&self) -> u64 {
        self.refused.iter().map(|refusal| refusal.count).sum()
    }
}

/// Why a recording cannot be read (on).
#[derive(Debug)]
pub struct SourceError {
    /// The file, where there is one.
    pub path: Option<PathBuf>,
    /// The place, where it is known.
    pub place: Option<Place>,
    /// What is wrong and what to do.
    pub fault: Fault,
}

impl SourceError {
    pub(super) fn new(place: Option<Place>, fault: Fault) -> Self {
        Self {
            path: None,
            place,
            fault,
        }
    }

    pub(super) fn in_file(mut self, path: Option<&std::path::Path>) -> Self {
        if self.path.is_none() {
            self.path = path.map(ToOwned::to_owned);
        }
        self
    }
}

impl fmt::Display for SourceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(path) = &self.path {
            write!(f, "{}: ", path.display())?;
        }
        if let Some(place) = &self.place {
            write!(f, "{place}: ")?;
        }
        write!(f, "{}", self.fault)
    }
}

// What the system said is in the words already; as a source it would be said twice.
impl std::error::Error for SourceError {}

/// What is wrong with a recording.
#[derive(Debug, thiserror::Error)]
pub enum Fault {
    /// The system cannot open or read it.
    #[error("{}", crate::report::system::words(.0))]
    Io(std::io::Error),
    /// There is nothing in it.
    #[error("is empty; was the recording stopped before it began?")]
    Empty,
    /// It is something else.
    #[error("{0}")]
    Foreign(String),
    /// The columns of a table cannot be told.
    #[error("{0}")]
    Columns(String),
    /// A row can be read in more than one way.
    #[error("{0}")]
    Ambiguous(String),
    /// The end is missing.
    #[error("cut off here; everything before was read")]
    Cut,
    /// A line is longer than any row.
    #[error("a line longer than {0} bytes; this is no table of samples")]
    LongLine(usize),
    /// Nothing in it could be used.
    #[error("{0}")]
    Nothing(String),
    /// A recording of another version of this program.
    #[error("{0}")]
    Version(String),
    /// An option does not fit.
    #[error("{0}")]
    Option(String),
}

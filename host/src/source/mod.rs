//! Recordings and live streams into [`Sample`]s, whatever they are.
//!
//! [`open`] reads a file whose kind is found from its content; [`Stream`] takes bytes as they come
//! from a port. Both decode with the same code and count what they refuse by reason, with the
//! first place of each. Memory stays flat however long a recording is.

mod ahead;
mod csv;
mod decoder;
mod detect;
mod report;
mod stream;
mod summary;
mod wire;

pub use ahead::{Ahead, ahead};
pub use csv::Mapping;
pub use report::{Fault, Kind, Place, Refusal, Report, SourceError};
pub use stream::Stream;
pub use summary::{Gap, Summary};

use cuepost_engine::Sample;
use cuepost_engine::reference::SourceKind;
use decoder::Decoder;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// Bytes read at once.
const BLOCK: usize = 1 << 16;

/// What the user wants read differently from what is found.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Columns of tables by the user's word.
    pub columns: Vec<Mapping>,
    /// The kind, where it shall not be found from the content.
    pub kind: Option<Kind>,
}

impl Options {
    /// Options with these `--column NAME=COLUMN` mappings.
    pub fn with_columns<S: AsRef<str>>(columns: &[S]) -> Result<Self, SourceError> {
        let columns = columns.iter().map(|text| Mapping::parse(text.as_ref()));
        Ok(Self {
            columns: columns.collect::<Result<_, _>>()?,
            kind: None,
        })
    }
}

/// A receiver's lag only cancels against a reference made with a receiver: what to say when the
/// kinds differ. `this_is` begins the second half, as "this recording is".
pub fn kinds_differ(made: SourceKind, now: SourceKind, this_is: &str) -> Option<String> {
    let word = |kind| match kind {
        SourceKind::Unknown => None,
        SourceKind::Receiver => Some("receiver"),
        SourceKind::Simulator => Some("simulator"),
    };
    let (made_word, now_word) = (word(made)?, word(now)?);
    (made != now).then(|| {
        format!(
            "The reference was made from a {made_word}, {this_is} from a {now_word}: their lags \
             differ, so metres of brake and throttle points may all be off by the same amount."
        )
    })
}

/// A recording, read as it is iterated over.
///
/// An error is the last item: what came before it was read well.
pub struct Recording {
    path: Option<PathBuf>,
    source: Box<dyn Read + Send>,
    block: Box<[u8]>,
    decoder: Decoder,
    /// What was decoded and not asked for yet, from `next` on.
    ready: Vec<Sample>,
    next: usize,
    error: Option<SourceError>,
    over: bool,
}

/// Opens a recording; `-` is the standard input.
pub fn open(path: &Path, options: &Options) -> Result<Recording, SourceError> {
    let at = |error: SourceError| error.in_file(Some(path));
    let io = |error| at(SourceError::new(None, Fault::Io(error)));
    if path == Path::new("-") {
        return read(io::stdin(), options)
            .map_err(at)
            .map(|r| r.named(path));
    }
    let file = File::open(path).map_err(io)?;
    if file.metadata().map_err(io)?.is_dir() {
        let words = "this is a folder; name a recording in it".to_owned();
        return Err(at(SourceError::new(None, Fault::Foreign(words))));
    }
    read(file, options).map_err(at).map(|r| r.named(path))
}

/// Reads a recording from anything that gives bytes.
pub fn read(
    mut source: impl Read + Send + 'static,
    options: &Options,
) -> Result<Recording, SourceError> {
    let fault = |fault| SourceError::new(None, fault);
    let mut head = vec![0; BLOCK.max(detect::HEAD)];
    let mut filled = 0;
    while filled < head.len() {
        match source.read(&mut head[filled..]) {
            Ok(0) => break,
            Ok(n) => filled += n,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(fault(Fault::Io(e))),
        }
    }
    let whole = filled < head.len();
    head.truncate(filled);
    let kind = match options.kind {
        Some(kind) => kind,
        None => detect::detect(&head, true, &options.columns)
            .map_err(fault)?
            .unwrap_or(Kind::Csv),
    };
    let mut recording = Recording {
        path: None,
        source: Box::new(source),
        block: vec![0; BLOCK].into_boxed_slice(),
        decoder: Decoder::new(kind, options, csv::SURVEY),
        ready: Vec::new(),
        next: 0,
        error: None,
        over: false,
    };
    recording.push(&head);
    if whole && !recording.over {
        recording.end();
    }
    // A table whose columns cannot be told gives nothing at all.
    if recording.decoder.is_unbegun()
        && let Some(error) = recording.error.take()
    {
        return Err(error);
    }
    Ok(recording)
}

impl Recording {
    fn named(mut self, path: &Path) -> Self {
        self.error = self.error.map(|error| error.in_file(Some(path)));
        self.path = Some(path.to_owned());
        self
    }

    /// What was found so far; complete after the last item.
    pub fn report(&self) -> Report {
        self.decoder.report()
    }

    /// Bytes read so far.
    pub fn bytes(&self) -> u64 {
        self.decoder.bytes()
    }

    /// What kind of source made it.
    pub fn source_kind(&self) -> SourceKind {
        self.decoder.source_kind()
    }

    /// The session's notes, where the recording has them; else empty.
    pub fn conditions(&self) -> String {
        self.decoder.conditions()
    }

    /// The source's own time, microseconds, that [`Sample::time_us`] counts from: 0 unless its
    /// times begin below zero.
    pub fn zero_us(&self) -> i64 {
        self.decoder.zero_us()
    }

    /// The date the source states, as days since 1970-01-01.
    pub fn day(&self) -> Option<i32> {
        self.decoder.day()
    }

    fn push(&mut self, bytes: &[u8]) {
        let ready = &mut self.ready;
        let done = self.decoder.push(bytes, &mut |sample| ready.push(sample));
        self.end_if(done);
    }

    fn end_if(&mut self, done: Result<(), SourceError>) {
        if let Err(error) = done {
            self.error = Some(error.in_file(self.path.as_deref()));
            self.over = true;
        }
    }

    fn end(&mut self) {
        self.over = true;
        let ready = &mut self.ready;
        let done = self.decoder.finish(&mut |sample| ready.push(sample));
        self.end_if(done);
    }

    /// Reads the next block, or notices the end.
    fn fill(&mut self) {
        match self.source.read(&mut self.block) {
            Ok(0) => self.end(),
            Ok(n) => {
                let block = std::mem::take(&mut self.block);
                self.push(block.get(..n).unwrap_or_default());
                self.block = block;
            }
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => self.end_if(Err(SourceError::new(
                Some(Place::byte(self.bytes())),
                Fault::Io(e),
            ))),
        }
    }
}

impl Iterator for Recording {
    type Item = Result<Sample, SourceError>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            if let Some(sample) = self.ready.get(self.next) {
                self.next += 1;
                return Some(Ok(*sample));
            }
            self.ready.clear();
            self.next = 0;
            if self.over {
                return self.error.take().map(Err);
            }
            self.fill();
        }
    }
}

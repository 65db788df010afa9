//! Bytes into samples, whatever they are.

use crate::live::layout::{PacketReader, Refused, Step};
use crate::source::{Kind, Options, Stream};
use cuepost_engine::Sample;
use cuepost_engine::reference::SourceKind;

/// Turns what a source sends into samples.
pub trait Decode: Send {
    /// Takes the next bytes, or one datagram. `arrival_us` counts from the drive's begin.
    fn push(&mut self, bytes: &[u8], arrival_us: u64, give: &mut dyn FnMut(Sample));

    /// Bytes are missing here: what was half received must not be joined with what follows.
    fn broken(&mut self);

    /// Nothing more will come.
    fn end(&mut self, give: &mut dyn FnMut(Sample));

    /// What was refused so far, by reason.
    fn refused(&self) -> Vec<(String, u64)>;

    /// Messages that were cut short or damaged so far: what a line too slow for them does.
    fn damaged(&self) -> u64;

    /// What kind of source it is, as far as it can be told yet.
    fn source_kind(&self) -> SourceKind;

    /// Why nothing could be read, once; reading begins anew behind it.
    fn fault(&mut self) -> Option<String> {
        None
    }
}

impl Decode for PacketReader {
    fn push(&mut self, bytes: &[u8], arrival_us: u64, give: &mut dyn FnMut(Sample)) {
        PacketReader::push(self, bytes, arrival_us, |step| {
            if let Step::Sample(sample) = step {
                give(sample);
            }
        });
    }

    fn broken(&mut self) {
        // Datagrams are whole or not there.
    }

    fn end(&mut self, _: &mut dyn FnMut(Sample)) {}

    fn refused(&self) -> Vec<(String, u64)> {
        let counts = self.counts().refused;
        let mut all: Vec<_> = Refused::ALL
            .iter()
            .zip(counts)
            .map(|(why, n)| (why.name().to_owned(), n))
            .collect();
        all.push(("packet lost on the way".into(), self.counts().lost));
        all
    }

    fn damaged(&self) -> u64 {
        self.counts().refused[Refused::Cut as usize]
    }

    fn source_kind(&self) -> SourceKind {
        SourceKind::Simulator
    }
}

/// Whatever a port sends: a receiver's sentences and frames, tables, our own frames.
pub struct StreamDecode {
    stream: Stream,
    options: Options,
    header: Option<String>,
    /// Why the stream could not be read, told once.
    fault: Option<String>,
}

impl StreamDecode {
    /// A stream whose kind is found from its content. `header` are the column names of a table
    /// that comes without them.
    pub fn new(options: Options, header: Option<String>) -> Self {
        let mut this = Self {
            stream: Stream::new(options.clone()),
            options,
            header,
            fault: None,
        };
        this.begin();
        this
    }

    fn begin(&mut self) {
        self.stream = match &self.header {
            None => Stream::new(self.options.clone()),
            Some(header) => {
                let mut stream = Stream::of_kind(Kind::Csv, self.options.columns.clone());
                let line = format!("{}\n", header.trim());
                if let Err(e) = stream.push(line.as_bytes(), |_| {}) {
                    self.fault = Some(e.to_string());
                }
                stream
            }
        };
    }
}

impl Decode for StreamDecode {
    fn push(&mut self, bytes: &[u8], _: u64, give: &mut dyn FnMut(Sample)) {
        if let Err(e) = self.stream.push(bytes, give) {
            self.fault = Some(e.to_string());
            self.begin();
        }
    }

    fn broken(&mut self) {
        self.stream.break_off();
    }

    fn end(&mut self, give: &mut dyn FnMut(Sample)) {
        if let Err(e) = self.stream.finish(give) {
            self.fault = Some(e.to_string());
        }
    }

    fn refused(&self) -> Vec<(String, u64)> {
        let refused = self.stream.refused();
        refused.into_iter().map(|r| (r.reason, r.count)).collect()
    }

    fn damaged(&self) -> u64 {
        self.stream.damaged()
    }

    fn source_kind(&self) -> SourceKind {
        self.stream.source_kind()
    }

    fn fault(&mut self) -> Option<String> {
        self.fault.take()
    }
}

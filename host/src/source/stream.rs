//! The push form: bytes as they come from a port, a socket or the standard input.

use super::csv::Mapping;
use super::decoder::Decoder;
use super::detect::{self, HEAD};
use super::report::{Kind, Refusal, Report, SourceError};
use super::{Options, SourceKind};
use cuepost_engine::Sample;

/// So many more bytes are worth another look.
const LOOK: usize = 64;
/// Up to this length the end of a line is, too.
const LINES: usize = 4096;

/// Turns bytes into samples as they come, whatever they are.
///
/// The kind is found from the first bytes unless it is given; those bytes are decoded as well.
#[derive(Debug)]
pub struct Stream {
    options: Options,
    /// Bytes of a kind not yet known.
    head: Vec<u8>,
    /// Length of `head` at which it is worth looking at again.
    due: usize,
    /// Bytes given up because nothing could be told from them.
    given_up: u64,
    decoder: Option<Decoder>,
}

impl Stream {
    /// A stream with these options.
    pub fn new(options: Options) -> Self {
        let decoder = options.kind.map(|kind| Decoder::new(kind, &options, 0));
        Self {
            options,
            head: Vec::new(),
            due: 0,
            given_up: 0,
            decoder,
        }
    }

    /// A stream of a known kind.
    pub fn of_kind(kind: Kind, columns: Vec<Mapping>) -> Self {
        Self::new(Options {
            columns,
            kind: Some(kind),
        })
    }

    /// Takes bytes in. An error is final: nothing can be read from this stream any more.
    pub fn push(&mut self, bytes: &[u8], mut out: impl FnMut(Sample)) -> Result<(), SourceError> {
        if let Some(decoder) = &mut self.decoder {
            return decoder.push(bytes, &mut out);
        }
        self.head.extend_from_slice(bytes);
        let line = bytes.contains(&b'\n') && self.head.len() < LINES;
        if !line && self.head.len() < self.due {
            return Ok(());
        }
        self.due = self.head.len() + (self.head.len() / 4).max(LOOK);
        // What is foreign now may be the middle of a message; more will tell.
        if let Ok(Some(kind)) = detect::detect(&self.head, false, &self.options.columns) {
            let mut decoder = Decoder::new(kind, &self.options, 0);
            let head = std::mem::take(&mut self.head);
            let done = decoder.push(&head, &mut out);
            self.decoder = Some(decoder);
            return done;
        }
        if self.head.len() > HEAD {
            let half = self.head.len() / 2;
            self.given_up += half as u64;
            self.head.drain(..half);
            self.due = 0;
        }
        Ok(())
    }

    /// The stream has ended or pauses for long: gives what is complete.
    pub fn finish(&mut self, mut out: impl FnMut(Sample)) -> Result<(), SourceError> {
        match &mut self.decoder {
            Some(decoder) => decoder.finish(&mut out),
            None => Ok(()),
        }
    }

    /// Bytes are missing here (a cable was pulled): halves are not joined.
    pub fn break_off(&mut self) {
        match &mut self.decoder {
            Some(decoder) => decoder.break_off(),
            None => self.head.clear(),
        }
    }

    /// What kind of source it is; unknown while nothing can be told.
    pub fn source_kind(&self) -> SourceKind {
        self.decoder
            .as_ref()
            .map_or(SourceKind::Unknown, Decoder::source_kind)
    }

    /// What was found so far; `None` while the kind is not known.
    pub fn report(&self) -> Option<Report> {
        self.decoder.as_ref().map(Decoder::report)
    }

    /// What was refused so far, by reason.
    pub fn refused(&self) -> Vec<Refusal> {
        self.decoder
            .as_ref()
            .map(Decoder::refused)
            .unwrap_or_default()
    }

    /// How many messages were damaged or cut: what a line too slow for them does.
    pub fn damaged(&self) -> u64 {
        self.decoder.as_ref().map_or(0, Decoder::damaged)
    }

    /// Bytes nothing could be told from.
    pub fn unknown_bytes(&self) -> u64 {
        self.given_up + self.head.len() as u64
    }
}

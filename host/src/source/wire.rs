//! Our own wire frames into samples.

use super::report::{Fault, Place, Refusal, Refusals, SourceError};
use crate::record;
use cuepost_engine::Sample;
use cuepost_engine::wire::{FrameReader, Header, Message, Outcome, Refused, VERSION};

/// Reads wire frames that come in pieces.
#[derive(Debug)]
pub(super) struct Wire {
    frames: FrameReader,
    at: u64,
    frame_at: u64,
    header: Option<Header>,
    marks: u64,
    others: u64,
    refusals: Refusals,
}

impl Wire {
    pub fn new() -> Self {
        Self {
            frames: FrameReader::new(),
            at: 0,
            frame_at: 0,
            header: None,
            marks: 0,
            others: 0,
            refusals: Refusals::default(),
        }
    }

    /// Takes bytes in. An error is final.
    pub fn push(&mut self, bytes: &[u8], out: &mut impl FnMut(Sample)) -> Result<(), SourceError> {
        for &byte in bytes {
            if self.frames.idle() {
                self.frame_at = self.at;
            }
            self.at += 1;
            let place = Place::byte(self.frame_at);
            match self.frames.feed(byte) {
                Outcome::Nothing => {}
                Outcome::Message(Message::Sample(sample)) => out(sample),
                Outcome::Message(Message::Header(header)) => self.header = Some(header),
                Outcome::Message(Message::Mark(_)) => self.marks += 1,
                Outcome::Message(_) => self.others += 1,
                Outcome::Refused(Refused::Version(found)) => {
                    let words = format!(
                        "recorded with wire version {found}, this program reads {VERSION}; use \
                         the program that recorded it"
                    );
                    return Err(SourceError::new(Some(place), Fault::Version(words)));
                }
                Outcome::Refused(why) => self.refusals.add(&record::words(&why), place),
            }
        }
        Ok(())
    }

    /// The stream has ended; an error when that is within a frame.
    pub fn finish(&mut self) -> Result<(), SourceError> {
        if self.frames.idle() {
            return Ok(());
        }
        let place = Some(Place::byte(self.frame_at));
        Err(SourceError::new(place, Fault::Cut))
    }

    pub fn break_off(&mut self) {
        self.frames.reset();
    }

    pub fn header(&self) -> Option<&Header> {
        self.header.as_ref()
    }

    pub fn refused(&self) -> Vec<Refusal> {
        self.refusals.all().to_vec()
    }

    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if let Some(header) = &self.header {
            if !header.created_by.is_empty() {
                notes.push(format!("recorded by {}", header.created_by));
            }
            if !header.conditions.is_empty() {
                notes.push(format!("conditions: {}", header.conditions));
            }
        }
        if self.marks + self.others > 0 {
            notes.push(format!(
                "{} marks and {} messages that are no samples",
                self.marks, self.others
            ));
        }
        notes
    }
}

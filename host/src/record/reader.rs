//! Reads recordings as a stream, past damage, and says where it was.

use cuepost_engine::Sample;
use cuepost_engine::wire::{BODY_MAX, FrameReader, Header, Mark, Message, Outcome, Refused};
use std::io::{self, Read};

/// What is wrong at a place of a recording.
#[derive(Debug, thiserror::Error)]
pub enum Fault {
    /// A frame was refused; reading goes on behind it.
    #[error("byte {at}: {}", words(why))]
    Frame {
        /// Where the frame begins.
        at: u64,
        /// Why.
        why: Refused,
    },
    /// The recording is of another version; reading ends.
    #[error("byte {at}: recorded with wire version {found}, this program reads {read}; use the program that recorded it", read = cuepost_engine::wire::VERSION)]
    Version {
        /// Where the frame begins.
        at: u64,
        /// The version found.
        found: u8,
    },
    /// The recording ends within a frame, as after a crash; everything before was read.
    #[error("byte {at}: cut off within a message")]
    Cut {
        /// Where the frame that was cut begins.
        at: u64,
    },
    /// The system could not read on; reading ends.
    #[error("byte {at}: {source}")]
    Io {
        /// How far reading came.
        at: u64,
        /// What the system says.
        source: io::Error,
    },
}

/// Why a frame was refused, in words.
pub(crate) fn words(why: &Refused) -> String {
    match why {
        Refused::Overlong => "longer than any message; skipped".into(),
        Refused::Cut | Refused::Short => "not a whole message; skipped".into(),
        Refused::Checksum => "damaged message; skipped".into(),
        Refused::Version(v) => format!("message of wire version {v}; skipped"),
        Refused::Kind(k) => format!("message of unknown kind 0x{k:02X}; skipped"),
        Refused::Payload(kind) => format!("{kind:?} message that cannot be read; skipped"),
        Refused::Value(kind, field) => {
            format!("{kind:?} message with {field} out of range; skipped")
        }
    }
}

/// Reads a recording. Iterating gives its samples; the header, marks and counts are kept aside.
#[derive(Debug)]
pub struct Reader<R> {
    source: R,
    block: Box<[u8]>,
    next: usize,
    filled: usize,
    frames: FrameReader<BODY_MAX>,
    at: u64,
    frame_at: u64,
    ended: bool,
    first: Option<Result<Message, Fault>>,
    header: Option<Header>,
    marks: Vec<Mark>,
    others: u64,
}

impl<R: Read> Reader<R> {
    /// Begins to read, as far as the first message, so that [`Reader::header`] is known.
    pub fn new(source: R) -> Self {
        let mut reader = Self {
            source,
            block: vec![0; 1 << 16].into_boxed_slice(),
            next: 0,
            filled: 0,
            frames: FrameReader::new(),
            at: 0,
            frame_at: 0,
            ended: false,
            first: None,
            header: None,
            marks: Vec::new(),
            others: 0,
        };
        reader.first = reader.read_message();
        if let Some(Ok(Message::Header(header))) = &reader.first {
            reader.header = Some(header.clone());
        }
        reader
    }

    /// The header; `None` when the recording does not begin with one.
    pub fn header(&self) -> Option<&Header> {
        self.header.as_ref()
    }

    /// Marks met so far.
    pub fn marks(&self) -> &[Mark] {
        &self.marks
    }

    /// Messages met so far that are neither samples, marks nor headers.
    pub fn others(&self) -> u64 {
        self.others
    }

    /// Bytes read so far.
    pub fn at(&self) -> u64 {
        self.at
    }

    /// The next message of any kind; `None` at the end.
    pub fn next_message(&mut self) -> Option<Result<Message, Fault>> {
        match self.first.take() {
            Some(first) => Some(first),
            None => self.read_message(),
        }
    }

    fn read_message(&mut self) -> Option<Result<Message, Fault>> {
        while !self.ended {
            let Some(&byte) = self.block[..self.filled].get(self.next) else {
                if let Some(fault) = self.fill() {
                    return Some(Err(fault));
                }
                continue;
            };
            self.next += 1;
            if self.frames.idle() {
                self.frame_at = self.at;
            }
            self.at += 1;
            match self.frames.feed(byte) {
                Outcome::Nothing => {}
                Outcome::Message(message) => return Some(Ok(message)),
                Outcome::Refused(why) => return Some(Err(self.refused(why))),
            }
        }
        None
    }

    fn refused(&mut self, why: Refused) -> Fault {
        let at = self.frame_at;
        if let Refused::Version(found) = why {
            self.ended = true;
            return Fault::Version { at, found };
        }
        Fault::Frame { at, why }
    }

    /// Reads the next block; the fault when that fails or the end is not the end of a frame.
    fn fill(&mut self) -> Option<Fault> {
        match self.source.read(&mut self.block) {
            Ok(0) => {
                self.ended = true;
                (!self.frames.idle()).then_some(Fault::Cut { at: self.frame_at })
            }
            Ok(n) => {
                (self.next, self.filled) = (0, n);
                None
            }
            Err(e) if e.kind() == io::ErrorKind::Interrupted => None,
            Err(source) => {
                self.ended = true;
                Some(Fault::Io {
                    at: self.at,
                    source,
                })
            }
        }
    }
}

impl<R: Read> Iterator for Reader<R> {
    type Item = Result<Sample, Fault>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            match self.next_message()? {
                Ok(Message::Sample(sample)) => return Some(Ok(sample)),
                Ok(Message::Header(header)) => self.header = Some(header),
                Ok(Message::Mark(mark)) => self.marks.push(mark),
                Ok(_) => self.others += 1,
                Err(fault) => return Some(Err(fault)),
            }
        }
    }
}

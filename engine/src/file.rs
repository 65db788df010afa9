//! What the stored files have in common: a magic, a version, a length, a checksum, and faults that
//! say what is wrong and at which byte.
//!
//! ```text
//! 0   magic, 8 bytes
//! 8   version, 1 byte
//! 9   length of the whole file, u32 little-endian
//! 13  content, postcard
//! -4  CRC-32/ISO-HDLC over everything before it, u32 little-endian
//! ```

use crate::check::Field;
use crate::wire::frame::crc32;
use crate::wire::put::Sink;
use core::fmt;
use serde::{Deserialize, Serialize};

/// Bytes before the content.
pub const HEAD: usize = 13;
/// Bytes behind it.
pub const TAIL: usize = 4;

/// A part of a stored file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Part {
    /// Frame, spacing and how many of everything follow.
    Head,
    /// Where it comes from.
    Session,
    /// The car's curves.
    Car,
    /// A corner.
    Corner,
    /// A landmark.
    Landmark,
    /// A node of the line.
    Node,
    /// Thresholds and the voice.
    Config,
}

/// What is wrong with a stored file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Problem {
    /// It does not begin as such a file does.
    Foreign,
    /// It is of another version.
    Version(u8),
    /// It states another length than it has: cut off, or something was appended.
    Length {
        /// Bytes it states.
        stated: u32,
        /// Bytes there are.
        found: u32,
    },
    /// Its checksum does not fit: damaged.
    Checksum,
    /// Its checksum fits but the content cannot be read.
    Malformed(Part),
    /// More of something than there is room for.
    Capacity {
        /// Of what.
        part: Part,
        /// The most there is room for.
        most: u16,
        /// How many there are.
        found: u16,
    },
    /// A value is not finite, out of range or out of order.
    Value {
        /// Where.
        part: Part,
        /// Which one, counted from 0.
        index: u16,
        /// Its field.
        field: Field,
    },
}

impl Problem {
    /// Its number in an answer over the wire.
    pub fn number(&self) -> u8 {
        match self {
            Self::Foreign => 1,
            Self::Version(_) => 2,
            Self::Length { .. } => 3,
            Self::Checksum => 4,
            Self::Malformed(_) => 5,
            Self::Capacity { .. } => 6,
            Self::Value { .. } => 7,
        }
    }
}

/// What is wrong with a stored file, and at which byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FileFault {
    /// Offset of the byte from the file's start.
    pub at: u32,
    /// What is wrong.
    pub what: Problem,
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Head => "head",
            Self::Session => "session",
            Self::Car => "car curves",
            Self::Corner => "corner",
            Self::Landmark => "landmark",
            Self::Node => "node",
            Self::Config => "configuration",
        })
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Foreign => f.write_str("not such a file"),
            Self::Version(v) => write!(f, "version {v}, which this program does not read"),
            Self::Length { stated, found } if found < stated => {
                write!(f, "cut off: {found} of {stated} bytes")
            }
            Self::Length { stated, found } => {
                write!(f, "{found} bytes where {stated} are stated")
            }
            Self::Checksum => f.write_str("damaged: the checksum does not fit"),
            Self::Malformed(part) => write!(f, "the {part} cannot be read"),
            Self::Capacity { part, most, found } => {
                write!(f, "{found} times {part}, there is room for {most}")
            }
            Self::Value { part, index, field } => {
                write!(f, "{part}")?;
                if matches!(part, Part::Corner | Part::Landmark | Part::Node) {
                    write!(f, " {}", u32::from(*index) + 1)?;
                }
                write!(f, ": {field} is not finite, out of range or out of order")
            }
        }
    }
}

impl fmt::Display for FileFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "byte {}: {}", self.at, self.what)
    }
}

impl core::error::Error for FileFault {}

/// Why a file cannot be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MakeFault {
    /// The output is too small.
    TooSmall,
    /// What should be stored is not valid.
    Invalid(Problem),
}

impl fmt::Display for MakeFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooSmall => f.write_str("larger than the space for it"),
            Self::Invalid(problem) => write!(f, "{problem}"),
        }
    }
}

impl core::error::Error for MakeFault {}

/// Which file: its CRC-32, the last four bytes. Says nothing about the rest of them.
pub fn id(bytes: &[u8]) -> Option<u32> {
    bytes.last_chunk::<TAIL>().map(|c| u32::from_le_bytes(*c))
}

/// The length a file states for itself, for storage that hands out more bytes than were stored.
pub fn stated_len(magic: &[u8; 8], bytes: &[u8]) -> Option<u32> {
    let rest = bytes.strip_prefix(magic)?;
    let (_, rest) = rest.split_first()?;
    rest.first_chunk::<4>().map(|c| u32::from_le_bytes(*c))
}

/// Reads the content of a file whose envelope is whole.
pub(crate) struct Reader<'a> {
    rest: &'a [u8],
    end: usize,
    /// CRC-32 of the file.
    pub id: u32,
}

impl<'a> Reader<'a> {
    /// Checks magic, version, length and checksum.
    pub fn open(magic: &[u8; 8], version: u8, bytes: &'a [u8]) -> Result<Self, FileFault> {
        let found = u32::try_from(bytes.len()).unwrap_or(u32::MAX);
        let fault = |at, what| FileFault { at, what };
        let Some(rest) = bytes.strip_prefix(magic) else {
            let at = bytes.iter().zip(magic).take_while(|(a, b)| a == b).count();
            return Err(fault(at as u32, Problem::Foreign));
        };
        let short = Problem::Length {
            stated: (HEAD + TAIL) as u32,
            found,
        };
        let Some((&v, rest)) = rest.split_first() else {
            return Err(fault(found, short));
        };
        if v != version {
            return Err(fault(8, Problem::Version(v)));
        }
        let Some((stated, _)) = rest.split_first_chunk::<4>() else {
            return Err(fault(found, short));
        };
        let stated = u32::from_le_bytes(*stated);
        if stated != found {
            let at = if found < stated { found } else { 9 };
            return Err(fault(at, Problem::Length { stated, found }));
        }
        let Some((body, crc)) = bytes.split_last_chunk::<TAIL>() else {
            return Err(fault(found, short));
        };
        let id = u32::from_le_bytes(*crc);
        if crc32(body) != id {
            let at = found.saturating_sub(TAIL as u32);
            return Err(fault(at, Problem::Checksum));
        }
        Ok(Self {
            rest: body.get(HEAD..).unwrap_or(&[]),
            end: body.len(),
            id,
        })
    }

    /// Offset of the next byte in the file.
    pub fn at(&self) -> u32 {
        self.end.saturating_sub(self.rest.len()) as u32
    }

    /// Takes the next value.
    pub fn take<T: Deserialize<'a>>(&mut self, part: Part) -> Result<T, FileFault> {
        match postcard::take_from_bytes(self.rest) {
            Ok((value, rest)) => {
                self.rest = rest;
                Ok(value)
            }
            Err(_) => Err(FileFault {
                at: self.at(),
                what: Problem::Malformed(part),
            }),
        }
    }

    /// Refuses bytes left over.
    pub fn finish(&self, part: Part) -> Result<(), FileFault> {
        if self.rest.is_empty() {
            return Ok(());
        }
        Err(FileFault {
            at: self.at(),
            what: Problem::Malformed(part),
        })
    }
}

/// Writes a file into a slice.
pub(crate) struct Writer<'a> {
    sink: Sink<'a>,
}

impl<'a> Writer<'a> {
    /// Begins with magic, version and room for the length.
    pub fn begin(magic: &[u8; 8], version: u8, out: &'a mut [u8]) -> Result<Self, MakeFault> {
        let mut sink = Sink::Slice(out, 0);
        for byte in magic.iter().chain(&[version, 0, 0, 0, 0]) {
            sink.byte(*byte).map_err(|_| MakeFault::TooSmall)?;
        }
        Ok(Self { sink })
    }

    /// Appends a value.
    pub fn put<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), MakeFault> {
        self.sink.put(value).map_err(|_| MakeFault::TooSmall)
    }

    /// Fills the length in, appends the checksum; returns the length of the file.
    pub fn finish(self) -> Result<usize, MakeFault> {
        let Sink::Slice(out, len) = self.sink else {
            return Err(MakeFault::TooSmall);
        };
        let total = len.saturating_add(TAIL);
        let file = out.get_mut(..total).ok_or(MakeFault::TooSmall)?;
        if let Some(length) = file.get_mut(9..HEAD) {
            length
                .iter_mut()
                .zip((total as u32).to_le_bytes())
                .for_each(|(slot, byte)| *slot = byte);
        }
        if let Some((body, crc)) = file.split_last_chunk_mut::<TAIL>() {
            *crc = crc32(body).to_le_bytes();
        }
        Ok(total)
    }
}

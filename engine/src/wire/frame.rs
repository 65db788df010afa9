//! Messages into frames and back: version, kind, payload and CRC-32 in COBS between zeros.

use super::cobs;
use super::message::{Kind, Message};
use super::put::Sink;
use super::transfer::PIECE_MAX;
use crate::check::{Check, Field};
use crc::{CRC_32_ISO_HDLC, Crc, Table};
use heapless::Vec;

/// The version of everything in here, the first byte of every frame. It changes when any payload
/// does. The envelope (COBS, version first, checksum last) never changes, so that both sides can
/// always name the version they cannot read.
pub const VERSION: u8 = 1;
/// The longest body (version, kind, payload, checksum), bytes.
pub const BODY_MAX: usize = 256;
/// The longest frame with both its delimiters, bytes.
pub const FRAME_MAX: usize = BODY_MAX + 4;

/// CRC-32/ISO-HDLC: polynomial 0x04C11DB7 reflected, all ones in and out.
pub(crate) static CRC: Crc<u32, Table<1>> = Crc::<u32, Table<1>>::new(&CRC_32_ISO_HDLC);

/// CRC-32/ISO-HDLC of some bytes: the checksum of frames and files.
pub fn crc32(bytes: &[u8]) -> u32 {
    CRC.checksum(bytes)
}

/// Why a message cannot be sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EncodeFault {
    /// The output is too small; [`FRAME_MAX`] bytes are enough for any message.
    TooSmall,
    /// A field is not finite or out of its range.
    Value(Field),
}

/// Writes a message as a frame with a delimiter at both ends; returns its length.
pub fn encode(message: &Message, out: &mut [u8]) -> Result<usize, EncodeFault> {
    message.check().map_err(EncodeFault::Value)?;
    encode_unchecked(message, out).ok_or(EncodeFault::TooSmall)
}

/// [`encode`] without the check of ranges, for tests of what a receiver does with such a frame.
#[doc(hidden)]
pub fn encode_unchecked(message: &Message, out: &mut [u8]) -> Option<usize> {
    // The body where its encoding will stand: behind the delimiter and the first code.
    let mut sink = Sink::Slice(out.get_mut(2..)?, 0);
    sink.byte(VERSION).ok()?;
    sink.byte(message.kind() as u8).ok()?;
    message.put(&mut sink).ok()?;
    let Sink::Slice(written, len) = &sink else {
        return None;
    };
    let crc = crc32(written.get(..*len)?);
    sink.bytes(&crc.to_le_bytes()).ok()?;
    let len = sink.len();
    let (first, coded) = out.split_first_mut()?;
    let end = cobs::stuff(coded, len).ok()?;
    *first = 0;
    *coded.get_mut(end)? = 0;
    end.checked_add(2)
}

/// Why a frame was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refused {
    /// Longer than the reader has room for; dropped whole.
    Overlong,
    /// It ended before the bytes its last code promised.
    Cut,
    /// Too short to hold version, kind and checksum.
    Short,
    /// The checksum does not fit: damaged.
    Checksum,
    /// Whole, but of another version.
    Version(u8),
    /// Whole, but of an unknown kind.
    Kind(u8),
    /// Whole, but its payload is not one of its kind: bytes missing, left over or not in the one
    /// form there is.
    Payload(Kind),
    /// Whole, but a value in it is not finite or out of its range.
    Value(Kind, Field),
}

/// Kinds of [`Refused`].
pub const REFUSALS: usize = 8;

impl Refused {
    /// Its place in counts by reason.
    pub fn index(self) -> usize {
        match self {
            Self::Overlong => 0,
            Self::Cut => 1,
            Self::Short => 2,
            Self::Checksum => 3,
            Self::Version(_) => 4,
            Self::Kind(_) => 5,
            Self::Payload(_) => 6,
            Self::Value(..) => 7,
        }
    }
}

/// What a byte led to.
#[derive(Clone, Debug, PartialEq)]
#[allow(clippy::large_enum_variant, reason = "no heap to put a message on")]
pub enum Outcome {
    /// Nothing yet.
    Nothing,
    /// A whole message.
    Message(Message),
    /// A frame ended and was refused.
    Refused(Refused),
}

/// Checks and reads a body: what a frame holds once its COBS is undone.
pub fn decode_body(body: &[u8]) -> Result<Message, Refused> {
    decode_body_of::<false>(body)
}

/// The same; with `TO_BOARD`, kinds that are not sent to boards are unknown.
fn decode_body_of<const TO_BOARD: bool>(body: &[u8]) -> Result<Message, Refused> {
    let (head, crc) = body.split_last_chunk::<4>().ok_or(Refused::Short)?;
    let [version, kind, payload @ ..] = head else {
        return Err(Refused::Short);
    };
    if crc32(head) != u32::from_le_bytes(*crc) {
        return Err(Refused::Checksum);
    }
    if *version != VERSION {
        return Err(Refused::Version(*version));
    }
    let kind = Kind::from_byte(*kind)
        .filter(|kind| !TO_BOARD || kind.to_board())
        .ok_or(Refused::Kind(*kind))?;
    let (message, rest) =
        Message::take::<TO_BOARD>(kind, payload).map_err(|_| Refused::Payload(kind))?;
    if !rest.is_empty() || !takes(&message, payload.len()) {
        return Err(Refused::Payload(kind));
    }
    match message.check() {
        Ok(()) => Ok(message),
        Err(field) => Err(Refused::Value(kind, field)),
    }
}

/// True when the message takes exactly so many bytes. It takes fewer when one of its varints came
/// with needless bytes, the only second spelling there is.
fn takes(message: &Message, bytes: usize) -> bool {
    let mut sink = Sink::Count(0);
    message.put(&mut sink).is_ok() && sink.len() == bytes
}

/// The longest body that is sent to a board: that of a whole piece, with some room.
pub const BODY_TO_BOARD_MAX: usize = PIECE_MAX + 32;

/// Reads frames from a stream of bytes, one byte at a time. `N` is the longest body it takes;
/// [`BODY_MAX`] reads every message. With `TO_BOARD`, a kind that is not sent to boards is refused
/// as one that is not known.
#[derive(Clone, Debug, Default)]
pub struct FrameReader<const N: usize = BODY_MAX, const TO_BOARD: bool = false> {
    body: Vec<u8, N>,
    cobs: cobs::Decoder,
    stage: Stage,
    accepted: u32,
    refused: [u32; REFUSALS],
}

/// How far the frame under way has come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Stage {
    /// Between frames.
    #[default]
    Idle,
    /// In one.
    Body,
    /// In one that has outgrown the buffer.
    Overlong,
}

impl<const N: usize, const TO_BOARD: bool> FrameReader<N, TO_BOARD> {
    /// A reader that has seen nothing.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes one byte.
    pub fn feed(&mut self, byte: u8) -> Outcome {
        if self.take(byte) {
            self.end()
        } else {
            Outcome::Nothing
        }
    }

    /// Takes one byte; true when it ends a frame, which [`FrameReader::end`] then reads. The two
    /// halves of [`FrameReader::feed`], for boards: a message is large.
    pub fn take(&mut self, byte: u8) -> bool {
        if byte == 0 {
            return self.stage != Stage::Idle;
        }
        if self.stage == Stage::Idle {
            self.stage = Stage::Body;
        }
        if let Some(decoded) = self.cobs.push(byte)
            && self.body.push(decoded).is_err()
        {
            self.stage = Stage::Overlong;
        }
        false
    }

    /// Reads the frame that has just ended. A call of its own: what reading needs of the stack is
    /// free again when the message is served.
    #[inline(never)]
    pub fn end(&mut self) -> Outcome {
        let result = match self.stage {
            Stage::Idle => return Outcome::Nothing,
            Stage::Overlong => Err(Refused::Overlong),
            Stage::Body if !self.cobs.complete() => Err(Refused::Cut),
            Stage::Body => decode_body_of::<TO_BOARD>(&self.body),
        };
        self.reset();
        match result {
            Ok(message) => {
                self.accepted = self.accepted.saturating_add(1);
                Outcome::Message(message)
            }
            Err(why) => {
                if let Some(count) = self.refused.get_mut(why.index()) {
                    *count = count.saturating_add(1);
                }
                Outcome::Refused(why)
            }
        }
    }

    /// Drops the frame under way, keeps the counts: for a port that was closed and opened again.
    pub fn reset(&mut self) {
        self.body.clear();
        self.cobs = cobs::Decoder::default();
        self.stage = Stage::Idle;
    }

    /// True when no frame is under way.
    pub fn idle(&self) -> bool {
        self.stage == Stage::Idle
    }

    /// Messages read.
    pub fn accepted(&self) -> u32 {
        self.accepted
    }

    /// Frames refused, by [`Refused::index`].
    pub fn refused(&self) -> &[u32; REFUSALS] {
        &self.refused
    }
}

//! The messages, their kinds and what a received one must keep to.

use super::frame::REFUSALS;
use super::put::{Sink, Stopped};
use super::transfer::{Begin, Commit, Piece, Transfer};
use crate::check::{Check, Field, TIME_MAX_US, holds, words};
use crate::cue::Cue;
use crate::event::{Event, HealthEvent, HealthState, LapEvent, PaceEvent, PhaseEvent, Why};
use crate::facts::Facts;
use crate::gate;
use crate::reference::SourceKind;
use crate::sample::Sample;
use heapless::{String, Vec};
use serde::{Deserialize, Serialize};

/// Kinds below this one are sent to boards.
const TO_BOARD_END: u8 = 0x20;

/// The table of messages: kind byte, name, payload. One owner for the enum, the kinds, and the
/// three things done for each of them.
macro_rules! messages {
    ($($(#[doc = $doc:literal])+ $kind:literal $name:ident($payload:ty),)+) => {
        /// What a frame carries.
        #[derive(Clone, Debug, PartialEq)]
        #[allow(clippy::large_enum_variant, reason = "no heap to put the large ones on")]
        pub enum Message {
            $($(#[doc = $doc])+ $name($payload),)+
        }

        /// The kind byte of a frame.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        #[repr(u8)]
        pub enum Kind {
            $($(#[doc = $doc])+ $name = $kind,)+
        }

        impl Kind {
            /// Every kind there is, in the order of the table.
            pub const ALL: &[Self] = &[$(Self::$name,)+];

            /// Whether it is sent to boards.
            pub const fn to_board(self) -> bool {
                (self as u8) < TO_BOARD_END
            }

            /// The kind with this number.
            pub fn from_byte(byte: u8) -> Option<Self> {
                match byte {
                    $($kind => Some(Self::$name),)+
                    _ => None,
                }
            }
        }

        impl Message {
            /// Its kind.
            pub fn kind(&self) -> Kind {
                match self {
                    $(Self::$name(_) => Kind::$name,)+
                }
            }

            /// Writes its payload, without the kind.
            pub(super) fn put(&self, sink: &mut Sink<'_>) -> Result<(), Stopped> {
                match self {
                    $(Self::$name(payload) => sink.put(payload),)+
                }
            }

            /// Reads a payload of a kind; returns the bytes left over. With `TO_BOARD` of the kinds
            /// that are sent to boards alone: a board need not have the code for the others.
            pub(super) fn take<const TO_BOARD: bool>(
                kind: Kind,
                bytes: &[u8],
            ) -> postcard::Result<(Self, &[u8])> {
                match kind {
                    $(Kind::$name if TO_BOARD && $kind >= TO_BOARD_END => {
                        Err(postcard::Error::WontImplement)
                    }
                    Kind::$name => postcard::take_from_bytes::<$payload>(bytes)
                        .map(|(payload, rest)| (Self::$name(payload), rest)),)+
                }
            }
        }

        impl Check for Message {
            fn check(&self) -> Result<(), Field> {
                match self {
                    $(Self::$name(payload) => payload.check(),)+
                }
            }
        }
    };
}

messages! {
    /// One instant of the car.
    0x01 Sample(Sample),
    /// To a board: something comes in pieces.
    0x02 Begin(Begin),
    /// To a board: one piece.
    0x03 Piece(Piece),
    /// To a board: check the whole and use it.
    0x04 Commit(Commit),
    /// To a board: set these; from it: this is set.
    0x05 Settings(Settings),
    /// To a board: tell this.
    0x06 Query(Query),
    /// In recordings: where the samples come from.
    0x20 Header(Header),
    /// In recordings: something a person marked.
    0x21 Mark(Mark),
    /// From a board: an advice.
    0x41 Cue(Cue),
    /// From a board: a phase began.
    0x42 Phase(PhaseEvent),
    /// From a board: a lap ended.
    0x43 Lap(LapEvent),
    /// From a board: the facts of a finished corner.
    0x44 Corner(Facts),
    /// From a board: what it thinks of its input.
    0x45 Health(HealthEvent),
    /// From a board: the pace of a whole lap.
    0x46 Pace(PaceEvent),
    /// From a board: what became of a message sent to it.
    0x47 Ack(Ack),
    /// From a board: how it is.
    0x48 Status(Status),
}

impl From<Event> for Message {
    fn from(event: Event) -> Self {
        match event {
            Event::Lap(x) => Self::Lap(x),
            Event::Phase(x) => Self::Phase(x),
            Event::Corner(x) => Self::Corner(x),
            Event::Cue(x) => Self::Cue(x),
            Event::Health(x) => Self::Health(x),
            Event::Pace(x) => Self::Pace(x),
        }
    }
}

/// The most settings in one message.
pub const SETTINGS_MAX: usize = 16;

/// Settings of a board, each a key and a value. The keys are in `docs/WIRE.md`; a board refuses
/// one it does not know by its number and keeps the others as they were.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Settings {
    /// Key and value, each key once.
    pub entries: Vec<(u8, u32), SETTINGS_MAX>,
}

impl Check for Settings {
    fn check(&self) -> Result<(), Field> {
        for (i, (key, _)) in self.entries.iter().enumerate() {
            let again = self.entries.iter().skip(i.saturating_add(1));
            holds("entries", !again.into_iter().any(|(k, _)| k == key))?;
        }
        Ok(())
    }
}

/// What a board is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Query {
    /// Its [`Status`].
    Status,
    /// Its [`Settings`].
    Settings,
}

impl Check for Query {
    fn check(&self) -> Result<(), Field> {
        Ok(())
    }
}

/// The first message of a recording.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Header {
    /// What kind of source the samples come from.
    pub source: SourceKind,
    /// Program and version that wrote it, may be empty.
    pub created_by: String<32>,
    /// When it began, seconds since 1970-01-01 UTC; `None` when not known.
    pub began_unix_s: Option<u64>,
    /// Conditions in words, may be empty.
    pub conditions: String<64>,
}

impl Check for Header {
    fn check(&self) -> Result<(), Field> {
        words("created_by", &self.created_by)?;
        let began = self.began_unix_s;
        holds("began_unix_s", began.is_none_or(|s| s <= TIME_MAX_US))?;
        words("conditions", &self.conditions)
    }
}

/// Something a person marked in a recording.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mark {
    /// When, source time in microseconds.
    pub time_us: u64,
    /// Lap it is about; `None` when about none.
    pub lap: Option<u16>,
    /// Corner it is about, from 1; `None` when about none.
    pub corner: Option<u8>,
    /// What was said, may be empty.
    pub text: String<96>,
}

impl Check for Mark {
    fn check(&self) -> Result<(), Field> {
        holds("time_us", self.time_us <= TIME_MAX_US)?;
        holds("corner", self.corner != Some(0))?;
        words("text", &self.text)
    }
}

/// What became of a message sent to a board.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ack {
    /// Kind byte of the message it answers, as it came.
    pub kind: u8,
    /// The answer.
    pub answer: Answer,
}

impl Check for Ack {
    fn check(&self) -> Result<(), Field> {
        Ok(())
    }
}

/// The answers of an [`Ack`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Answer {
    /// Done.
    Done,
    /// The transfer goes on at this offset, bytes.
    Continue {
        /// The first byte the board does not have.
        offset: u32,
    },
    /// Not done.
    Refused {
        /// Why.
        why: Refuse,
        /// What would have been right; see [`Refuse`].
        expected: u32,
        /// What came instead; see [`Refuse`].
        got: u32,
    },
}

/// Why a board refused a message, and what `expected` and `got` of the answer are. Where nothing
/// is said they are 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Refuse {
    /// Another protocol version: the board's and the frame's.
    Version,
    /// An unknown kind: `got` is the kind byte.
    Kind,
    /// The payload is not one of its kind.
    Payload,
    /// A value is out of range.
    Value,
    /// A piece that does not follow: the offset wanted and the piece's.
    Offset,
    /// No such transfer has begun: the checksum of the one under way (0 for none) and the one named.
    Transfer,
    /// Too large: the most bytes there is room for and the bytes announced.
    TooLarge,
    /// The whole does not have its checksum: the one announced and the one found.
    Whole,
    /// The whole is not usable: `expected` is the number of the fault, `got` the byte it is at.
    Content,
    /// The memory could not be written.
    Storage,
    /// An unknown setting or a value it cannot have: `expected` is its key, `got` the value.
    Setting,
    /// Not now; try again.
    Busy,
}

/// How a board is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Status {
    /// Version of its firmware: major, minor, patch.
    pub firmware: (u8, u8, u8),
    /// Milliseconds since it started, wrapping.
    pub uptime_ms: u32,
    /// Which reference it uses: the file's own CRC-32; `None` without one.
    pub reference: Option<u32>,
    /// Which configuration it uses: the file's own CRC-32; `None` for the built-in one.
    pub config: Option<u32>,
    /// The transfer under way.
    pub transfer: Option<Transfer>,
    /// What the engine thinks of its input.
    pub health: HealthState,
    /// Why.
    pub why: Why,
    /// What its inputs and queues have seen.
    pub counts: Counts,
}

impl Check for Status {
    fn check(&self) -> Result<(), Field> {
        self.transfer.map_or(Ok(()), |t| t.check())
    }
}

/// Counts since the board started; they stop at their largest value.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counts {
    /// Samples the gate admitted.
    pub admitted: u32,
    /// Samples the gate refused, by [`gate::Refusal`].
    pub refused: [u32; gate::REFUSALS],
    /// Frames read whole.
    pub frames: u32,
    /// Frames refused, by [`super::Refused`].
    pub frames_refused: [u32; REFUSALS],
    /// Receiver messages read whole.
    pub receiver: u32,
    /// Receiver messages refused.
    pub receiver_refused: u32,
    /// Bytes lost because an input queue was full.
    pub lost_in: u32,
    /// Messages lost because an output queue was full.
    pub lost_out: u32,
    /// The most bytes an input queue ever held.
    pub fill_in: u16,
    /// The most bytes an output queue ever held.
    pub fill_out: u16,
    /// Outputs (lamp, strip, sounder, screen) that answered with a fault.
    pub output_faults: u32,
}

//! What goes over a serial line: messages in frames, and plain text for displays that know
//! nothing. `docs/WIRE.md` is the normative description.
//!
//! A frame is `00 COBS(version kind payload crc32) 00`. [`encode`] makes one, a [`FrameReader`]
//! is fed byte by byte and says what each byte led to. Damage of any kind costs the damaged frame
//! only: the next whole one is read.

#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
pub mod cobs;
pub mod frame;
pub mod message;
pub(crate) mod put;
pub mod text;
pub mod transfer;

#[cfg(test)]
mod tests;

pub use frame::{
    BODY_MAX, BODY_TO_BOARD_MAX, EncodeFault, FRAME_MAX, FrameReader, Outcome, REFUSALS, Refused,
    VERSION, encode,
};
pub use message::{
    Ack, Answer, Counts, Header, Kind, Mark, Message, Query, Refuse, SETTINGS_MAX, Settings, Status,
};
pub use transfer::{Begin, Commit, Object, PIECE_MAX, Piece, TOTAL_MAX, Transfer};

//! How something larger than a frame gets to a board: begin, pieces, commit.
//!
//! The sender begins with the size and the checksum of the whole; the board answers with the
//! offset it wants next, which is not 0 when it already holds a part of the same whole. A piece
//! at another offset is refused with the offset wanted. At commit the board checks the whole
//! before it uses it; until then, and whenever anything is wrong, what it had stays in use.

use crate::check::{Check, Field, holds};
use heapless::Vec;
use serde::{Deserialize, Serialize};

/// The most bytes a piece carries.
pub const PIECE_MAX: usize = 128;
/// The largest whole, bytes.
pub const TOTAL_MAX: u32 = 1 << 20;

/// What is sent in pieces.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Object {
    /// A reference file.
    Reference,
    /// A configuration file: thresholds and the voice.
    Config,
}

/// Announces a whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Begin {
    /// What it is.
    pub object: Object,
    /// Its size in bytes, 1 to [`TOTAL_MAX`].
    pub total: u32,
    /// The file's id: the CRC-32 in its last four bytes, over all bytes before them. Names the
    /// transfer in what follows. (A CRC over those four too would be the same for every file.)
    pub crc: u32,
}

/// One piece of a whole.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Piece {
    /// What it is a piece of.
    pub object: Object,
    /// Id of the whole it belongs to.
    pub crc: u32,
    /// Where in the whole it begins, bytes.
    pub offset: u32,
    /// The bytes, 1 to [`PIECE_MAX`].
    pub data: Vec<u8, PIECE_MAX>,
}

/// Every piece has been sent: check the whole and use it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Commit {
    /// What it is.
    pub object: Object,
    /// Its size in bytes.
    pub total: u32,
    /// Its id, as in [`Begin`].
    pub crc: u32,
}

/// How far a transfer has come, in a board's status.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Transfer {
    /// What is being sent.
    pub object: Object,
    /// Id of the whole, as in [`Begin`].
    pub crc: u32,
    /// Bytes the board holds.
    pub have: u32,
    /// Bytes of the whole.
    pub total: u32,
}

impl Check for Begin {
    fn check(&self) -> Result<(), Field> {
        holds("total", (1..=TOTAL_MAX).contains(&self.total))
    }
}

impl Check for Piece {
    fn check(&self) -> Result<(), Field> {
        holds("data", !self.data.is_empty())?;
        holds("offset", self.offset < TOTAL_MAX)
    }
}

impl Check for Commit {
    fn check(&self) -> Result<(), Field> {
        holds("total", (1..=TOTAL_MAX).contains(&self.total))
    }
}

impl Check for Transfer {
    fn check(&self) -> Result<(), Field> {
        holds("total", (1..=TOTAL_MAX).contains(&self.total))?;
        holds("have", self.have <= self.total)
    }
}

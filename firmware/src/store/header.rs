//! What stands in front of a slot: that it is one, how new it is and what is in it.

use cuepost_engine::wire::frame::crc32;

/// The first bytes of a slot in this layout.
const MARK: [u8; 4] = *b"cps1";
/// Bytes of a header.
const BYTES: usize = 36;

/// A part as it is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Kept {
    /// Its length in bytes, 0 for nothing.
    pub len: u32,
    /// CRC-32 of its bytes.
    pub crc: u32,
}

/// The header of a slot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Header {
    /// One higher than that of the slot before, wrapping.
    pub sequence: u32,
    /// The parts, in the order of [`super::PARTS`].
    pub parts: [Kept; 3],
}

impl Header {
    /// Of a store that never kept anything. The checksum of nothing is 0.
    pub const EMPTY: Self = Self {
        sequence: 0,
        parts: [Kept { len: 0, crc: 0 }; 3],
    };

    /// As it stands in flash: mark, sequence, length and checksum of each part, checksum of it
    /// all; little-endian.
    pub fn to_bytes(self) -> [u8; BYTES] {
        let [a, b, c] = self.parts;
        let words = [self.sequence, a.len, a.crc, b.len, b.crc, c.len, c.crc];
        let mut bytes = [0; BYTES];
        let (places, _) = bytes.as_chunks_mut::<4>();
        let written = core::iter::once(MARK).chain(words.map(u32::to_le_bytes));
        for (place, word) in places.iter_mut().zip(written) {
            *place = word;
        }
        let sum = bytes
            .first_chunk::<{ BYTES - 4 }>()
            .map_or(0, |all| crc32(all));
        if let Some(last) = bytes.last_chunk_mut::<4>() {
            *last = sum.to_le_bytes();
        }
        bytes
    }

    /// Reads one; `None` for anything that is not a whole header of this layout.
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let bytes = bytes.first_chunk::<BYTES>()?;
        let (head, sum) = bytes.split_last_chunk::<4>()?;
        if crc32(head) != u32::from_le_bytes(*sum) {
            return None;
        }
        let ([mark, words @ ..], []) = head.as_chunks::<4>() else {
            return None;
        };
        let &[sequence, a_len, a_crc, b_len, b_crc, c_len, c_crc] = words else {
            return None;
        };
        let kept = |len, crc| Kept {
            len: u32::from_le_bytes(len),
            crc: u32::from_le_bytes(crc),
        };
        (*mark == MARK).then_some(Self {
            sequence: u32::from_le_bytes(sequence),
            parts: [kept(a_len, a_crc), kept(b_len, b_crc), kept(c_len, c_crc)],
        })
    }
}

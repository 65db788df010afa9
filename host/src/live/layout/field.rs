//! One value in a packet: where it lies and how its bytes are read.

use serde::Deserialize;

/// Order of the bytes of a number.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ByteOrder {
    /// Least significant byte first.
    #[default]
    Little,
    /// Most significant byte first.
    Big,
}

/// How a number is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// Unsigned, 1 byte.
    U8,
    /// Signed, 1 byte.
    I8,
    /// Unsigned, 2 bytes.
    U16,
    /// Signed, 2 bytes.
    I16,
    /// Unsigned, 4 bytes.
    U32,
    /// Signed, 4 bytes.
    I32,
    /// Unsigned, 8 bytes; exact up to 2^53.
    U64,
    /// Signed, 8 bytes; exact up to 2^53 either way.
    I64,
    /// IEEE 754, 4 bytes.
    F32,
    /// IEEE 754, 8 bytes.
    F64,
}

impl Kind {
    /// Bytes it takes.
    pub const fn bytes(self) -> usize {
        match self {
            Self::U8 | Self::I8 => 1,
            Self::U16 | Self::I16 => 2,
            Self::U32 | Self::I32 | Self::F32 => 4,
            Self::U64 | Self::I64 | Self::F64 => 8,
        }
    }

    /// Bits of an unsigned whole number, for counters that wrap; `None` for all others.
    pub const fn counter_bits(self) -> Option<u32> {
        match self {
            Self::U8 => Some(8),
            Self::U16 => Some(16),
            Self::U32 => Some(32),
            Self::U64 => Some(64),
            _ => None,
        }
    }
}

/// Where a plain number lies in a packet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Field {
    /// Bytes from the packet's begin.
    pub offset: usize,
    /// How it is stored.
    #[serde(rename = "type")]
    pub kind: Kind,
}

impl Field {
    /// One past its last byte; `None` when that is beyond any packet.
    pub fn end(&self) -> Option<usize> {
        self.offset.checked_add(self.kind.bytes())
    }

    /// Reads it as a number; `None` when the packet ends before it.
    pub fn read(&self, packet: &[u8], order: ByteOrder) -> Option<f64> {
        let bytes = packet.get(self.offset..self.end()?)?;
        Some(match self.kind {
            Kind::U8 => f64::from(u8::from_le_bytes(ordered(bytes, order)?)),
            Kind::I8 => f64::from(i8::from_le_bytes(ordered(bytes, order)?)),
            Kind::U16 => f64::from(u16::from_le_bytes(ordered(bytes, order)?)),
            Kind::I16 => f64::from(i16::from_le_bytes(ordered(bytes, order)?)),
            Kind::U32 => f64::from(u32::from_le_bytes(ordered(bytes, order)?)),
            Kind::I32 => f64::from(i32::from_le_bytes(ordered(bytes, order)?)),
            Kind::U64 => u64::from_le_bytes(ordered(bytes, order)?) as f64,
            Kind::I64 => i64::from_le_bytes(ordered(bytes, order)?) as f64,
            Kind::F32 => f64::from(f32::from_le_bytes(ordered(bytes, order)?)),
            Kind::F64 => f64::from_le_bytes(ordered(bytes, order)?),
        })
    }

    /// Reads an unsigned whole number exactly; `None` for other kinds or a packet too short.
    pub fn read_unsigned(&self, packet: &[u8], order: ByteOrder) -> Option<u64> {
        let bytes = packet.get(self.offset..self.end()?)?;
        Some(match self.kind {
            Kind::U8 => u64::from(u8::from_le_bytes(ordered(bytes, order)?)),
            Kind::U16 => u64::from(u16::from_le_bytes(ordered(bytes, order)?)),
            Kind::U32 => u64::from(u32::from_le_bytes(ordered(bytes, order)?)),
            Kind::U64 => u64::from_le_bytes(ordered(bytes, order)?),
            _ => return None,
        })
    }
}

/// The bytes of a number, least significant first.
fn ordered<const N: usize>(bytes: &[u8], order: ByteOrder) -> Option<[u8; N]> {
    let mut out: [u8; N] = bytes.try_into().ok()?;
    if order == ByteOrder::Big {
        out.reverse();
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(kind: Kind, bytes: &[u8], order: ByteOrder) -> Option<f64> {
        Field { offset: 0, kind }.read(bytes, order)
    }

    #[test]
    fn every_kind_in_both_orders() {
        let cases: [(Kind, &[u8], f64); 10] = [
            (Kind::U8, &[0xfe], 254.0),
            (Kind::I8, &[0xfe], -2.0),
            (Kind::U16, &[0x01, 0x02], 513.0),
            (Kind::I16, &[0xff, 0xff], -1.0),
            (Kind::U32, &[0, 0, 0, 0x80], 2_147_483_648.0),
            (Kind::I32, &[0, 0, 0, 0x80], -2_147_483_648.0),
            (Kind::U64, &[1, 0, 0, 0, 1, 0, 0, 0], 4_294_967_297.0),
            (Kind::I64, &[0xff; 8], -1.0),
            (Kind::F32, &[0, 0, 0xf0, 0x41], 30.0),
            (Kind::F64, &[0, 0, 0, 0, 0, 0, 0x3e, 0x40], 30.0),
        ];
        for (kind, bytes, want) in cases {
            assert_eq!(read(kind, bytes, ByteOrder::Little), Some(want), "{kind:?}");
            let mut turned = bytes.to_vec();
            turned.reverse();
            assert_eq!(read(kind, &turned, ByteOrder::Big), Some(want), "{kind:?}");
            assert_eq!(
                read(
                    kind,
                    bytes.split_last().map_or(&[], |(_, b)| b),
                    ByteOrder::Little
                ),
                None
            );
        }
    }

    #[test]
    fn an_offset_beyond_any_packet_reads_nothing() {
        let field = Field {
            offset: usize::MAX,
            kind: Kind::F64,
        };
        assert_eq!(field.read(&[0; 64], ByteOrder::Little), None);
    }
}

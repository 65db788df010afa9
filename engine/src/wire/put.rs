//! The writing side of the postcard format, as far as the types of this crate need it (no maps,
//! no tuple structs).
//!
//! The `postcard` crate reads what this writes and is its test. It does not write here because its
//! writer is generic over its output, which made 50 KB of board code out of three outputs, and
//! because its bounds checks are only optimised away at the highest level: at the levels boards
//! are built with, a panic path stays in.

use serde::ser::{self, Impossible, Serialize};

/// Where the bytes go.
pub(crate) enum Sink<'a> {
    /// Behind one another into a slice, from this index on.
    Slice(&'a mut [u8], usize),
    /// Nowhere: they are counted.
    Count(usize),
}

/// The output is full, or the type is one the format is not written for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Stopped;

impl Sink<'_> {
    /// Writes one value.
    pub fn put<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), Stopped> {
        value.serialize(self)
    }

    /// Writes one byte. Never inlined, like the numbers below: they are called from everywhere.
    #[inline(never)]
    pub fn byte(&mut self, byte: u8) -> Result<(), Stopped> {
        match self {
            Self::Slice(out, len) => {
                *out.get_mut(*len).ok_or(Stopped)? = byte;
                *len = len.saturating_add(1);
                Ok(())
            }
            Self::Count(n) => {
                *n = n.saturating_add(1);
                Ok(())
            }
        }
    }

    /// Writes bytes as they are.
    #[inline(never)]
    pub fn bytes(&mut self, bytes: &[u8]) -> Result<(), Stopped> {
        match self {
            Self::Slice(out, len) => {
                let end = len.saturating_add(bytes.len());
                let places = out.get_mut(*len..end).ok_or(Stopped)?;
                for (place, byte) in places.iter_mut().zip(bytes) {
                    *place = *byte;
                }
                *len = end;
            }
            Self::Count(n) => *n = n.saturating_add(bytes.len()),
        }
        Ok(())
    }

    /// Four bytes: most of what there is to say is such a number.
    #[inline(never)]
    fn word(&mut self, bytes: [u8; 4]) -> Result<(), Stopped> {
        match self {
            Self::Slice(out, len) => {
                let rest = out.get_mut(*len..).ok_or(Stopped)?;
                *rest.first_chunk_mut().ok_or(Stopped)? = bytes;
                *len = len.saturating_add(4);
            }
            Self::Count(n) => *n = n.saturating_add(4),
        }
        Ok(())
    }

    /// Seven bits a byte, the lowest first, the eighth set in all but the last.
    #[inline(never)]
    fn varint(&mut self, mut x: u32) -> Result<(), Stopped> {
        while x >= 0x80 {
            self.byte(x as u8 | 0x80)?;
            x >>= 7;
        }
        self.byte(x as u8)
    }

    #[inline(never)]
    fn varint_long(&mut self, mut x: u64) -> Result<(), Stopped> {
        while x >= 0x80 {
            self.byte(x as u8 | 0x80)?;
            x >>= 7;
        }
        self.byte(x as u8)
    }

    /// Bytes written or counted.
    pub fn len(&self) -> usize {
        match self {
            Self::Slice(_, len) => *len,
            Self::Count(n) => *n,
        }
    }
}

impl core::fmt::Display for Stopped {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("stopped")
    }
}

impl core::error::Error for Stopped {}

impl ser::Error for Stopped {
    fn custom<T: core::fmt::Display>(_: T) -> Self {
        Self
    }
}

/// Neighbouring bits stand for neighbouring numbers: 0, -1, 1, -2 and so on become 0, 1, 2, 3.
fn zigzag(x: i32) -> u32 {
    ((x << 1) ^ (x >> 31)) as u32
}

fn zigzag_long(x: i64) -> u64 {
    ((x << 1) ^ (x >> 63)) as u64
}

impl ser::Serializer for &mut Sink<'_> {
    type Ok = ();
    type Error = Stopped;
    type SerializeSeq = Self;
    type SerializeTuple = Self;
    type SerializeTupleStruct = Impossible<(), Stopped>;
    type SerializeTupleVariant = Impossible<(), Stopped>;
    type SerializeMap = Impossible<(), Stopped>;
    type SerializeStruct = Self;
    type SerializeStructVariant = Self;

    fn is_human_readable(&self) -> bool {
        false
    }
    fn serialize_bool(self, x: bool) -> Result<(), Stopped> {
        self.byte(u8::from(x))
    }
    fn serialize_i8(self, x: i8) -> Result<(), Stopped> {
        self.byte(x as u8)
    }
    fn serialize_i16(self, x: i16) -> Result<(), Stopped> {
        // The wider form of the same number is the same bits.
        self.varint(zigzag(i32::from(x)))
    }
    fn serialize_i32(self, x: i32) -> Result<(), Stopped> {
        self.varint(zigzag(x))
    }
    fn serialize_i64(self, x: i64) -> Result<(), Stopped> {
        self.varint_long(zigzag_long(x))
    }
    fn serialize_u8(self, x: u8) -> Result<(), Stopped> {
        self.byte(x)
    }
    fn serialize_u16(self, x: u16) -> Result<(), Stopped> {
        self.varint(u32::from(x))
    }
    fn serialize_u32(self, x: u32) -> Result<(), Stopped> {
        self.varint(x)
    }
    fn serialize_u64(self, x: u64) -> Result<(), Stopped> {
        self.varint_long(x)
    }
    fn serialize_f32(self, x: f32) -> Result<(), Stopped> {
        self.word(x.to_le_bytes())
    }
    fn serialize_f64(self, x: f64) -> Result<(), Stopped> {
        self.bytes(&x.to_le_bytes())
    }
    fn serialize_char(self, x: char) -> Result<(), Stopped> {
        self.serialize_str(x.encode_utf8(&mut [0; 4]))
    }
    fn serialize_str(self, x: &str) -> Result<(), Stopped> {
        self.serialize_bytes(x.as_bytes())
    }
    fn serialize_bytes(self, x: &[u8]) -> Result<(), Stopped> {
        self.varint_long(x.len() as u64)?;
        self.bytes(x)
    }
    fn serialize_none(self) -> Result<(), Stopped> {
        self.byte(0)
    }
    fn serialize_some<T: Serialize + ?Sized>(self, x: &T) -> Result<(), Stopped> {
        self.byte(1)?;
        x.serialize(self)
    }
    fn serialize_unit(self) -> Result<(), Stopped> {
        Ok(())
    }
    fn serialize_unit_struct(self, _: &'static str) -> Result<(), Stopped> {
        Ok(())
    }
    fn serialize_unit_variant(
        self,
        _: &'static str,
        variant: u32,
        _: &'static str,
    ) -> Result<(), Stopped> {
        self.varint(variant)
    }
    fn serialize_newtype_struct<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        x: &T,
    ) -> Result<(), Stopped> {
        x.serialize(self)
    }
    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        variant: u32,
        _: &'static str,
        x: &T,
    ) -> Result<(), Stopped> {
        self.varint(variant)?;
        x.serialize(self)
    }
    fn serialize_seq(self, len: Option<usize>) -> Result<Self, Stopped> {
        self.varint_long(len.ok_or(Stopped)? as u64)?;
        Ok(self)
    }
    fn serialize_tuple(self, _: usize) -> Result<Self, Stopped> {
        Ok(self)
    }
    fn serialize_tuple_struct(
        self,
        _: &'static str,
        _: usize,
    ) -> Result<Self::SerializeTupleStruct, Stopped> {
        Err(Stopped)
    }
    fn serialize_tuple_variant(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self::SerializeTupleVariant, Stopped> {
        Err(Stopped)
    }
    fn serialize_map(self, _: Option<usize>) -> Result<Self::SerializeMap, Stopped> {
        Err(Stopped)
    }
    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Self, Stopped> {
        Ok(self)
    }
    fn serialize_struct_variant(
        self,
        _: &'static str,
        variant: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self, Stopped> {
        self.varint(variant)?;
        Ok(self)
    }
    fn collect_str<T: core::fmt::Display + ?Sized>(self, _: &T) -> Result<(), Stopped> {
        // Needs a length before the text is known; nothing here does this.
        Err(Stopped)
    }
}

/// The compound values are their parts one behind the other, without names.
macro_rules! parts {
    ($($of:ident $part:ident $($name:ty)?),+) => {
        $(impl ser::$of for &mut Sink<'_> {
            type Ok = ();
            type Error = Stopped;

            fn $part<T: Serialize + ?Sized>(
                &mut self,
                $(_: $name,)?
                x: &T,
            ) -> Result<(), Stopped> {
                x.serialize(&mut **self)
            }
            fn end(self) -> Result<(), Stopped> {
                Ok(())
            }
        })+
    };
}

parts!(
    SerializeSeq serialize_element,
    SerializeTuple serialize_element,
    SerializeStruct serialize_field &'static str,
    SerializeStructVariant serialize_field &'static str
);

//! Consistent Overhead Byte Stuffing, byte by byte in both directions: what goes in may hold any
//! byte, what comes out holds no zero, so that a zero can mark the end of a frame.
//!
//! Source: Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on
//! Networking 7(2), 1999.

/// The longest run without a zero that one code byte covers, plus one.
const FULL: u8 = 0xFF;

/// The output was too small.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Full;

/// Encodes into a slice as bytes are pushed.
#[derive(Debug)]
pub struct Encoder<'a> {
    out: &'a mut [u8],
    len: usize,
    code_at: usize,
    code: u8,
    open: bool,
    begun: bool,
}

impl<'a> Encoder<'a> {
    /// Encodes into `out`, from its first byte on.
    pub fn new(out: &'a mut [u8]) -> Self {
        Self {
            out,
            len: 0,
            code_at: 0,
            code: 1,
            open: false,
            begun: false,
        }
    }

    /// Puts one byte out as it is: a delimiter before or after the encoded data.
    pub fn raw(&mut self, byte: u8) -> Result<(), Full> {
        *self.out.get_mut(self.len).ok_or(Full)? = byte;
        self.len = self.len.saturating_add(1);
        Ok(())
    }

    fn begin(&mut self) -> Result<(), Full> {
        self.code_at = self.len;
        self.code = 1;
        self.open = true;
        self.begun = true;
        self.raw(0)
    }

    fn end(&mut self) -> Result<(), Full> {
        *self.out.get_mut(self.code_at).ok_or(Full)? = self.code;
        self.open = false;
        Ok(())
    }

    /// Encodes one byte.
    pub fn push(&mut self, byte: u8) -> Result<(), Full> {
        if !self.open {
            self.begin()?;
        }
        if byte == 0 {
            self.end()?;
            return self.begin();
        }
        self.raw(byte)?;
        self.code = self.code.saturating_add(1);
        if self.code == FULL {
            self.end()
        } else {
            Ok(())
        }
    }

    /// Closes the last block. `raw` may follow.
    pub fn close(&mut self) -> Result<(), Full> {
        if !self.begun {
            self.begin()?;
        }
        if self.open { self.end() } else { Ok(()) }
    }

    /// Bytes put out.
    pub fn len(&self) -> usize {
        self.len
    }

    /// True before the first byte.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }
}

/// Decodes as bytes come in; zeros (the delimiters) are the caller's.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Decoder {
    left: u8,
    zero: bool,
}

impl Decoder {
    /// Takes one byte that is not zero; returns the decoded byte it completes, if any.
    pub fn push(&mut self, byte: u8) -> Option<u8> {
        if self.left > 0 {
            self.left -= 1;
            return Some(byte);
        }
        let zero = self.zero.then_some(0);
        self.left = byte.saturating_sub(1);
        self.zero = byte != FULL;
        zero
    }

    /// True when the encoded data may end here: every byte the last code promised has come.
    pub fn complete(&self) -> bool {
        self.left == 0
    }
}

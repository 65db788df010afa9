//! Consistent Overhead Byte Stuffing, what goes in may hold any byte,
//! what comes out holds no zero, so that a zero can mark the end of a frame.
//!
//! Source: Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on
//! Networking 7(2), 1999.

/// The longest run without a zero that one code byte covers, plus one.
const FULL: u8 = 0xFF;
/// That run.
const RUN: usize = FULL as usize - 1;

/// The output was too small.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Full;

/// Encodes in place: `out` holds `len` plain bytes from its second on, its first is the first code's.
/// Returns how many bytes the encoding takes, one more and another for every 254 without a zero.
///
/// From the end forward every zero becomes the distance to the next one: a few instructions a byte,
/// which counts on a board, where facts of 250 bytes have to leave within one sample's time.
pub fn stuff(out: &mut [u8], len: usize) -> Result<usize, Full> {
    *out.first_mut().ok_or(Full)? = 0;
    let mut end = len.checked_add(1).ok_or(Full)?;
    if len >= RUN {
        end = part_long_runs(out, end)?;
    }
    let mut ahead = 1u8;
    for byte in out.get_mut(..end).ok_or(Full)?.iter_mut().rev() {
        if *byte == 0 {
            *byte = ahead;
            ahead = 1;
        } else {
            // Runs end before this overflows.
            ahead = ahead.wrapping_add(1);
        }
    }
    Ok(end)
}

/// Puts a zero behind every run that one code can't cover; returns the new end.
#[cold]
fn part_long_runs(out: &mut [u8], mut end: usize) -> Result<usize, Full> {
    let (mut at, mut run) = (1, 0);
    while at < end {
        run = if out.get(at) == Some(&0) { 0 } else { run + 1 };
        at = at.saturating_add(1);
        if run == RUN && at < end {
            let mut carried = 0;
            for byte in out.get_mut(at..=end).ok_or(Full)? {
                carried = core::mem::replace(byte, carried);
            }
            end = end.saturating_add(1);
            at = at.saturating_add(1);
            run = 0;
        }
    }
    Ok(end)
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

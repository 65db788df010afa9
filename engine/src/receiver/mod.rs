//! Receivers: bytes of NMEA 0183 and UBX in, [`Sample`]s out.
//!
//! One [`Receiver`] reads both protocols and any mix of them, byte by byte or slice by slice, and
//! gives the same samples for any division of the stream. It allocates nothing, works in fixed
//! point, and after damage goes on with the next start byte, one byte after the false one.
//!
//! - RMC, GGA and VTG of any talker are joined by equal time; RMC alone suffices.
//! - UBX NAV-PVT (84 or 92 bytes) and HNR-PVT are preferred where both tell the same epoch.
//! - An epoch without a fix gives a sample without position and speed.
//! - Times only rise: see [`Stamp`] and the session time in [`Sample::time_us`], which counts
//!   microseconds from midnight UTC of the day the session began.
//!
//! Without RMC and NAV-PVT, speed can only come from VTG, which carries no time: it is taken to
//! belong to the sentence before it.

#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod clock;
#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod fields;
mod join;
#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod nmea;
mod stats;
#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod ubx;

pub use clock::{LATE_RUN, RESTART_GAP_US, Stamp};
pub use stats::{Counts, Reason, Tally};

use crate::sample::Sample;
use heapless::Vec;
use join::{Joiner, Outlet};
use stats::one_more;

/// Room for the longest frame of either protocol.
const HELD: usize = 128;

const _: () = assert!(nmea::SENTENCE_MAX <= HELD && ubx::FRAME_MAX <= HELD);

/// A decoder of one receiver's stream.
///
/// ```
/// use cuepost_engine::receiver::Receiver;
///
/// let mut receiver = Receiver::default();
/// let mut samples = Vec::new();
/// receiver.push_slice(
///     b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\r\n",
///     |sample| samples.push(sample),
/// );
/// assert_eq!(samples.len(), 1);
/// assert!((samples[0].speed_mps.unwrap() - 11.523556).abs() < 1e-5);
/// ```
#[derive(Clone, Debug, Default)]
pub struct Receiver {
    /// A frame that is not whole yet, from its start byte on; empty while searching.
    held: Vec<u8, HELD>,
    /// Length of `held` at which it is worth looking at again.
    due: usize,
    /// Of a sentence in `held`, what has been looked at.
    plain: nmea::Plain,
    /// Offset of `held`'s first byte.
    held_at: u64,
    /// Bytes taken in.
    taken: u64,
    reader: Reader,
}

/// What becomes of whole frames.
#[derive(Clone, Debug, Default)]
struct Reader {
    joiner: Joiner,
    counts: Counts,
}

/// What became of the bytes at a start byte.
enum Step {
    /// Go on after so many bytes.
    On(usize),
    /// Wait until so many bytes are there; a sentence's plain bytes so far.
    Wait(usize, nmea::Plain),
}

/// A frame at the end of some bytes that is not whole yet.
struct Unfinished {
    /// How many bytes lie before it.
    skip: usize,
    due: usize,
    plain: nmea::Plain,
}

impl Receiver {
    /// Takes one byte in.
    pub fn push(&mut self, byte: u8, mut out: impl FnMut(Sample)) {
        self.take(byte, &mut out);
    }

    /// Takes bytes in; whole frames within them are read in place.
    pub fn push_slice(&mut self, mut bytes: &[u8], mut out: impl FnMut(Sample)) {
        while !self.held.is_empty() {
            bytes = self.hold(bytes);
            let Some((&byte, rest)) = bytes.split_first() else {
                return;
            };
            self.take(byte, &mut out);
            bytes = rest;
        }
        let at = self.taken;
        self.taken = at.saturating_add(bytes.len() as u64);
        self.begin(bytes, at, &mut out);
    }

    /// The stream has ended, or pauses for long: tells the epoch under way and drops what is not
    /// whole.
    pub fn finish(&mut self, mut out: impl FnMut(Sample)) {
        self.break_off();
        let Reader { joiner, counts } = &mut self.reader;
        joiner.finish(&mut Outlet {
            counts,
            at: self.taken,
            out: &mut out,
        });
    }

    /// Bytes are missing here (a cable was pulled): what comes next is not joined to what is held.
    pub fn break_off(&mut self) {
        let cut = match self.held.split_first() {
            Some((b'$', body)) => nmea::kind(body).is_some(),
            Some(_) => self.due > 8,
            None => false,
        };
        if cut {
            self.reader.counts.refuse(Reason::Cut, self.held_at);
        }
        self.held.clear();
    }

    /// What the stream contained so far.
    pub fn counts(&self) -> &Counts {
        &self.reader.counts
    }

    /// Bytes taken in so far.
    pub fn bytes(&self) -> u64 {
        self.taken
    }

    /// The newest date the receiver stated, as days since 1970-01-01, not before `earliest`: a
    /// receiver that has just started may state one that is years in the past.
    pub fn day(&self, earliest: i32) -> Option<i32> {
        self.reader.joiner.day().filter(|&day| day >= earliest)
    }

    /// Adds the bytes to what is held that cannot end it, and returns the rest.
    fn hold<'a>(&mut self, bytes: &'a [u8]) -> &'a [u8] {
        let room = self.due.saturating_sub(self.held.len().saturating_add(1));
        let most = room.min(bytes.len());
        let (ahead, _) = bytes.split_at_checked(most).unwrap_or_default();
        let (length, sum) = match self.held.as_slice() {
            [b'$', ..] => nmea::plain(ahead),
            // The second byte and the header decide.
            [_, _, ..] => (most, 0),
            _ => (0, 0),
        };
        let Some((ahead, rest)) = bytes.split_at_checked(length) else {
            return bytes;
        };
        if self.held.extend_from_slice(ahead).is_err() {
            return bytes;
        }
        self.plain = self.plain.and(length, sum);
        self.taken = self.taken.saturating_add(length as u64);
        rest
    }

    fn take<F: FnMut(Sample)>(&mut self, byte: u8, out: &mut F) {
        let at = self.taken;
        self.taken = at.saturating_add(1);
        if self.held.is_empty() {
            if byte == b'$' || byte == ubx::START {
                self.begin(&[byte], at, out);
            }
            return;
        }
        if self.held.push(byte).is_err() {
            // `due` keeps frames shorter than that.
            self.held.clear();
            return;
        }
        if self.held.first() == Some(&b'$') {
            // A second star is no digit of the checksum.
            if byte == b'*' && self.held.len() < self.due {
                self.due = self.held.len().saturating_add(1);
                return;
            }
            let plain = (b' '..=b'~').contains(&byte) && byte != b'$';
            if plain && self.held.len() < self.due {
                self.plain = self.plain.and(1, byte);
                return;
            }
        } else if self.held.len() < self.due && self.held.len() != 2 {
            return;
        }
        let unfinished = self.reader.scan(&self.held, self.held_at, self.plain, out);
        let Some(Unfinished { skip, due, plain }) = unfinished else {
            self.held.clear();
            return;
        };
        (self.due, self.plain) = (due, plain);
        if skip > 0 {
            self.drop_first(skip);
        }
    }

    /// Drops bytes from the front of what is held.
    #[cold]
    fn drop_first(&mut self, count: usize) {
        self.held_at = self.held_at.saturating_add(count as u64);
        let left = self.held.len().saturating_sub(count);
        for to in 0..left {
            let from = self.held.get(to.saturating_add(count)).copied();
            if let (Some(to), Some(from)) = (self.held.get_mut(to), from) {
                *to = from;
            }
        }
        self.held.truncate(left);
    }

    /// Reads bytes while nothing is held, the first of which is at offset `at`; holds a frame that
    /// is not whole.
    fn begin<F: FnMut(Sample)>(&mut self, bytes: &[u8], at: u64, out: &mut F) {
        let unfinished = self.reader.scan(bytes, at, nmea::Plain::default(), out);
        if let Some(Unfinished { skip, due, plain }) = unfinished
            && let Some(frame) = bytes.get(skip..)
            // Shorter than `due`, which is at most the room there is.
            && self.held.extend_from_slice(frame).is_ok()
        {
            (self.due, self.plain) = (due, plain);
            self.held_at = at.saturating_add(skip as u64);
        }
    }
}

impl Reader {
    /// Reads what is whole in `bytes`, the first of which is at offset `at`, and says where a frame
    /// begins that is not. A sentence at their start is known so far.
    fn scan<F: FnMut(Sample)>(
        &mut self,
        bytes: &[u8],
        at: u64,
        mut known: nmea::Plain,
        out: &mut F,
    ) -> Option<Unfinished> {
        let mut rest = bytes;
        while let Some(start) = rest.iter().position(|&b| b == b'$' || b == ubx::START) {
            let from = rest.get(start..).unwrap_or_default();
            let skip = bytes.len().saturating_sub(from.len());
            let here = at.saturating_add(skip as u64);
            // What is known is of a sentence that begins here, not of a later one.
            let known = core::mem::take(&mut known);
            let step = if from.first() == Some(&b'$') {
                self.sentence(from, here, known, out)
            } else {
                self.frame(from, here, out)
            };
            match step {
                Step::On(used) => rest = from.get(used.max(1)..).unwrap_or_default(),
                Step::Wait(due, plain) => return Some(Unfinished { skip, due, plain }),
            }
        }
        None
    }

    #[inline(never)]
    fn sentence<F: FnMut(Sample)>(
        &mut self,
        bytes: &[u8],
        at: u64,
        known: nmea::Plain,
        out: &mut F,
    ) -> Step {
        let (body, used, reason) = match nmea::frame(bytes, known) {
            nmea::Frame::Whole { body, used } => {
                match nmea::parse(body) {
                    Ok(sentence) => self.joiner.sentence(
                        sentence,
                        &mut Outlet {
                            counts: &mut self.counts,
                            at,
                            out,
                        },
                    ),
                    Err(nmea::Unreadable) => self.counts.refuse(Reason::Malformed, at),
                }
                return Step::On(used);
            }
            nmea::Frame::Short { need, plain } => return Step::Wait(need, plain),
            nmea::Frame::WrongSum { body, used } => (body, used, Reason::Checksum),
            nmea::Frame::Cut { body, used } => (body, used, Reason::Cut),
            nmea::Frame::TooLong { body, used } => (body, used, Reason::TooLong),
        };
        // Chance dollars, and sentences nobody needs, are no loss.
        if nmea::kind(body).is_some() {
            self.counts.refuse(reason, at);
            self.joiner.lost();
        }
        Step::On(used)
    }

    #[inline(never)]
    fn frame<F: FnMut(Sample)>(&mut self, bytes: &[u8], at: u64, out: &mut F) -> Step {
        match ubx::frame(bytes) {
            ubx::Frame::Pvt { payload, used } => {
                match ubx::parse(payload) {
                    Some(pvt) => self.joiner.pvt(
                        pvt,
                        &mut Outlet {
                            counts: &mut self.counts,
                            at,
                            out,
                        },
                    ),
                    None => self.counts.refuse(Reason::Malformed, at),
                }
                return Step::On(used);
            }
            ubx::Frame::Short { need } => return Step::Wait(need, nmea::Plain::default()),
            ubx::Frame::WrongSum => self.counts.refuse(Reason::Checksum, at),
            ubx::Frame::WrongLength => self.counts.refuse(Reason::Length, at),
            ubx::Frame::Other => one_more(&mut self.counts.other_ubx),
            ubx::Frame::Nothing => {}
        }
        Step::On(1)
    }
}

#[cfg(test)]
mod test_nmea;
#[cfg(test)]
mod test_ubx;

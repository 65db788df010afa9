//! Our own recordings: wire frames one behind the other, a header first.
//!
//! A recording is appended to while it is made and never rewritten. Whatever stops the program,
//! the file is readable up to the last flush (0.2 s of source time, see [`Writer`]), and the frame
//! that was cut is named. The stream a board sends, saved as it came, is a recording as well.

mod reader;
#[cfg(test)]
mod tests;
mod writer;

pub(crate) use reader::words;
pub use reader::{Fault, Reader};
pub use writer::{Pace, Target, Writer};

use cuepost_engine::wire::{FrameReader, Outcome, Refused};

/// True when the first bytes of a file (a few thousand are enough) hold a whole wire frame, of
/// this version or another.
pub fn looks_like(head: &[u8]) -> bool {
    let mut frames = FrameReader::<{ cuepost_engine::wire::BODY_MAX }>::new();
    head.iter().any(|&byte| {
        matches!(
            frames.feed(byte),
            Outcome::Message(_)
                | Outcome::Refused(
                    Refused::Version(_)
                        | Refused::Kind(_)
                        | Refused::Payload(_)
                        | Refused::Value(..)
                )
        )
    })
}

//! The ports of a board as the main loop sees them: nothing here ever waits.

mod inbox;
mod outbox;

pub use inbox::{Inbox, InboxReader, InboxWriter};
pub use outbox::Outbox;

use core::convert::Infallible;
use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};

/// A port that bytes come in on.
///
/// `read` is called only after `read_ready` said yes, and returns what is there.
pub trait Input: Read + ReadReady {
    /// Bytes lost so far because they came faster than they were read.
    fn lost(&self) -> u32 {
        0
    }

    /// The most bytes that ever waited.
    fn most(&self) -> u16 {
        0
    }
}

/// A port that bytes go out on.
///
/// `write` is called only after `write_ready` said yes, and takes as many bytes as it can without
/// waiting; none when there was no room after all.
pub trait Output: Write + WriteReady {}

impl<T: Write + WriteReady> Output for T {}

/// A port the board does not have: nothing comes in, what goes out is gone.
#[derive(Clone, Copy, Debug, Default)]
pub struct NoPort;

impl ErrorType for NoPort {
    type Error = Infallible;
}

impl Read for NoPort {
    fn read(&mut self, _: &mut [u8]) -> Result<usize, Infallible> {
        Ok(0)
    }
}

impl ReadReady for NoPort {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(false)
    }
}

impl Input for NoPort {}

impl Write for NoPort {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        Ok(bytes.len())
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

impl WriteReady for NoPort {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(true)
    }
}

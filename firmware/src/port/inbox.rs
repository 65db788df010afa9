//! A queue between the interrupt that takes bytes off a port and the main loop that reads them.

use super::Input;
use core::convert::Infallible;
use core::sync::atomic::{AtomicU16, AtomicU32, Ordering};
use embedded_io::{ErrorType, Read, ReadReady};
use heapless::spsc::{Consumer, Producer, Queue};

/// The queue: room for `N - 1` bytes, in a `static`.
///
/// At 115,200 baud a byte comes every 87 µs: 1,024 bytes last for 89 ms, longer than the slowest
/// thing a main loop does while driving (a whole screen over a slow bus, 30 ms).
pub struct Inbox<const N: usize> {
    queue: Queue<u8, N>,
    seen: Seen,
}

/// What the interrupt saw. Written by it alone, so plain loads and stores do, also on cores that
/// have nothing else.
struct Seen {
    lost: AtomicU32,
    most: AtomicU16,
}

impl<const N: usize> Inbox<N> {
    /// An empty queue.
    pub const fn new() -> Self {
        Self {
            queue: Queue::new(),
            seen: Seen {
                lost: AtomicU32::new(0),
                most: AtomicU16::new(0),
            },
        }
    }

    /// The two ends: one for the interrupt, one for the main loop.
    pub fn split(&mut self) -> (InboxWriter<'_>, InboxReader<'_>) {
        let (into, out) = self.queue.split();
        let seen = &self.seen;
        (InboxWriter { into, seen }, InboxReader { out, seen })
    }
}

impl<const N: usize> Default for Inbox<N> {
    fn default() -> Self {
        Self::new()
    }
}

/// The interrupt's end.
pub struct InboxWriter<'a> {
    into: Producer<'a, u8>,
    seen: &'a Seen,
}

impl InboxWriter<'_> {
    /// Puts a byte in; counts it as lost when the queue is full.
    pub fn push(&mut self, byte: u8) {
        if self.into.enqueue(byte).is_err() {
            self.lose();
        }
        let fill = u16::try_from(self.into.len()).unwrap_or(u16::MAX);
        if fill > self.seen.most.load(Ordering::Relaxed) {
            self.seen.most.store(fill, Ordering::Relaxed);
        }
    }

    /// Counts a byte that the hardware lost (an overrun).
    pub fn lose(&mut self) {
        let lost = self.seen.lost.load(Ordering::Relaxed);
        self.seen
            .lost
            .store(lost.saturating_add(1), Ordering::Relaxed);
    }
}

/// The main loop's end.
pub struct InboxReader<'a> {
    out: Consumer<'a, u8>,
    seen: &'a Seen,
}

impl ErrorType for InboxReader<'_> {
    type Error = Infallible;
}

impl Read for InboxReader<'_> {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Infallible> {
        let mut read = 0usize;
        for (place, byte) in bytes
            .iter_mut()
            .zip(core::iter::from_fn(|| self.out.dequeue()))
        {
            *place = byte;
            read = read.saturating_add(1);
        }
        Ok(read)
    }
}

impl ReadReady for InboxReader<'_> {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.out.ready())
    }
}

impl Input for InboxReader<'_> {
    fn lost(&self) -> u32 {
        self.seen.lost.load(Ordering::Relaxed)
    }
    fn most(&self) -> u16 {
        self.seen.most.load(Ordering::Relaxed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_come_out_in_order_and_a_full_queue_counts_what_it_loses() {
        let mut inbox = Inbox::<8>::new();
        let (mut into, mut out) = inbox.split();
        for byte in 0..10 {
            into.push(byte);
        }
        assert_eq!((out.lost(), out.most()), (3, 7));
        let mut bytes = [0; 4];
        assert_eq!(out.read(&mut bytes), Ok(4));
        assert_eq!(bytes, [0, 1, 2, 3]);
        into.push(10);
        into.lose();
        let mut bytes = [0; 9];
        assert_eq!(out.read(&mut bytes), Ok(4));
        assert_eq!(bytes[..4], [4, 5, 6, 10]);
        assert_eq!(out.read_ready(), Ok(false));
        assert_eq!((out.lost(), out.most()), (4, 7));
    }
}

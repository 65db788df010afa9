//! What waits to go out on a port: whole messages or nothing, so that a full queue never cuts one.

use super::Output;
use heapless::Deque;

/// A queue of `N` bytes.
#[derive(Debug, Default)]
pub struct Outbox<const N: usize> {
    bytes: Deque<u8, N>,
    lost: u32,
    most: u16,
}

impl<const N: usize> Outbox<N> {
    /// An empty queue.
    pub const fn new() -> Self {
        Self {
            bytes: Deque::new(),
            lost: 0,
            most: 0,
        }
    }

    /// Takes a whole message, or counts it as lost when it does not fit.
    pub fn push(&mut self, message: &[u8]) {
        let room = N.saturating_sub(self.bytes.len());
        if message.len() > room {
            self.lost = self.lost.saturating_add(1);
            return;
        }
        for byte in message {
            let _ = self.bytes.push_back(*byte);
        }
        let fill = u16::try_from(self.bytes.len()).unwrap_or(u16::MAX);
        self.most = self.most.max(fill);
    }

    /// Hands the port what it can take without waiting; at most what waits now. A port that
    /// answers with an error is tried again the next time.
    pub fn flush<P: Output>(&mut self, port: &mut P) {
        for _ in 0..N {
            if self.bytes.is_empty() || !matches!(port.write_ready(), Ok(true)) {
                return;
            }
            let (next, _) = self.bytes.as_slices();
            match port.write(next) {
                Ok(0) | Err(_) => return,
                Ok(taken) => {
                    for _ in 0..taken.min(N) {
                        let _ = self.bytes.pop_front();
                    }
                }
            }
        }
    }

    /// Messages lost so far.
    pub fn lost(&self) -> u32 {
        self.lost
    }

    /// The most bytes that ever waited.
    pub fn most(&self) -> u16 {
        self.most
    }

    /// Whether nothing waits.
    pub fn is_empty(&self) -> bool {
        self.bytes.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::convert::Infallible;
    use embedded_io::{ErrorType, Write, WriteReady};
    use std::vec::Vec;

    /// Takes three bytes at a time, as long as it has credit.
    #[derive(Default)]
    struct Slow {
        credit: usize,
        sent: Vec<u8>,
    }

    impl ErrorType for Slow {
        type Error = Infallible;
    }
    impl Write for Slow {
        fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
            assert!(
                self.credit > 0 && !bytes.is_empty(),
                "written without being ready"
            );
            let taken = bytes.len().min(3).min(self.credit);
            self.credit -= taken;
            self.sent.extend_from_slice(&bytes[..taken]);
            Ok(taken)
        }
        fn flush(&mut self) -> Result<(), Infallible> {
            Ok(())
        }
    }
    impl WriteReady for Slow {
        fn write_ready(&mut self) -> Result<bool, Infallible> {
            Ok(self.credit > 0)
        }
    }

    #[test]
    fn whole_messages_or_nothing_whatever_the_port_takes() {
        let mut outbox = Outbox::<16>::new();
        let mut port = Slow::default();
        outbox.push(b"0123456789");
        outbox.push(b"too long now");
        outbox.push(b"abcdef");
        assert_eq!((outbox.lost(), outbox.most()), (1, 16));
        for credit in [0, 4, 1, 8] {
            port.credit = credit;
            outbox.flush(&mut port);
        }
        assert_eq!(port.sent, b"0123456789abc");
        outbox.push(b"round the end");
        port.credit = 99;
        outbox.flush(&mut port);
        assert_eq!(port.sent, b"0123456789abcdefround the end");
        assert!(outbox.is_empty());
    }
}

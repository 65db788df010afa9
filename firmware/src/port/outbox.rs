//! What waits to go out on a port: whole messages or nothing, so that a full queue never cuts one.

use super::Output;

/// A queue of `N` bytes, a ring: bytes go in and out of it by the slice, as a message of 250 is one
/// sample's work on a board.
#[derive(Debug)]
pub struct Outbox<const N: usize> {
    bytes: [u8; N],
    /// Where the oldest waiting byte is.
    begin: usize,
    waiting: usize,
    lost: u32,
    most: u16,
}

impl<const N: usize> Default for Outbox<N> {
    fn default() -> Self {
        Self::new()
    }
}

/// A place `step` behind another in a ring of `N`; both less than `N` or just there.
const fn behind<const N: usize>(place: usize, step: usize) -> usize {
    let place = place.saturating_add(step);
    if place >= N {
        place.saturating_sub(N)
    } else {
        place
    }
}

fn copy(to: &mut [u8], from: &[u8]) {
    for (to, from) in to.iter_mut().zip(from) {
        *to = *from;
    }
}

impl<const N: usize> Outbox<N> {
    /// An empty queue.
    pub const fn new() -> Self {
        Self {
            bytes: [0; N],
            begin: 0,
            waiting: 0,
            lost: 0,
            most: 0,
        }
    }

    /// Takes a whole message, or counts it as lost when it does not fit.
    pub fn push(&mut self, message: &[u8]) {
        if message.len() > N.saturating_sub(self.waiting) {
            self.lost = self.lost.saturating_add(1);
            return;
        }
        let end = behind::<N>(self.begin, self.waiting);
        let to_the_end = message.len().min(N.saturating_sub(end));
        let (first, rest) = message.split_at_checked(to_the_end).unwrap_or_default();
        copy(self.bytes.get_mut(end..).unwrap_or_default(), first);
        copy(&mut self.bytes, rest);
        self.waiting = self.waiting.saturating_add(message.len());
        let fill = u16::try_from(self.waiting).unwrap_or(u16::MAX);
        self.most = self.most.max(fill);
    }

    /// Hands the port what it can take without waiting; at most what waits now. A port that
    /// answers with an error is tried again the next time.
    pub fn flush<P: Output>(&mut self, port: &mut P) {
        for _ in 0..N {
            if self.is_empty() || !matches!(port.write_ready(), Ok(true)) {
                return;
            }
            let end = self.begin.saturating_add(self.waiting).min(N);
            let next = self.bytes.get(self.begin..end).unwrap_or_default();
            match port.write(next) {
                Ok(0) | Err(_) => return,
                Ok(taken) => {
                    let taken = taken.min(next.len());
                    self.begin = behind::<N>(self.begin, taken);
                    self.waiting = self.waiting.saturating_sub(taken);
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
        self.waiting == 0
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

//! Queues between the threads of a drive: all bounded, all watched.

use crossbeam_channel::{
    Receiver, RecvTimeoutError, SendTimeoutError, Sender, TrySendError, bounded,
};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering::Relaxed};
use std::time::Duration;

/// What happened in a queue so far.
#[derive(Debug, Default)]
pub struct Gauge {
    peak: AtomicUsize,
    dropped: AtomicU64,
}

impl Gauge {
    /// The most that ever waited.
    pub fn peak(&self) -> usize {
        self.peak.load(Relaxed)
    }

    /// What was dropped because it was full.
    pub fn dropped(&self) -> u64 {
        self.dropped.load(Relaxed)
    }

    fn saw(&self, length: usize) {
        self.peak.fetch_max(length, Relaxed);
    }
}

/// The giving end of a queue whose reader may be slow: when it is full the oldest goes, and
/// nobody waits.
#[derive(Debug)]
pub struct Newest<T> {
    give: Sender<T>,
    take: Receiver<T>,
    gauge: Arc<Gauge>,
    patience: Duration,
}

/// A queue that keeps the newest.
pub fn newest<T>(room: usize) -> (Newest<T>, Receiver<T>) {
    let (give, take) = bounded(room.max(1));
    let gauge = Arc::default();
    let newest = Newest {
        give,
        take: take.clone(),
        gauge,
        patience: Duration::ZERO,
    };
    (newest, take)
}

impl<T> Newest<T> {
    /// Waits this long for room before the oldest goes: for drives whose source can wait, so that
    /// a recording played at full speed gives all its lines.
    pub fn with_patience(mut self, patience: Duration) -> Self {
        self.patience = patience;
        self
    }

    /// Adds one; when there is no room the oldest goes, at once unless there is patience.
    pub fn push(&self, item: T) {
        let mut item = item;
        if !self.patience.is_zero() {
            match self.give.send_timeout(item, self.patience) {
                Ok(()) => {
                    self.gauge.saw(self.give.len());
                    return;
                }
                Err(SendTimeoutError::Timeout(back)) => item = back,
                Err(SendTimeoutError::Disconnected(_)) => return,
            }
        }
        // The reader only takes: one drop makes room, a second turn is for the reader that just
        // took as well.
        for _ in 0..3 {
            match self.give.try_send(item) {
                Ok(()) => {
                    self.gauge.saw(self.give.len());
                    return;
                }
                Err(TrySendError::Full(back)) => {
                    item = back;
                    if self.take.try_recv().is_ok() {
                        self.gauge.dropped.fetch_add(1, Relaxed);
                    }
                }
                Err(TrySendError::Disconnected(_)) => return,
            }
        }
        self.gauge.dropped.fetch_add(1, Relaxed);
    }

    /// What happened in it so far.
    pub fn gauge(&self) -> Arc<Gauge> {
        self.gauge.clone()
    }
}

/// The giving end of a queue that loses nothing as long as its reader keeps up in the mean.
#[derive(Clone, Debug)]
pub struct Whole<T> {
    give: Sender<T>,
    gauge: Arc<Gauge>,
}

/// A queue that loses nothing.
pub fn whole<T>(room: usize) -> (Whole<T>, Receiver<T>) {
    let (give, take) = bounded(room.max(1));
    let gauge = Arc::default();
    (Whole { give, gauge }, take)
}

impl<T> Whole<T> {
    /// Adds one, waiting for room: for sources that can wait. False when nobody reads any more.
    pub fn push(&self, item: T) -> bool {
        let sent = self.give.send(item).is_ok();
        self.gauge.saw(self.give.len());
        sent
    }

    /// Adds one or drops it when there is no room: for sources that cannot wait. False when it was
    /// dropped.
    pub fn try_push(&self, item: T) -> bool {
        let sent = self.give.try_send(item).is_ok();
        if !sent {
            self.gauge.dropped.fetch_add(1, Relaxed);
        }
        self.gauge.saw(self.give.len());
        sent
    }

    /// What happened in it so far.
    pub fn gauge(&self) -> Arc<Gauge> {
        self.gauge.clone()
    }
}

/// What waiting on a queue brought.
#[derive(Debug)]
pub enum Next<T> {
    /// This.
    Item(T),
    /// Nothing in time.
    Quiet,
    /// Nothing ever again.
    End,
}

/// Waits for the next of a queue.
pub fn next<T>(take: &Receiver<T>, wait: Duration) -> Next<T> {
    match take.recv_timeout(wait) {
        Ok(item) => Next::Item(item),
        Err(RecvTimeoutError::Timeout) => Next::Quiet,
        Err(RecvTimeoutError::Disconnected) => Next::End,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stalled_reader_finds_the_newest_and_nobody_waited() {
        let (give, take) = newest(4);
        for i in 0..1000 {
            give.push(i);
        }
        assert_eq!(take.try_iter().collect::<Vec<_>>(), [996, 997, 998, 999]);
        assert_eq!(give.gauge().dropped(), 996);
        assert_eq!(give.gauge().peak(), 4);
    }

    #[test]
    fn a_reader_that_left_holds_nobody_up() {
        let (give, take) = whole(1);
        drop(take);
        assert!(!give.push(1));
        assert!(!give.try_push(2));
    }

    #[test]
    fn what_there_is_no_room_for_is_counted() {
        let (give, take) = whole(2);
        assert!(give.try_push(1) && give.try_push(2) && !give.try_push(3));
        assert_eq!(take.try_iter().collect::<Vec<_>>(), [1, 2]);
        assert_eq!((give.gauge().peak(), give.gauge().dropped()), (2, 1));
    }
}

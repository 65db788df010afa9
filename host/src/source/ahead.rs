//! Reading on a thread of its own, ahead of the work.

use crossbeam_channel::{Receiver, bounded};
use std::vec::IntoIter;

/// Items handed over at once: some fifty microseconds of work, so that handing over costs little
/// beside it, and few enough to stay in a core's cache.
const BATCH: usize = 256;
/// Batches that may wait, so that memory stays flat where reading is the faster of the two.
const WAITING: usize = 4;

/// Works on the items of a source, in their order, while another thread reads on.
pub fn ahead<T: Send, R>(
    mut source: impl Iterator<Item = T> + Send,
    work: impl FnOnce(Ahead<T>) -> R,
) -> R {
    std::thread::scope(|scope| {
        let (to, from) = bounded(WAITING);
        scope.spawn(move || {
            loop {
                let mut batch = Vec::with_capacity(BATCH);
                batch.extend(source.by_ref().take(BATCH));
                let over = batch.len() < BATCH;
                // An error is that the work has ended before the source.
                if to.send(batch).is_err() || over {
                    return;
                }
            }
        });
        work(Ahead {
            from,
            batch: Vec::new().into_iter(),
        })
    })
}

/// What another thread reads.
pub struct Ahead<T> {
    from: Receiver<Vec<T>>,
    batch: IntoIter<T>,
}

impl<T> Iterator for Ahead<T> {
    type Item = T;

    fn next(&mut self) -> Option<T> {
        loop {
            if let Some(item) = self.batch.next() {
                return Some(item);
            }
            self.batch = self.from.recv().ok()?.into_iter();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering::Relaxed};

    #[test]
    fn the_same_items_in_their_order_whatever_their_number() {
        for count in [0, 1, BATCH - 1, BATCH, BATCH + 1, 10 * BATCH + 7] {
            let read = ahead(0..count, |items| items.collect::<Vec<_>>());
            assert!(read.into_iter().eq(0..count), "{count}");
        }
    }

    #[test]
    fn work_that_ends_early_ends_the_reading() {
        assert_eq!(
            ahead(0.., |mut items| items.nth(3 * BATCH)),
            Some(3 * BATCH)
        );
    }

    /// Memory stays flat however long a source is and however slow the work: the batches that
    /// wait, the one worked on and the one being handed over.
    #[test]
    fn it_reads_no_further_than_the_batches_that_may_wait() {
        let read = AtomicUsize::new(0);
        let source = (0..50 * BATCH).inspect(|_| {
            read.fetch_add(1, Relaxed);
        });
        let most = (WAITING + 2) * BATCH;
        ahead(source, |items| {
            for (taken, _) in items.enumerate() {
                if taken == 0 {
                    while read.load(Relaxed) < most {
                        std::thread::yield_now();
                    }
                }
                assert!(read.load(Relaxed) <= taken + most, "at {taken}");
            }
        });
        assert_eq!(read.load(Relaxed), 50 * BATCH);
    }
}

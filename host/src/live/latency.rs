//! How long things took, kept as a histogram of fixed size.

use hdrhistogram::Histogram;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

/// The longest time told apart, microseconds; anything longer counts as this.
const LONGEST_US: u64 = 60_000_000;

/// A histogram that one thread fills and others may look at.
///
/// The filling side never waits: while somebody looks, it keeps a few values aside.
#[derive(Debug)]
pub struct Latency(Mutex<Histogram<u64>>);

/// Median, 99th percentile and count.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Quantiles {
    /// How many were measured.
    pub count: u64,
    /// Half were faster, microseconds.
    pub median_us: u64,
    /// Ninety-nine of a hundred were faster, microseconds.
    pub p99_us: u64,
    /// The slowest, microseconds.
    pub most_us: u64,
}

impl Default for Latency {
    fn default() -> Self {
        let histogram = Histogram::new_with_bounds(1, LONGEST_US, 2);
        Self(Mutex::new(
            histogram.expect("1 µs to a minute with two digits are valid bounds"),
        ))
    }
}

/// Values kept aside while somebody looks at the histogram.
#[derive(Debug, Default)]
pub struct Aside(Vec<u64>);

/// More are never kept: the looker takes microseconds.
const ASIDE_MOST: usize = 256;

impl Latency {
    /// Counts a time without waiting.
    pub fn record(&self, aside: &mut Aside, took: Duration) {
        let us = u64::try_from(took.as_micros()).unwrap_or(LONGEST_US);
        if aside.0.len() < ASIDE_MOST {
            aside.0.push(us);
        }
        if let Ok(mut histogram) = self.0.try_lock() {
            for us in aside.0.drain(..) {
                histogram.saturating_record(us.max(1));
            }
        }
    }

    /// What was measured so far.
    pub fn quantiles(&self) -> Quantiles {
        let h = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        Quantiles {
            count: h.len(),
            median_us: h.value_at_quantile(0.5),
            p99_us: h.value_at_quantile(0.99),
            most_us: h.max(),
        }
    }
}

impl Quantiles {
    /// In words: `median 0.02 ms, 99 % within 0.11 ms, slowest 0.30 ms (of 1200)`.
    pub fn words(&self) -> String {
        if self.count == 0 {
            return "none measured".into();
        }
        let ms = |us: u64| format!("{:.2} ms", us as f64 / 1e3);
        format!(
            "median {}, 99 % within {}, slowest {} (of {})",
            ms(self.median_us),
            ms(self.p99_us),
            ms(self.most_us),
            self.count
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_of_known_times() {
        let latency = Latency::default();
        let mut aside = Aside::default();
        for ms in 1..=100 {
            latency.record(&mut aside, Duration::from_millis(ms));
        }
        let q = latency.quantiles();
        assert_eq!(q.count, 100);
        // Two significant digits: within one percent.
        assert!(q.median_us.abs_diff(50_000) <= 500, "{q:?}");
        assert!(q.p99_us.abs_diff(99_000) <= 990, "{q:?}");
        latency.record(&mut aside, Duration::from_secs(1_000_000));
        latency.record(&mut aside, Duration::ZERO);
        assert_eq!(latency.quantiles().count, 102);
    }
}

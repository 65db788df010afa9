//! Processor time of the thread in place of the clock on the wall: other programs on the machine
//! disturb it little.

use cpu_time::ThreadTime;
use criterion::Criterion;
use criterion::measurement::{Measurement, ValueFormatter, WallTime};
use std::time::Duration;

/// Processor time of the thread that is measured.
pub struct Processor;

impl Measurement for Processor {
    type Intermediate = ThreadTime;
    type Value = Duration;

    fn start(&self) -> ThreadTime {
        ThreadTime::now()
    }

    fn end(&self, begun: ThreadTime) -> Duration {
        begun.elapsed()
    }

    fn add(&self, a: &Duration, b: &Duration) -> Duration {
        *a + *b
    }

    fn zero(&self) -> Duration {
        Duration::ZERO
    }

    fn to_f64(&self, value: &Duration) -> f64 {
        WallTime.to_f64(value)
    }

    fn formatter(&self) -> &dyn ValueFormatter {
        WallTime.formatter()
    }
}

/// Criterion with this clock.
pub fn criterion() -> Criterion<Processor> {
    Criterion::default().with_measurement(Processor)
}

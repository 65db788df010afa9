//! What a drive counts: bytes, samples, refusals by reason, queues, latency.

use super::latency::Latency;
use super::queue::Gauge;
use cuepost_engine::gate::{REFUSALS, Refusal};
use std::sync::atomic::{AtomicU64, Ordering::Relaxed};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Shared by all threads of a drive; nobody waits for it.
#[derive(Debug)]
pub struct Counters {
    /// When the drive began.
    pub began: Instant,
    /// Bytes that came from the source.
    pub bytes: AtomicU64,
    /// Samples the source gave.
    pub samples: AtomicU64,
    /// Samples the recorder could not take; 0 unless the disk stood still for many minutes.
    pub unrecorded: AtomicU64,
    /// Samples in the recording.
    pub recorded: AtomicU64,
    /// How often the source was lost.
    pub unplugged: AtomicU64,
    /// Cues told.
    pub cues: AtomicU64,
    /// Laps closed.
    pub laps: AtomicU64,
    /// Samples the engine's gate refused, by [`Refusal`].
    pub gate: [AtomicU64; REFUSALS],
    /// What the source's decoder refused, by reason.
    decoder: Mutex<Vec<(String, u64)>>,
    /// Queues by name.
    queues: Mutex<Vec<(&'static str, Arc<Gauge>)>>,
    /// Arrival of a sample until the engine was done with it.
    pub engine_latency: Latency,
    /// Arrival of the sample behind a cue until the cue was handed to every sink.
    pub cue_latency: Latency,
    /// Arrival of the sample behind a cue until a page's connection took it.
    pub page_latency: Latency,
    /// Arrival of the sample behind a cue until the serial display's port took it.
    pub display_latency: Latency,
    rate: Mutex<Rate>,
}

/// Samples a second over the last seconds.
#[derive(Debug)]
struct Rate {
    since: Instant,
    samples: u64,
    hz: f64,
}

/// The rate is taken over this long.
const RATE_OVER: Duration = Duration::from_secs(2);

impl Default for Counters {
    fn default() -> Self {
        let began = Instant::now();
        Self {
            began,
            bytes: AtomicU64::default(),
            samples: AtomicU64::default(),
            unrecorded: AtomicU64::default(),
            recorded: AtomicU64::default(),
            unplugged: AtomicU64::default(),
            cues: AtomicU64::default(),
            laps: AtomicU64::default(),
            gate: [const { AtomicU64::new(0) }; REFUSALS],
            decoder: Mutex::default(),
            queues: Mutex::default(),
            engine_latency: Latency::default(),
            cue_latency: Latency::default(),
            page_latency: Latency::default(),
            display_latency: Latency::default(),
            rate: Mutex::new(Rate {
                since: began,
                samples: 0,
                hz: 0.0,
            }),
        }
    }
}

impl Counters {
    /// Registers a queue to be watched.
    pub fn watch(&self, name: &'static str, gauge: Arc<Gauge>) {
        lock(&self.queues).push((name, gauge));
    }

    /// Takes over what the decoder has refused so far.
    pub fn set_decoder(&self, refused: Vec<(String, u64)>) {
        *lock(&self.decoder) = refused;
    }

    /// Takes over what the gate has refused so far.
    pub fn set_gate(&self, refused: &[u32; REFUSALS]) {
        for (mine, theirs) in self.gate.iter().zip(refused) {
            mine.store(u64::from(*theirs), Relaxed);
        }
    }

    /// Everything refused, by reason, without what never happened.
    pub fn refused(&self) -> Vec<(String, u64)> {
        let gate = Refusal::ALL.iter().zip(&self.gate);
        let mut all = lock(&self.decoder).clone();
        all.extend(gate.map(|(why, n)| (why.name().to_owned(), n.load(Relaxed))));
        all.retain(|(_, n)| *n > 0);
        all
    }

    /// Every queue: name, most that ever waited, dropped.
    pub fn queues(&self) -> Vec<(&'static str, usize, u64)> {
        lock(&self.queues)
            .iter()
            .map(|(name, g)| (*name, g.peak(), g.dropped()))
            .collect()
    }

    /// Samples a second, over the last two seconds or so.
    pub fn rate_hz(&self) -> f64 {
        let mut rate = lock(&self.rate);
        let over = rate.since.elapsed();
        if over >= RATE_OVER {
            let samples = self.samples.load(Relaxed);
            rate.hz = samples.saturating_sub(rate.samples) as f64 / over.as_secs_f64();
            rate.samples = samples;
            rate.since = Instant::now();
        }
        rate.hz
    }

    /// Samples a second over the whole drive.
    pub fn mean_rate_hz(&self) -> f64 {
        let seconds = self.began.elapsed().as_secs_f64();
        self.samples.load(Relaxed) as f64 / seconds.max(1e-3)
    }
}

fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_happened_is_told() {
        let c = Counters::default();
        c.set_decoder(vec![("late packet".into(), 3), ("cut".into(), 0)]);
        let mut gate = [0; REFUSALS];
        gate[Refusal::Leap as usize] = 2;
        c.set_gate(&gate);
        let leap = Refusal::Leap.name().to_owned();
        assert_eq!(c.refused(), [("late packet".to_owned(), 3), (leap, 2)]);
    }
}

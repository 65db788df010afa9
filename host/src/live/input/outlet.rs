//! Where a reader puts what it reads: the recorder first, then the engine.

use super::Decode;
use crate::live::counters::Counters;
use crate::live::message::{Arrived, Note, NoteKind, Record, SourceState};
use crate::live::queue::Whole;
use crate::source::kinds_differ;
use cuepost_engine::Sample;
use cuepost_engine::reference::SourceKind;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::sync::{Arc, OnceLock};
use std::time::{Duration, Instant};

/// The giving end of a reader.
#[derive(Clone, Debug)]
pub struct Outlet {
    /// To the engine, which never waits for anybody: giving to it does not take long.
    pub engine: Whole<Arrived>,
    /// To the recorder, if there is one.
    pub recorder: Option<Whole<Record>>,
    /// What is counted.
    pub counters: Arc<Counters>,
    /// Set when the drive is to end.
    pub stop: Arc<AtomicBool>,
    /// A source that can wait loses nothing whatever the disk does; one that cannot must not be
    /// held up by it.
    pub patient: bool,
    /// What kind of source the reference was made from.
    pub made_from: SourceKind,
    /// What kind this one is, once it is known.
    pub kind: Arc<OnceLock<SourceKind>>,
}

impl Outlet {
    /// Whether the drive is to end.
    pub fn stopped(&self) -> bool {
        self.stop.load(Relaxed)
    }

    /// Time since the drive began.
    pub fn now(&self) -> Duration {
        self.counters.began.elapsed()
    }

    /// Hands on a sample.
    pub fn sample(&self, sample: Sample, arrived: Instant) {
        self.counters.samples.fetch_add(1, Relaxed);
        if let Some(recorder) = &self.recorder {
            let taken = if self.patient {
                recorder.push(Record::Sample(sample))
            } else {
                recorder.try_push(Record::Sample(sample))
            };
            if !taken {
                self.counters.unrecorded.fetch_add(1, Relaxed);
            }
        }
        self.engine.push(Arrived::Sample(sample, arrived));
    }

    /// Hands on what a block of bytes, just read, gives.
    pub fn bytes(&self, bytes: &[u8], decode: &mut dyn Decode) {
        let arrived = Instant::now();
        let arrival_us = self.now().as_micros() as u64;
        self.counters.bytes.fetch_add(bytes.len() as u64, Relaxed);
        decode.push(bytes, arrival_us, &mut |s| self.sample(s, arrived));
        self.is_of(decode.source_kind());
        if let Some(why) = decode.fault() {
            self.note(Note::new(NoteKind::Source, why));
        }
    }

    /// Says how the source is.
    pub fn source(&self, state: SourceState) {
        self.engine.push(Arrived::Source(state));
    }

    /// Notes what kind of source this is; warns, once, when the reference was made from another.
    pub fn is_of(&self, kind: SourceKind) {
        if kind == SourceKind::Unknown || self.kind.set(kind).is_err() {
            return;
        }
        if let Some(words) = kinds_differ(self.made_from, kind, "this source is") {
            self.note(Note::new(NoteKind::Source, words));
        }
    }

    /// Says something to the people.
    pub fn note(&self, note: Note) {
        self.engine.push(Arrived::Note(note));
    }

    /// Waits, but not longer than until the drive is to end. False when it is.
    pub fn wait(&self, wait: Duration) -> bool {
        const STEP: Duration = Duration::from_millis(20);
        let until = Instant::now() + wait;
        while !self.stopped() {
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return true;
            }
            std::thread::sleep(left.min(STEP));
        }
        false
    }
}

/// Says yes once a second.
#[derive(Debug, Default)]
pub struct EachSecond(Duration);

impl EachSecond {
    /// Whether a second has gone since the last yes.
    pub fn due(&mut self, now: Duration) -> bool {
        let due = now.saturating_sub(self.0) >= Duration::from_secs(1);
        if due {
            self.0 = now;
        }
        due
    }
}

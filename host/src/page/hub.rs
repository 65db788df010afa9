//! What there is to tell to the pages: a numbered log of what happened, and the newest state.
//!
//! A reader remembers the number it has seen and asks for what follows. Nothing is queued for it,
//! so a reader that stalls holds nothing and nobody up; when it comes back it gets each entry once.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::watch;

/// The most entries kept: a day of driving. A reader that missed more starts afresh.
pub const LOG_MAX: usize = 8192;

/// One thing that happened.
#[derive(Clone, Debug)]
pub struct Entry {
    /// Its number, from 1, without holes.
    pub id: u64,
    /// What it is: the name of the server-sent event.
    pub kind: &'static str,
    /// A JSON object.
    pub json: Arc<str>,
    /// When it was published.
    pub at: Instant,
    /// When the sample that caused it arrived, where one did.
    pub arrived: Option<Instant>,
}

/// What follows the entry a reader saw last.
#[derive(Debug)]
pub enum Since {
    /// These, oldest first; may be none.
    Entries(Vec<Entry>),
    /// The reader is of another run, or missed more than is kept: it must forget what it has and
    /// begin with entry 0.
    Afresh,
}

/// The log and the newest state, shared between who tells and who reads.
#[derive(Debug)]
pub struct Hub {
    run: String,
    inner: Mutex<Inner>,
    changed: watch::Sender<u64>,
}

#[derive(Debug, Default)]
struct Inner {
    log: VecDeque<Entry>,
    last_id: u64,
    now: Option<Arc<str>>,
    now_number: u64,
    ended: bool,
}

impl Hub {
    /// An empty hub. `run` names this run of the program: letters and digits.
    pub fn new(run: String) -> Self {
        Self {
            run,
            inner: Mutex::default(),
            changed: watch::Sender::new(0),
        }
    }

    /// The name of this run.
    pub fn run(&self) -> &str {
        &self.run
    }

    /// Adds an entry.
    pub fn publish(&self, kind: &'static str, json: String, arrived: Option<Instant>) {
        let mut inner = self.lock();
        inner.last_id += 1;
        let entry = Entry {
            id: inner.last_id,
            kind,
            json: json.into(),
            at: Instant::now(),
            arrived,
        };
        if inner.log.len() == LOG_MAX {
            inner.log.pop_front();
        }
        inner.log.push_back(entry);
        drop(inner);
        self.notify();
    }

    /// Replaces the newest state.
    pub fn set_now(&self, json: String) {
        let mut inner = self.lock();
        inner.now = Some(json.into());
        inner.now_number += 1;
        drop(inner);
        self.notify();
    }

    /// Nothing more will come: readers are let go once they have everything.
    pub fn end(&self) {
        self.lock().ended = true;
        self.notify();
    }

    /// Whether nothing more will come.
    pub fn ended(&self) -> bool {
        self.lock().ended
    }

    /// At most `most` entries after the one with this number.
    pub fn since(&self, id: u64, most: usize) -> Since {
        let inner = self.lock();
        let first = inner.log.front().map_or(1, |e| e.id);
        if id > inner.last_id || (id > 0 && id + 1 < first) {
            return Since::Afresh;
        }
        let skip = usize::try_from((id + 1).saturating_sub(first)).unwrap_or(usize::MAX);
        Since::Entries(inner.log.iter().skip(skip).take(most).cloned().collect())
    }

    /// The newest state when it is newer than the one with this number.
    pub fn now_after(&self, number: u64) -> Option<(u64, Arc<str>)> {
        let inner = self.lock();
        let now = inner.now.clone()?;
        (inner.now_number > number).then_some((inner.now_number, now))
    }

    /// Wakes up whenever something changed.
    pub fn changes(&self) -> watch::Receiver<u64> {
        self.changed.subscribe()
    }

    fn notify(&self) {
        self.changed.send_modify(|n| *n = n.wrapping_add(1));
    }

    /// The data is whole even when a holder panicked: every change is one assignment.
    fn lock(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The object with how old it is when it is sent, so that a page never shows an old cue as new.
pub fn with_age(json: &str, age: Duration) -> String {
    match json.strip_suffix('}') {
        Some(open) => format!("{open},\"age_ms\":{}}}", age.as_millis()),
        None => json.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ids(hub: &Hub, after: u64) -> Option<Vec<u64>> {
        match hub.since(after, usize::MAX) {
            Since::Entries(e) => Some(e.iter().map(|e| e.id).collect()),
            Since::Afresh => None,
        }
    }

    #[test]
    fn a_reader_gets_each_entry_once() {
        let hub = Hub::new("r".into());
        assert_eq!(ids(&hub, 0), Some(vec![]));
        for _ in 0..3 {
            hub.publish("lap", "{}".into(), None);
        }
        assert_eq!(ids(&hub, 0), Some(vec![1, 2, 3]));
        assert_eq!(ids(&hub, 2), Some(vec![3]));
        assert_eq!(ids(&hub, 3), Some(vec![]));
        assert_eq!(ids(&hub, 4), None, "a number from another run");
    }

    #[test]
    fn memory_is_bounded_and_a_reader_far_behind_starts_afresh() {
        let hub = Hub::new("r".into());
        for _ in 0..LOG_MAX + 10 {
            hub.publish("cue", "{}".into(), None);
        }
        assert_eq!(hub.lock().log.len(), LOG_MAX);
        assert_eq!(ids(&hub, 10).map(|v| v.len()), Some(LOG_MAX), "just kept");
        assert_eq!(ids(&hub, 9), None, "entry 10 is gone");
        assert_eq!(ids(&hub, 0).map(|v| v[0]), Some(11));
    }

    #[test]
    fn the_age_is_added_to_the_object() {
        let aged = with_age(r#"{"event":"cue","lap":2}"#, Duration::from_millis(1500));
        assert_eq!(aged, r#"{"event":"cue","lap":2,"age_ms":1500}"#);
    }

    #[test]
    fn the_newest_state_replaces_the_one_before() {
        let hub = Hub::new("r".into());
        assert!(hub.now_after(0).is_none());
        hub.set_now("1".into());
        hub.set_now("2".into());
        let (number, json) = hub.now_after(0).expect("there is one");
        assert_eq!(&*json, "2");
        assert!(hub.now_after(number).is_none());
    }
}

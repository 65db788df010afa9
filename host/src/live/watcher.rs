//! The engine's thread: the only place where samples become events.
//!
//! It waits for the reader alone. Everything it gives is given without waiting, so that no
//! display, disk or browser can hold it up.

use super::counters::Counters;
use super::latency::Aside;
use super::message::{Arrived, Now, Said, SourceState};
use super::queue::{Newest, Next, next};
use crate::reference_file::HostReference;
use crossbeam_channel::Receiver;
use cuepost_engine::thresholds::Config;
use cuepost_engine::{Engine, Event, ReferenceView, Sample};
use std::sync::atomic::Ordering::Relaxed;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Displays get the newest state this often.
const NOW_EACH: Duration = Duration::from_millis(50);
/// A source that gives no sample for this long is called silent: a moment longer than what the
/// engine bridges, which itself learns of a gap only from the sample behind it.
const SILENT_AFTER: Duration = Duration::from_millis(600);

/// Everything the engine's thread needs.
pub struct Watcher {
    /// What to hold against.
    pub reference: Arc<HostReference>,
    /// How.
    pub config: Config,
    /// Who is told.
    pub sinks: Vec<Newest<Said>>,
    /// Where things stand.
    pub now: Arc<Mutex<Now>>,
    /// What is counted.
    pub counters: Arc<Counters>,
    /// Source time of the first sample, for sinks that count from it.
    pub start_us: Arc<std::sync::OnceLock<u64>>,
}

struct State {
    engine: Engine,
    now: Now,
    lap_start_us: Option<u64>,
    told_now: Instant,
    heard: Instant,
    aside: Aside,
    cue_aside: Aside,
}

impl Watcher {
    /// Feeds the engine until the reader ends.
    pub fn run(self, take: &Receiver<Arrived>) {
        let mut state = State {
            engine: Engine::new(self.config.clone()),
            now: Now::default(),
            lap_start_us: None,
            told_now: Instant::now(),
            heard: Instant::now(),
            aside: Aside::default(),
            cue_aside: Aside::default(),
        };
        let view = self.reference.view();
        loop {
            match next(take, NOW_EACH) {
                Next::Item(Arrived::Sample(sample, arrived)) => {
                    self.sample(&mut state, &view, &sample, arrived);
                }
                Next::Item(Arrived::Source(source)) => self.source(&mut state, source),
                Next::Item(Arrived::Note(note)) => self.tell(&Said::Note(note)),
                Next::Quiet => {}
                Next::Item(Arrived::End) | Next::End => break,
            }
            if state.now.source == SourceState::Open && state.heard.elapsed() >= SILENT_AFTER {
                self.source(&mut state, SourceState::Silent);
            }
            if state.told_now.elapsed() >= NOW_EACH {
                state.told_now = Instant::now();
                self.set_now(&state.now);
                self.counters.set_gate(state.engine.refused());
            }
        }
        // The last corner waited for what might still have come.
        for event in state.engine.finish(&view) {
            self.tell(&Said::Event(*event, Instant::now()));
        }
        self.counters.set_gate(state.engine.refused());
        self.set_now(&state.now);
    }

    fn sample(
        &self,
        state: &mut State,
        view: &ReferenceView<'_>,
        sample: &Sample,
        arrived: Instant,
    ) {
        let start_us = *self.start_us.get_or_init(|| sample.time_us);
        state.heard = arrived;
        if state.now.source != SourceState::Open {
            self.source(state, SourceState::Open);
        }
        let events = state.engine.feed(view, sample);
        let mut told = false;
        for event in events {
            match event {
                Event::Cue(_) => {
                    told = true;
                    self.counters.cues.fetch_add(1, Relaxed);
                }
                Event::Lap(_) => drop(self.counters.laps.fetch_add(1, Relaxed)),
                _ => {}
            }
            self.tell(&Said::Event(*event, arrived));
        }
        if told {
            let latency = &self.counters.cue_latency;
            latency.record(&mut state.cue_aside, arrived.elapsed());
        }
        self.follow(state, view, sample, start_us);
        self.counters
            .engine_latency
            .record(&mut state.aside, arrived.elapsed());
    }

    /// Where things stand after a sample, for the displays.
    fn follow(&self, state: &mut State, view: &ReferenceView<'_>, sample: &Sample, start_us: u64) {
        let now = &mut state.now;
        (now.state, now.why) = state.engine.health();
        now.time_s = crate::report::json::since(sample.time_us, start_us);
        now.speed_mps = sample.speed_mps.filter(|v| v.is_finite());
        now.position_m = sample.position.and_then(|p| view.frame.locate(p));
        let Some(place) = state.engine.place() else {
            (now.progress_m, now.offset_m, now.gap_s) = (None, None, None);
            state.lap_start_us = None;
            return;
        };
        if place.lap != now.lap {
            state.lap_start_us = None;
        }
        if let Some(crossing) = place.crossing {
            state.lap_start_us = Some(crossing.time_us);
        }
        now.lap = place.lap;
        now.progress_m = Some(place.progress_m);
        now.offset_m = Some(place.offset_m);
        now.corner = corner_at(view, place.progress_m);
        now.gap_s = state.lap_start_us.map(|start| {
            let driven_s = sample.time_us.saturating_sub(start) as f64 * 1e-6;
            (driven_s - f64::from(view.time_s(place.progress_m))) as f32
        });
    }

    fn source(&self, state: &mut State, source: SourceState) {
        if state.now.source == source {
            return;
        }
        state.now.source = source;
        if source == SourceState::Open {
            state.heard = Instant::now();
        }
        self.set_now(&state.now);
        self.tell(&Said::Source(source));
    }

    fn tell(&self, said: &Said) {
        for sink in &self.sinks {
            sink.push(said.clone());
        }
    }

    /// A display that looks just now keeps the older state a moment longer.
    fn set_now(&self, now: &Now) {
        if let Ok(mut slot) = self.now.try_lock() {
            *slot = *now;
        }
    }
}

/// The corner whose stretch of road this is; 0 without corners.
fn corner_at(view: &ReferenceView<'_>, progress_m: f32) -> u8 {
    let behind = |begin_m: f32| view.wrap_m(progress_m - begin_m);
    view.corners
        .iter()
        .zip(1u8..)
        .min_by(|(a, _), (b, _)| behind(a.begin_m).total_cmp(&behind(b.begin_m)))
        .map_or(0, |(_, number)| number)
}

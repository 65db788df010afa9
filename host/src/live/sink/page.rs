//! Hands what was said to the pages' hub.

use super::status;
use crate::live::counters::Counters;
use crate::live::message::{Now, Said};
use crate::live::queue::{Next, next};
use crate::page::Hub;
use crate::reference_file::HostReference;
use crate::report::{Glance, Units, event_json};
use crossbeam_channel::Receiver;
use cuepost_engine::Event;
use serde::Serialize;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::time::{Duration, Instant};

/// The newest state goes out this often.
const NOW_EACH: Duration = Duration::from_millis(100);

/// What the page sink needs.
pub struct PageSink {
    /// Where the pages look.
    pub hub: Arc<Hub>,
    /// For names and landmarks.
    pub reference: Arc<HostReference>,
    /// The driver's units.
    pub units: Units,
    /// Where things stand.
    pub now: Arc<Mutex<Now>>,
    /// What is counted.
    pub counters: Arc<Counters>,
    /// Source time of the first sample.
    pub start_us: Arc<OnceLock<u64>>,
}

#[derive(Serialize)]
struct NowObject {
    time_s: f64,
    lap: u16,
    corner: u8,
    progress_m: Option<f32>,
    offset_m: Option<f32>,
    east_m: Option<f32>,
    north_m: Option<f32>,
    speed_mps: Option<f32>,
    gap_s: Option<f32>,
    state: &'static str,
    why: &'static str,
    source: &'static str,
    facts: Vec<(String, String)>,
}

impl PageSink {
    /// Publishes until the engine ends.
    pub fn run(self, take: &Receiver<Said>) {
        let mut told = Instant::now();
        loop {
            let wait = NOW_EACH.saturating_sub(told.elapsed());
            match next(take, wait) {
                Next::Item(said) => self.publish(said),
                Next::Quiet => {}
                Next::End => break,
            }
            if told.elapsed() >= NOW_EACH {
                told = Instant::now();
                self.publish_now();
            }
        }
        self.publish_now();
    }

    fn publish(&self, said: Said) {
        match said {
            Said::Event(event, arrived) => self.event(&event, arrived),
            Said::Note(note) => {
                let text = serde_json::json!({
                    "event": "note", "about": note.kind.name(), "text": note.text,
                });
                self.hub.publish("note", text.to_string(), None);
            }
            // Told with the newest state, at once.
            Said::Source(_) => self.publish_now(),
        }
    }

    fn event(&self, event: &Event, arrived: Instant) {
        let kind = match event {
            Event::Lap(_) => "lap",
            Event::Corner(_) => "corner",
            Event::Cue(_) => "cue",
            Event::Health(_) => "health",
            Event::Pace(_) => "pace",
            // Only measurements on the way: the corner's facts tell them all.
            Event::Phase(_) => return,
        };
        let start_us = self.start_us.get().copied().unwrap_or(0);
        let view = self.reference.view();
        let mut json = event_json(event, &view, start_us, self.units);
        let mut cause = None;
        if let Event::Cue(cue) = event {
            cause = Some(arrived);
            let glance = serde_json::to_string(&Glance::of(cue, self.units));
            if let (Ok(glance), Some(open)) = (glance, json.strip_suffix('}')) {
                json = format!("{open},\"glance\":{glance}}}");
            }
        }
        self.hub.publish(kind, json, cause);
    }

    fn publish_now(&self) {
        let now = *self.now.lock().unwrap_or_else(PoisonError::into_inner);
        let object = NowObject {
            time_s: now.time_s,
            lap: now.lap,
            corner: now.corner,
            progress_m: now.progress_m,
            offset_m: now.offset_m,
            east_m: now.position_m.map(|p| p.0),
            north_m: now.position_m.map(|p| p.1),
            speed_mps: now.speed_mps,
            gap_s: now.gap_s,
            state: now.state.name(),
            why: now.why.name(),
            source: now.source.name(),
            facts: status::facts(&self.counters),
        };
        if let Ok(json) = serde_json::to_string(&object) {
            self.hub.set_now(json);
        }
    }
}

//! What a board knows and does, apart from its ports.

use super::tell::{Teller, push_message};
use super::{Rooms, Wiring, settings_in};
use crate::output::Output;
use crate::port::Outbox;
use crate::settings::{Settings, Source};
use crate::store::{Part, Store};
use cuepost_engine::reference;
use cuepost_engine::wire::Message;
use cuepost_engine::{Focus, HealthState, Sample, Thresholds, Why};

/// A source silent for this long is gone, microseconds: the screen says so. The engine finds the
/// gap by itself when samples come again.
const SILENT_US: u64 = 1_000_000;
/// Faster than this the car is being driven, m/s: flash stays as it is.
const DRIVING_MPS: f32 = 3.0;

/// Everything behind the ports.
pub(super) struct Inner<'a, W: Wiring> {
    pub outputs: W::Outputs,
    pub store: Store<W::Flash>,
    pub rooms: &'a mut Rooms,
    pub settings: Settings,
    /// CRC-32 of the reference file in use.
    pub reference: Option<u32>,
    /// CRC-32 of the configuration file in use.
    pub config: Option<u32>,
    pub to_computer: Outbox<768>,
    pub to_display: Outbox<384>,
    /// Samples handed to the engine.
    pub fed: u32,
    pub output_faults: u32,
    health: (HealthState, Why),
    /// When the last sample came, on the board's clock, and how fast the car was.
    last: Option<(u64, f32)>,
    /// The source fell silent, and the engine was told that the session is over.
    ended: bool,
    pub now_us: u64,
}

impl<'a, W: Wiring> Inner<'a, W> {
    /// Takes what the store holds into use.
    pub fn new(outputs: W::Outputs, store: Store<W::Flash>, rooms: &'a mut Rooms) -> Self {
        let mut inner = Self {
            settings: settings_in(&store),
            outputs,
            store,
            rooms,
            reference: None,
            config: None,
            to_computer: Outbox::new(),
            to_display: Outbox::new(),
            fed: 0,
            output_faults: 0,
            health: (HealthState::Lost, Why::Searching),
            last: None,
            ended: false,
            now_us: 0,
        };
        inner.load_config();
        inner.load_reference();
        inner
    }

    /// Takes a sample, if it is from the source that is set.
    pub fn sample(&mut self, from: Source, sample: &Sample) {
        if from != self.settings.source {
            return;
        }
        self.last = Some((self.now_us, sample.speed_mps.unwrap_or(0.0)));
        if self.reference.is_none() {
            return;
        }
        self.fed = self.fed.saturating_add(1);
        self.ended = false;
        let Rooms { reference, engine } = &mut *self.rooms;
        engine.feed(&reference.view(), sample);
        self.tell_events();
    }

    /// A board has no end of a recording: a source that has fallen silent is one. The facts of the
    /// last corner, which waited for what might still have come, are told then; should samples come
    /// again, the engine goes on and finds the gap.
    fn end_when_silent(&mut self) {
        let silent = |(at_us, _): (u64, f32)| self.now_us.saturating_sub(at_us) > SILENT_US;
        if !self.ended && self.reference.is_some() && self.last.is_some_and(silent) {
            self.end();
        }
    }

    #[inline(never)]
    fn end(&mut self) {
        self.ended = true;
        let Rooms { reference, engine } = &mut *self.rooms;
        engine.finish(&reference.view());
        self.tell_events();
    }

    /// Tells what the engine said last.
    fn tell_events(&mut self) {
        let mut tell = Teller {
            settings: &self.settings,
            outputs: &mut self.outputs,
            to_computer: &mut self.to_computer,
            to_display: &mut self.to_display,
            health: &mut self.health,
            now_us: self.now_us,
        };
        for event in self.rooms.engine.events() {
            tell.event(event);
        }
    }

    /// Brings the outputs up to now: what they show, and whether cues can be expected.
    #[inline(never)]
    pub fn show(&mut self) {
        self.end_when_silent();
        let (state, why) = self.health_now();
        self.outputs.state(state, why, &self.settings);
        if self.outputs.tick(&self.settings, self.now_us).is_err() {
            self.output_faults = self.output_faults.saturating_add(1);
        }
    }

    /// Sends a message to the computer.
    pub fn tell_computer(&mut self, message: &Message) {
        push_message(&mut self.to_computer, message);
    }

    /// What the engine last said, or that there is nothing to say it about.
    pub fn health_now(&self) -> (HealthState, Why) {
        match self.last {
            Some((at_us, _)) if self.now_us.saturating_sub(at_us) <= SILENT_US => self.health,
            Some(_) => (HealthState::Lost, Why::Gap),
            None => (HealthState::Lost, Why::Searching),
        }
    }

    /// Whether the car is being driven now.
    pub fn driving(&self) -> bool {
        self.last.is_some_and(|(at_us, speed_mps)| {
            speed_mps > DRIVING_MPS && self.now_us.saturating_sub(at_us) <= SILENT_US
        })
    }

    /// Takes the kept configuration into use, or the built-in one.
    pub fn load_config(&mut self) {
        let config = self.rooms.engine.config_mut();
        let kept = self.store.part(Part::Config);
        let read = kept.map(|bytes| config.read(bytes));
        self.config = read.and_then(Result::ok);
        if self.config.is_none() {
            config.thresholds = Thresholds::DEFAULT;
            config.overrides.clear();
            config.focus = Focus::Every;
        }
        self.rooms.engine.restart();
        self.fed = 0;
        self.health = (HealthState::Lost, Why::Searching);
    }

    /// Takes the kept reference into use, or none.
    pub fn load_reference(&mut self) {
        let kept = self.store.part(Part::Reference);
        let loaded = kept.map(|bytes| reference::decode(bytes, &mut self.rooms.reference));
        self.reference = loaded.and_then(Result::ok);
        self.rooms.engine.restart();
        self.fed = 0;
        self.health = (HealthState::Lost, Why::Searching);
    }
}

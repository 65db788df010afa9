//! The main loop of a board as one call: [`Board::step`].
//!
//! A board's own code wires: it hands in its ports, its outputs, its flash and the time, and calls
//! `step` for ever. Everything else is here, where the tests of the host reach it.
//!
//! One step reads at most [`CHUNK`] bytes from each port, so its work is bounded; nothing in it
//! waits for a port. Only what a computer asks for while the car stands may take longer: flash is
//! erased then.

mod serve;
mod tell;
#[cfg(test)]
mod tests;

use crate::output::Output;
use crate::port::{Input, Outbox};
use crate::settings::{Settings, Source};
use crate::store::{Memory, Part, Store};
use cuepost_engine::reference::{self, ReferenceStore};
use cuepost_engine::wire::{Counts, FrameReader, Outcome, Status};
use cuepost_engine::{Config, Engine, HealthState, Sample, Why};

/// The most bytes taken from a port in one step.
pub const CHUNK: usize = 64;
/// A source silent for this long is gone, microseconds: the screen says so. The engine finds the
/// gap by itself when samples come again.
pub const SILENT_US: u64 = 1_000_000;
/// Faster than this the car is being driven, m/s: flash stays as it is.
const DRIVING_MPS: f32 = 3.0;

/// Nodes of the longest reference a board holds: 7.6 km at 5 m.
pub const NODES: usize = 1_536;
/// Corners of the longest reference a board holds.
pub const CORNERS: usize = 32;
/// Landmarks of the longest reference a board holds.
pub const LANDMARKS: usize = 64;
/// A reference in a board's memory.
pub type BoardReference = ReferenceStore<NODES, CORNERS, LANDMARKS>;

/// What a board is made of.
pub trait Wiring {
    /// The port the receiver is on.
    type Receiver: Input;
    /// The port a computer is on.
    type Computer: Input + crate::port::Output;
    /// The port a serial display is on.
    type Display: crate::port::Output;
    /// Lamp, strip, sounder, screen: those it has.
    type Outputs: Output;
    /// The flash the store is in.
    type Flash: Memory;
}

/// The parts of a board, handed to [`Board::new`].
pub struct Parts<W: Wiring> {
    /// The port the receiver is on.
    pub receiver: W::Receiver,
    /// The port a computer is on.
    pub computer: W::Computer,
    /// The port a serial display is on.
    pub display: W::Display,
    /// Lamp, strip, sounder, screen: those it has.
    pub outputs: W::Outputs,
    /// Where reference, configuration and settings are kept.
    pub store: Store<W::Flash>,
}

/// What is large, for boards to put into a `static`.
#[derive(Debug, Default)]
pub struct Rooms {
    /// The reference in use.
    pub reference: BoardReference,
    /// The engine.
    pub engine: Engine,
}

/// Whether a step found anything to do: if not, the board may sleep until the next interrupt.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Activity {
    /// Nothing came in.
    Idle,
    /// Something came in.
    Busy,
}

/// A board.
pub struct Board<'a, W: Wiring> {
    parts: Parts<W>,
    rooms: &'a mut Rooms,
    settings: Settings,
    /// CRC-32 of the reference file in use.
    reference: Option<u32>,
    /// CRC-32 of the configuration file in use.
    config: Option<u32>,
    frames: FrameReader,
    to_computer: Outbox<768>,
    to_display: Outbox<384>,
    /// Samples handed to the engine.
    fed: u32,
    output_faults: u32,
    health: (HealthState, Why),
    /// When the last sample came, on the board's clock, and how fast the car was.
    last: Option<(u64, f32)>,
    now_us: u64,
}

impl<'a, W: Wiring> Board<'a, W> {
    /// A board at power-up: takes what its store holds.
    pub fn new(parts: Parts<W>, rooms: &'a mut Rooms) -> Self {
        let mut board = Self {
            settings: settings_in(&parts.store),
            parts,
            rooms,
            reference: None,
            config: None,
            frames: FrameReader::new(),
            to_computer: Outbox::new(),
            to_display: Outbox::new(),
            fed: 0,
            output_faults: 0,
            health: (HealthState::Lost, Why::Searching),
            last: None,
            now_us: 0,
        };
        board.load_config();
        board.load_reference();
        board
    }

    /// One round of the main loop. `now_us` is the board's clock; it never runs backward.
    pub fn step(&mut self, now_us: u64) -> Activity {
        self.now_us = now_us;
        let mut activity = Activity::Idle;
        let mut chunk = [0; CHUNK];
        for byte in taken(&mut self.parts.receiver, &mut chunk) {
            activity = Activity::Busy;
            self.receiver_byte(*byte);
        }
        for byte in taken(&mut self.parts.computer, &mut chunk) {
            activity = Activity::Busy;
            match self.frames.feed(*byte) {
                Outcome::Nothing => {}
                Outcome::Message(message) => self.serve(message),
                Outcome::Refused(why) => self.refuse_frame(why),
            }
        }
        self.watch();
        if self.parts.outputs.tick(&self.settings, now_us).is_err() {
            self.output_faults = self.output_faults.saturating_add(1);
        }
        self.to_computer.flush(&mut self.parts.computer);
        self.to_display.flush(&mut self.parts.display);
        activity
    }

    /// The settings in use.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// How the board is.
    pub fn status(&self) -> Status {
        let refused = *self.rooms.engine.refused();
        let sum = refused.iter().fold(0u32, |sum, n| sum.saturating_add(*n));
        let (state, why) = self.health_now();
        Status {
            firmware: VERSION,
            uptime_ms: (self.now_us / 1_000) as u32,
            reference: self.reference,
            config: self.config,
            transfer: self.transfer_now(),
            health: state,
            why,
            counts: Counts {
                admitted: self.fed.saturating_sub(sum),
                refused,
                frames: self.frames.accepted(),
                frames_refused: *self.frames.refused(),
                receiver: 0,
                receiver_refused: 0,
                lost_in: self
                    .parts
                    .receiver
                    .lost()
                    .saturating_add(self.parts.computer.lost()),
                lost_out: self
                    .to_computer
                    .lost()
                    .saturating_add(self.to_display.lost()),
                fill_in: self.parts.receiver.most().max(self.parts.computer.most()),
                fill_out: self.to_computer.most().max(self.to_display.most()),
                output_faults: self.output_faults,
            },
        }
    }

    /// Gives the parts back.
    pub fn release(self) -> Parts<W> {
        self.parts
    }

    fn receiver_byte(&mut self, _byte: u8) {}

    /// Takes a sample from the source that is set.
    fn sample(&mut self, from: Source, sample: &Sample) {
        if from != self.settings.source {
            return;
        }
        self.last = Some((self.now_us, sample.speed_mps.unwrap_or(0.0)));
        if self.reference.is_none() {
            return;
        }
        self.fed = self.fed.saturating_add(1);
        let Rooms { reference, engine } = &mut *self.rooms;
        let events = engine.feed(&reference.view(), sample);
        let mut tell = tell::Teller {
            settings: &self.settings,
            outputs: &mut self.parts.outputs,
            to_computer: &mut self.to_computer,
            to_display: &mut self.to_display,
            health: &mut self.health,
            now_us: self.now_us,
        };
        for event in events {
            tell.event(event);
        }
    }

    /// Notices a source that has fallen silent, for outputs that say how the board is.
    fn watch(&mut self) {
        let (state, why) = self.health_now();
        self.parts.outputs.state(state, why, &self.settings);
    }

    /// What the engine last said, or that there is nothing to say it about.
    fn health_now(&self) -> (HealthState, Why) {
        match self.last {
            Some((at_us, _)) if self.now_us.saturating_sub(at_us) <= SILENT_US => self.health,
            Some(_) => (HealthState::Lost, Why::Gap),
            None => (HealthState::Lost, Why::Searching),
        }
    }

    /// Whether the car is being driven now.
    fn driving(&self) -> bool {
        self.last.is_some_and(|(at_us, speed_mps)| {
            speed_mps > DRIVING_MPS && self.now_us.saturating_sub(at_us) <= SILENT_US
        })
    }

    /// Takes the kept configuration into use, or the built-in one.
    fn load_config(&mut self) {
        let kept = self.parts.store.part(Part::Config).map(Config::decode);
        let (config, id) = match kept {
            Some(Ok((config, id))) => (config, Some(id)),
            _ => (Config::default(), None),
        };
        self.config = id;
        self.rooms.engine = Engine::new(config);
        self.fed = 0;
    }

    /// Takes the kept reference into use, or none.
    fn load_reference(&mut self) {
        let kept = self.parts.store.part(Part::Reference);
        let loaded = kept.map(|bytes| reference::decode(bytes, &mut self.rooms.reference));
        self.reference = loaded.and_then(Result::ok);
        self.rooms.engine.restart();
        self.fed = 0;
    }
}

/// Version of this firmware.
const VERSION: (u8, u8, u8) = (
    decimal(env!("CARGO_PKG_VERSION_MAJOR")),
    decimal(env!("CARGO_PKG_VERSION_MINOR")),
    decimal(env!("CARGO_PKG_VERSION_PATCH")),
);

/// A number in text, at compile time.
const fn decimal(text: &str) -> u8 {
    match u8::from_str_radix(text, 10) {
        Ok(number) => number,
        Err(_) => panic!("a version is a small number"),
    }
}

/// The bytes that wait at a port, as many as there is room for. A port that fails has none.
fn taken<'c, P: Input>(port: &mut P, chunk: &'c mut [u8; CHUNK]) -> &'c [u8] {
    let read = match port.read_ready() {
        Ok(true) => port.read(chunk).unwrap_or(0),
        _ => 0,
    };
    chunk.get(..read).unwrap_or(&[])
}

/// The settings a store holds, or those a board begins with: boards need the speed of the
/// receiver's port before they can make it.
pub fn settings_in<F: Memory>(store: &Store<F>) -> Settings {
    store
        .part(Part::Settings)
        .map_or_else(Settings::default, Settings::from_bytes)
}

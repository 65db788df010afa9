//! The main loop of a board as one call: [`Board::step`].
//!
//! A board's own code wires: it hands in its ports, its outputs, its flash and the time, and calls
//! `step` for ever. Everything else is here, where the tests of the host reach it.
//!
//! One step reads at most [`CHUNK`] bytes from each port, so its work is bounded; nothing in it
//! waits for a port. Only what a computer asks for while the car stands may take longer: flash is
//! erased then.

mod inner;
mod serve;
mod tell;
#[cfg(test)]
mod tests;

use self::inner::Inner;
use crate::output::Output;
use crate::port::Input;
use crate::settings::{Settings, Source};
use crate::store::{Memory, Part, Store};
use core::mem::MaybeUninit;
use cuepost_engine::Engine;
use cuepost_engine::receiver::Receiver;
use cuepost_engine::reference::ReferenceStore;
use cuepost_engine::wire::{
    BODY_TO_BOARD_MAX, Counts, FrameReader, Message, Outcome, Query, Status,
};

/// The most bytes taken from a port in one step.
pub const CHUNK: usize = 64;

/// Nodes of the longest reference a board holds: 7.2 km at 4.5 m.
pub const NODES: usize = 1_600;
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

impl Rooms {
    /// Furnishes an empty place, a `static`'s. A call of its own with the place as its argument is
    /// what lets the compiler build the rooms where they are to be and not on the stack.
    #[inline(never)]
    pub fn furnish(place: &mut MaybeUninit<Self>) -> &mut Self {
        place.write(Self::default())
    }
}

/// Whether a step found anything to do: if not, the board may sleep until the next interrupt.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Activity {
    /// Nothing came in.
    Idle,
    /// Something came in.
    Busy,
}

impl Activity {
    fn of(bytes: &[u8]) -> Self {
        if bytes.is_empty() {
            Self::Idle
        } else {
            Self::Busy
        }
    }

    /// That of two ports.
    fn and(self, other: Self) -> Self {
        match self {
            Self::Busy => Self::Busy,
            Self::Idle => other,
        }
    }
}

/// A board.
pub struct Board<'a, W: Wiring> {
    receiver: W::Receiver,
    computer: W::Computer,
    display: W::Display,
    decoder: Receiver,
    frames: FrameReader<BODY_TO_BOARD_MAX, true>,
    inner: Inner<'a, W>,
}

impl<'a, W: Wiring> Board<'a, W> {
    /// A board at power-up: takes what its store holds.
    pub fn new(parts: Parts<W>, rooms: &'a mut Rooms) -> Self {
        Self {
            receiver: parts.receiver,
            computer: parts.computer,
            display: parts.display,
            decoder: Receiver::default(),
            frames: FrameReader::new(),
            inner: Inner::new(parts.outputs, parts.store, rooms),
        }
    }

    /// One round of the main loop. `now_us` is the board's clock; it never runs backward.
    pub fn step(&mut self, now_us: u64) -> Activity {
        self.inner.now_us = now_us;
        let mut activity = Activity::Idle;
        if waits(&mut self.receiver) {
            activity = self.read_receiver();
        }
        if waits(&mut self.computer) {
            activity = activity.and(self.read_computer());
        }
        self.inner.show();
        self.inner.to_computer.flush(&mut self.computer);
        self.inner.to_display.flush(&mut self.display);
        activity
    }

    /// Takes what the receiver has sent. Like [`Self::read_computer`]
    /// a call of its own: what each needs of the stack is free again behind it.
    #[inline(never)]
    fn read_receiver(&mut self) -> Activity {
        let mut chunk = [0; CHUNK];
        let bytes = taken(&mut self.receiver, &mut chunk);
        let inner = &mut self.inner;
        self.decoder
            .push_slice(bytes, |sample| inner.sample(Source::Receiver, &sample));
        Activity::of(bytes)
    }

    /// Takes what the computer has sent.
    #[inline(never)]
    fn read_computer(&mut self) -> Activity {
        let mut chunk = [0; CHUNK];
        let bytes = taken(&mut self.computer, &mut chunk);
        for byte in bytes {
            if self.frames.take(*byte) {
                self.serve_frame();
            }
        }
        Activity::of(bytes)
    }

    /// Reads the frame that has ended and does what it asks for.
    #[inline(never)]
    fn serve_frame(&mut self) {
        let read = self.frames.end();
        match &read {
            Outcome::Nothing => {}
            Outcome::Message(Message::Query(Query::Status)) => self.tell_status(),
            Outcome::Message(message) => self.inner.serve(message),
            Outcome::Refused(why) => self.inner.refuse_frame(*why),
        }
    }

    #[inline(never)]
    fn tell_status(&mut self) {
        let status = Message::Status(self.status());
        self.inner.tell_computer(&status);
    }

    /// The settings in use.
    pub fn settings(&self) -> &Settings {
        &self.inner.settings
    }

    /// How the board is.
    pub fn status(&self) -> Status {
        let inner = &self.inner;
        let received = self.decoder.counts();
        let good = [received.rmc, received.gga, received.vtg, received.pvt];
        let refused = *inner.rooms.engine.refused();
        let (health, why) = inner.health_now();
        Status {
            firmware: VERSION,
            uptime_ms: (inner.now_us / 1_000) as u32,
            reference: inner.reference,
            config: inner.config,
            transfer: inner.transfer_now(),
            health,
            why,
            counts: Counts {
                admitted: inner.fed.saturating_sub(sum(&refused)),
                refused,
                frames: self.frames.accepted(),
                frames_refused: *self.frames.refused(),
                receiver: sum(&good),
                receiver_refused: received.refused_total(),
                lost_in: self.receiver.lost().saturating_add(self.computer.lost()),
                lost_out: inner
                    .to_computer
                    .lost()
                    .saturating_add(inner.to_display.lost()),
                fill_in: self.receiver.most().max(self.computer.most()),
                fill_out: inner.to_computer.most().max(inner.to_display.most()),
                output_faults: inner.output_faults,
            },
        }
    }

    /// Gives the parts back.
    pub fn release(self) -> Parts<W> {
        Parts {
            receiver: self.receiver,
            computer: self.computer,
            display: self.display,
            outputs: self.inner.outputs,
            store: self.inner.store,
        }
    }
}

fn sum(counts: &[u32]) -> u32 {
    counts.iter().fold(0, |sum, n| sum.saturating_add(*n))
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

/// Whether bytes wait at a port. A port that fails has none.
fn waits<P: Input>(port: &mut P) -> bool {
    matches!(port.read_ready(), Ok(true))
}

/// The bytes that wait at a port, as many as there is room for.
fn taken<'c, P: Input>(port: &mut P, chunk: &'c mut [u8; CHUNK]) -> &'c [u8] {
    let read = port.read(chunk).unwrap_or(0);
    chunk.get(..read).unwrap_or(&[])
}

/// The settings a store holds, or those a board begins with: boards need the speed of the
/// receiver's port before they can make it.
pub fn settings_in<F: Memory>(store: &Store<F>) -> Settings {
    store
        .part(Part::Settings)
        .map_or_else(Settings::default, Settings::from_bytes)
}

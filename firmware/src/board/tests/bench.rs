//! A board on a bench: ports that are queues in memory, a strict flash, outputs that write down
//! what they are told.

use crate::board::{Board, Parts, Wiring};
use crate::output::{Output, OutputFault};
use crate::port::Input;
use crate::settings::Settings;
use crate::store::strict_flash::StrictFlash;
use crate::store::{Region, Store};
use core::convert::Infallible;
use cuepost_engine::reference::{self, ReferenceStore};
use cuepost_engine::wire::{Answer, FRAME_MAX, FrameReader, Message, Outcome, encode};
use cuepost_engine::{Cue, Frame, HealthState, Node, Why};
use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};
use std::boxed::Box;
use std::cell::RefCell;
use std::collections::VecDeque;
use std::rc::Rc;
use std::vec;
use std::vec::Vec;

/// A port; clones are the same one.
#[derive(Clone)]
pub struct Port(Rc<RefCell<Ends>>);

struct Ends {
    incoming: VecDeque<u8>,
    outgoing: Vec<u8>,
    /// Bytes it takes before it is full.
    credit: usize,
}

impl Port {
    pub fn new() -> Self {
        Self(Rc::new(RefCell::new(Ends {
            incoming: VecDeque::new(),
            outgoing: Vec::new(),
            credit: usize::MAX,
        })))
    }

    pub fn send(&self, bytes: &[u8]) {
        self.0.borrow_mut().incoming.extend(bytes);
    }

    /// What came out since the last time.
    pub fn take(&self) -> Vec<u8> {
        core::mem::take(&mut self.0.borrow_mut().outgoing)
    }

    pub fn set_credit(&self, bytes: usize) {
        self.0.borrow_mut().credit = bytes;
    }

    pub fn drained(&self) -> bool {
        self.0.borrow().incoming.is_empty()
    }
}

impl ErrorType for Port {
    type Error = Infallible;
}
impl ReadReady for Port {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(!self.drained())
    }
}
impl Read for Port {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Infallible> {
        let mut ends = self.0.borrow_mut();
        assert!(!ends.incoming.is_empty(), "a read that would wait");
        let len = bytes.len().min(ends.incoming.len());
        for place in &mut bytes[..len] {
            *place = ends.incoming.pop_front().unwrap();
        }
        Ok(len)
    }
}
impl Input for Port {}
impl WriteReady for Port {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.borrow().credit > 0)
    }
}
impl Write for Port {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        let mut ends = self.0.borrow_mut();
        assert!(ends.credit > 0, "a write that would wait");
        let len = bytes.len().min(ends.credit);
        ends.credit -= len;
        ends.outgoing.extend_from_slice(&bytes[..len]);
        Ok(len)
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// What the outputs were told.
#[derive(Clone, Default)]
pub struct Notes(Rc<RefCell<Told>>);

#[derive(Default)]
struct Told {
    cues: Vec<Cue>,
    state: Option<(HealthState, Why)>,
}

impl Notes {
    pub fn state(&self) -> Option<(HealthState, Why)> {
        self.0.borrow().state
    }

    pub fn cues(&self) -> Vec<Cue> {
        self.0.borrow().cues.clone()
    }
}

impl Output for Notes {
    fn show(&mut self, cue: &Cue, _: &Settings, _: u64) {
        self.0.borrow_mut().cues.push(*cue);
    }
    fn state(&mut self, state: HealthState, why: Why, _: &Settings) {
        self.0.borrow_mut().state = Some((state, why));
    }
    fn tick(&mut self, _: &Settings, _: u64) -> Result<(), OutputFault> {
        Ok(())
    }
}

pub type Flash = StrictFlash<4, 4096>;

pub struct OnBench;

impl Wiring for OnBench {
    type Receiver = Port;
    type Computer = Port;
    type Display = Port;
    type Outputs = Notes;
    type Flash = Flash;
}

const REGION: Region = Region {
    begin: 0,
    slot_bytes: 16_384,
};

/// The board and the far ends of its ports.
pub struct Bench {
    pub board: Board<'static, OnBench>,
    pub receiver: Port,
    pub computer: Port,
    pub notes: Notes,
    pub now_us: u64,
    answers: FrameReader,
}

impl Bench {
    pub fn new() -> Self {
        Self::with(Flash::new(2 * 16_384))
    }

    pub fn with(flash: Flash) -> Self {
        let (receiver, computer) = (Port::new(), Port::new());
        let notes = Notes::default();
        let parts = Parts {
            receiver: receiver.clone(),
            computer: computer.clone(),
            display: Port::new(),
            outputs: notes.clone(),
            store: Store::open(flash, REGION).unwrap(),
        };
        Self {
            board: Board::new(parts, Box::leak(Box::default())),
            receiver,
            computer,
            notes,
            now_us: 0,
            answers: FrameReader::new(),
        }
    }

    /// Power off and on again.
    pub fn again(self) -> Self {
        Self::with(self.board.release().store.release().power_up())
    }

    /// Steps until everything sent is read, a millisecond each.
    pub fn run(&mut self) {
        while !self.computer.drained() || !self.receiver.drained() {
            self.now_us += 1_000;
            self.board.step(self.now_us);
        }
        self.board.step(self.now_us);
    }

    /// Sends a message and returns what the board says to it.
    pub fn ask(&mut self, message: &Message) -> Vec<Message> {
        self.computer.send(&frame(message));
        self.run();
        self.heard()
    }

    /// Messages since the last time; a frame that cannot be read fails the test.
    pub fn heard(&mut self) -> Vec<Message> {
        let mut messages = vec![];
        for byte in self.computer.take() {
            match self.answers.feed(byte) {
                Outcome::Nothing => {}
                Outcome::Message(message) => messages.push(message),
                Outcome::Refused(why) => panic!("the board sent something broken: {why:?}"),
            }
        }
        messages
    }

    /// The one answer to a message that is answered.
    pub fn answer(&mut self, message: &Message) -> Answer {
        match &self.ask(message)[..] {
            [Message::Ack(ack)] => {
                assert_eq!(ack.kind, message.kind() as u8);
                ack.answer
            }
            other => panic!("{other:?}"),
        }
    }
}

pub fn frame(message: &Message) -> Vec<u8> {
    let mut bytes = vec![0; FRAME_MAX];
    let len = encode(message, &mut bytes).unwrap();
    bytes.truncate(len);
    bytes
}

/// The file of a reference: a ring of a radius in metres, driven anticlockwise at 30 m/s.
pub fn ring(radius_m: f64) -> Vec<u8> {
    let mut store = Box::new(ReferenceStore::<512, 4, 4>::new());
    let length_m = radius_m * core::f64::consts::TAU;
    let count = (length_m / 5.0) as usize;
    store.frame = Frame::Local {
        east_mm: 0,
        north_mm: 0,
    };
    store.spacing_m = (length_m / count as f64) as f32;
    for i in 0..count {
        let turned = i as f64 / count as f64;
        let angle = turned * core::f64::consts::TAU;
        let node = Node {
            east_mm: (radius_m * 1e3 * angle.cos()).round() as i32,
            north_mm: (radius_m * 1e3 * angle.sin()).round() as i32,
            time_ms: (turned * length_m / 30.0 * 1e3).round() as u32,
            speed_cmps: 3_000,
            curvature_e5: (1e5 / radius_m).round() as i16,
        };
        store.nodes.push(node).unwrap();
    }
    store.session.lap_time_us = (length_m / 30.0 * 1e6) as u64;
    store.session.rate_hz = 25.0;
    let mut bytes = vec![0; 16_384];
    let len = reference::encode(&store.view(), &mut bytes).unwrap();
    bytes.truncate(len);
    bytes
}

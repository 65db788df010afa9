//! What the host says to the same bytes: its decoders, its engine, its encoder, and no board.

use cuepost_engine::receiver::Receiver;
use cuepost_engine::wire::text::{LINE_END, SpeedUnit, line};
use cuepost_engine::wire::{FRAME_MAX, FrameReader, Message, Outcome, encode};
use cuepost_engine::{Config, Engine, Event, Sample, reference};
use cuepost_host::reference_file::HostReference;

/// The samples in a receiver's bytes.
pub fn received(bytes: &[u8]) -> Vec<Sample> {
    let mut samples = Vec::new();
    Receiver::default().push_slice(bytes, |sample| samples.push(sample));
    samples
}

/// The samples in wire frames.
pub fn framed(bytes: &[u8]) -> Vec<Sample> {
    let mut reader = FrameReader::<{ cuepost_engine::wire::BODY_MAX }>::new();
    let samples = bytes.iter().filter_map(|byte| match reader.feed(*byte) {
        Outcome::Message(Message::Sample(sample)) => Some(sample),
        _ => None,
    });
    samples.collect()
}

/// The engine's events for some samples.
pub fn events(reference: &[u8], samples: &[Sample]) -> Vec<Event> {
    let told = told(reference, samples);
    told.into_iter().map(|(_, event)| event).collect()
}

/// The same, each with the number of the sample that it was told after, from 0.
pub fn told(reference: &[u8], samples: &[Sample]) -> Vec<(usize, Event)> {
    let mut store = Box::new(HostReference::new());
    reference::decode(reference, &mut store).expect("a whole reference");
    let view = store.view();
    let mut engine = Engine::new(Config::default());
    let mut told = Vec::new();
    for (number, sample) in samples.iter().enumerate() {
        let events = engine.feed(&view, sample);
        told.extend(events.iter().map(|event| (number, *event)));
    }
    told
}

/// Events as a computer gets them.
pub fn frames(events: &[Event]) -> Vec<u8> {
    let mut bytes = Vec::new();
    for event in events {
        let mut frame = [0; FRAME_MAX];
        let len = encode(&Message::from(*event), &mut frame).expect("events in range");
        bytes.extend_from_slice(&frame[..len]);
    }
    bytes
}

/// Events as a display that reads text gets them.
pub fn lines(events: &[Event]) -> String {
    let lines = events
        .iter()
        .filter_map(|event| line(event, SpeedUnit::Kmh));
    lines.map(|line| format!("{line}{LINE_END}")).collect()
}

//! Our own frames, alone and as recordings.

use cuepost_engine::check::Check;
use cuepost_engine::wire::frame::crc32;
use cuepost_engine::wire::{
    BODY_MAX, FRAME_MAX, FrameReader, Message, Outcome, VERSION, encode, frame,
};
use cuepost_host::record::{Reader, looks_like};

/// What is accepted is in range and is the one spelling of its message; a frame behind any bytes
/// is read; a recording of any bytes ends.
pub fn wire(data: &[u8]) {
    stream(data);
    sealed(data);
    recording(data);
}

fn stream(data: &[u8]) {
    let mut frames = FrameReader::<BODY_MAX>::new();
    for &byte in data {
        if let Outcome::Message(message) = frames.feed(byte) {
            assert_eq!(message.check(), Ok(()), "{message:?}");
        }
    }
    let after = Message::Query(cuepost_engine::wire::Query::Status);
    let mut out = [0; FRAME_MAX];
    let n = encode(&after, &mut out).expect("valid");
    let mut last = Outcome::Nothing;
    for &byte in &out[..n] {
        last = frames.feed(byte);
    }
    assert_eq!(last, Outcome::Message(after));
}

/// The bytes as kind and payload, with a checksum that fits: only then is more than it looked at.
fn sealed(data: &[u8]) {
    let mut body = vec![VERSION];
    body.extend_from_slice(&data[..data.len().min(BODY_MAX - 5)]);
    let crc = crc32(&body);
    body.extend_from_slice(&crc.to_le_bytes());
    let Ok(message) = frame::decode_body(&body) else {
        return;
    };
    assert_eq!(message.check(), Ok(()));
    let mut out = [0; FRAME_MAX];
    let n = encode(&message, &mut out).expect("what was read can be sent");
    let mut frames = FrameReader::<BODY_MAX>::new();
    let mut again = Outcome::Nothing;
    for &byte in &out[..n] {
        again = frames.feed(byte);
    }
    assert_eq!(again, Outcome::Message(message));
}

fn recording(data: &[u8]) {
    looks_like(data);
    let mut reader = Reader::new(data);
    let mut count = 0;
    while let Some(read) = reader.next_message() {
        count += 1;
        assert!(count <= data.len() + 2, "it never ends");
        if let Ok(message) = read {
            assert_eq!(message.check(), Ok(()));
        }
    }
    assert!(reader.at() <= data.len() as u64);
}

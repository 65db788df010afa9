//! A stream with malformed COBS, restated from faults of other decoders (number 17 in
//! `tests/data/faults/README.md`): a code byte that promises more than there is, lone delimiters,
//! an empty frame, a long run without a delimiter, glued frames, a flip that is still good COBS.

use crate::messages::frame;
use cuepost_engine::wire::cobs::Decoder;
use cuepost_engine::wire::*;

const STREAM: &[u8] = include_bytes!("../data/faults/17_cobs_stream.bin");

/// The stream's own frames are two numbers and a zero, without a checksum: only COBS can be told.
#[test]
fn fault_17_the_unframed_decoder_stays_in_step() {
    let mut whole = Vec::new();
    let mut cut = 0;
    for piece in STREAM.split(|b| *b == 0).filter(|p| !p.is_empty()) {
        let mut decoder = Decoder::default();
        let body: Vec<u8> = piece.iter().filter_map(|b| decoder.push(*b)).collect();
        match body[..] {
            _ if !decoder.complete() => cut += 1,
            [a, b, 0] => whole.push((a, b)),
            _ => cut += 1,
        }
    }
    // (7, 4) is the flip of (5, 4) that only a checksum can tell.
    assert_eq!(whole, [(6, 2), (7, 4), (7, 3)]);
    assert!(cut >= 5, "{cut}");
}

#[test]
fn fault_17_none_of_it_is_a_message_and_the_next_frame_is_read() {
    let mut reader = FrameReader::<64>::new();
    let message = Message::Query(Query::Status);
    let mut read = Vec::new();
    for byte in STREAM.iter().chain(&frame(&message)) {
        match reader.feed(*byte) {
            Outcome::Message(m) => read.push(m),
            Outcome::Refused(_) | Outcome::Nothing => {}
        }
    }
    assert_eq!(read, [message]);
    // By reason: one run longer than the reader; glued boot text, `02`, `05 11 22` and the glued
    // half frame end too soon; the empty frame and the four good ones of three bytes are too
    // short to hold a checksum.
    let [overlong, cut, short, checksum, rest @ ..] = *reader.refused();
    assert_eq!((overlong, checksum, rest), (1, 0, [0; 4]));
    assert_eq!(cut + short, 8, "cut {cut}, short {short}");
}

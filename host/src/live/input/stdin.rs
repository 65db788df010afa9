//! Reads a pipe. What comes through it can wait, so nothing is ever dropped.

use super::decode::Decode;
use super::outlet::{EachSecond, Outlet};
use crate::live::message::{Note, NoteKind, SourceState};
use std::io::{ErrorKind, Read};
use std::time::Instant;

/// Bytes read at once.
const BLOCK: usize = 1 << 14;

/// Reads until the pipe ends or the drive is to end.
pub fn read(mut input: impl Read, mut decode: Box<dyn Decode>, out: &Outlet) {
    let mut buffer = vec![0; BLOCK];
    let mut second = EachSecond::default();
    while !out.stopped() {
        match input.read(&mut buffer) {
            Ok(0) => break,
            Ok(n) => {
                out.bytes(buffer.get(..n).unwrap_or_default(), decode.as_mut());
            }
            Err(e) if e.kind() == ErrorKind::Interrupted => {}
            Err(e) => {
                out.note(Note::new(NoteKind::Source, format!("standard input: {e}")));
                break;
            }
        }
        if second.due(out.now()) {
            out.counters.set_decoder(decode.refused());
        }
    }
    decode.end(&mut |s| out.sample(s, Instant::now()));
    out.counters.set_decoder(decode.refused());
    out.source(SourceState::Ended);
}

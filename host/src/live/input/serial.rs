//! Reads a serial port for as long as the drive lasts, through any number of unplugged cables.

use super::decode::Decode;
use super::line_watch::LineWatch;
use super::outlet::{EachSecond, Outlet};
use crate::live::message::{Note, NoteKind, SourceState};
use crate::live::port::{Bus, Got, Link};
use std::sync::atomic::{AtomicU64, Ordering::Relaxed};
use std::time::Instant;

/// Bytes read at once.
const BLOCK: usize = 4096;

/// Reads until the drive is to end.
pub fn read<B: Bus>(mut link: Link<B>, baud: u32, mut decode: Box<dyn Decode>, out: &Outlet) {
    let mut buffer = [0; BLOCK];
    let mut watch = LineWatch::new(baud);
    let mut second = EachSecond::default();
    while !out.stopped() {
        match link.read(out.now(), &mut buffer) {
            Got::Bytes(n) => {
                out.bytes(buffer.get(..n).unwrap_or_default(), decode.as_mut());
            }
            Got::Quiet => {}
            Got::Gone(why) => {
                decode.broken();
                out.counters.unplugged.fetch_add(1, Relaxed);
                out.source(SourceState::Gone);
                let text = format!("{}: unplugged ({why}); waiting for it", link.path());
                out.note(Note::new(NoteKind::Source, text));
            }
            Got::Away { wait, why } => {
                if let Some(fault) = why {
                    let text = format!("{}: {fault}; still trying", link.path());
                    out.note(Note::new(NoteKind::Source, text));
                }
                if !out.wait(wait) {
                    break;
                }
                continue;
            }
            Got::Back(path) => {
                out.source(SourceState::Open);
                out.note(Note::new(NoteKind::Source, format!("{path}: back")));
            }
        }
        let (bytes, samples) = (count(&out.counters.bytes), count(&out.counters.samples));
        if let Some(verdict) = watch.look(out.now(), bytes, decode.damaged(), samples) {
            out.note(Note::new(NoteKind::Line, watch.words(verdict)));
        }
        if second.due(out.now()) {
            out.counters.set_decoder(decode.refused());
        }
    }
    decode.end(&mut |s| out.sample(s, Instant::now()));
    out.counters.set_decoder(decode.refused());
}

fn count(counter: &AtomicU64) -> u64 {
    counter.load(Relaxed)
}

//! The recorder's thread: writes every sample, whatever the displays do.

use super::counters::Counters;
use super::message::{Arrived, Note, NoteKind, Record};
use super::queue::{Next, Whole, next};
use crate::record::{Target, Writer};
use crossbeam_channel::Receiver;
use std::io;
use std::sync::atomic::Ordering::Relaxed;
use std::time::Duration;

/// The recorder's queue: more than 20 minutes at 100 samples a second.
pub const ROOM: usize = 1 << 17;
/// When nothing comes, what is written is handed to the system after this.
const IDLE_FLUSH: Duration = Duration::from_millis(200);

/// How a recording ended.
#[derive(Debug)]
pub struct Ended {
    /// Samples that are not in it because the disk stayed full.
    pub lost: u64,
    /// Whether the last of it reached the disk.
    pub finish: io::Result<()>,
}

/// Writes samples until the drive is over.
pub fn run<T: Target>(
    mut writer: Writer<T>,
    take: &Receiver<Record>,
    counters: &Counters,
    notes: &Whole<Arrived>,
) -> Ended {
    let mut trouble = Trouble::default();
    let mut dirty = false;
    loop {
        match next(take, IDLE_FLUSH) {
            Next::Item(Record::Sample(sample)) => {
                let result = writer.sample(&sample);
                dirty = true;
                counters.recorded.fetch_add(1, Relaxed);
                trouble.see(result, notes);
            }
            Next::Quiet if dirty => {
                let result = writer.flush();
                dirty = result.is_err();
                trouble.see(result, notes);
            }
            Next::Quiet => {}
            Next::Item(Record::End) | Next::End => break,
        }
    }
    let lost = writer.lost();
    let finish = writer.finish().map(drop);
    // What was lost may include the header, which is no sample.
    let all = counters.recorded.load(Relaxed);
    counters.recorded.store(all.saturating_sub(lost), Relaxed);
    Ended { lost, finish }
}

/// Tells of trouble once, and when it is over.
#[derive(Debug, Default)]
struct Trouble(Option<io::ErrorKind>);

impl Trouble {
    fn see(&mut self, result: io::Result<()>, notes: &Whole<Arrived>) {
        let kind = result.as_ref().err().map(io::Error::kind);
        if kind == self.0 {
            return;
        }
        self.0 = kind;
        let text = match result {
            Err(e) if e.kind() == io::ErrorKind::StorageFull => {
                "the disk is full: make room; the drive goes on, and recording as soon as it can"
                    .to_owned()
            }
            Err(e) => format!("the recording cannot be written: {e}; the drive goes on"),
            Ok(()) => "the recording goes on".to_owned(),
        };
        // The engine takes from its queue without waiting for anybody, so this does not take long.
        notes.push(Arrived::Note(Note::new(NoteKind::Recording, text)));
    }
}

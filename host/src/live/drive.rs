//! Puts the threads of a drive together and takes them apart again.

use super::counters::Counters;
use super::input::Outlet;
use super::message::{Arrived, Now, Record, Said};
use super::queue::{self, Newest};
use super::recorder::{self, Ended};
use super::watcher::Watcher;
use crate::record::{Target, Writer};
use crate::reference_file::HostReference;
use crossbeam_channel::Receiver;
use cuepost_engine::thresholds::Config;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::sync::{Arc, Mutex, OnceLock};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// The queue from the reader to the engine.
const ENGINE_ROOM: usize = 1024;
/// The queue to each sink: several laps of events.
const SINK_ROOM: usize = 1024;
/// How long sinks may take to finish at the end; then they are left behind.
const SINK_PATIENCE: Duration = Duration::from_secs(2);
/// How often the end is looked for.
const LOOK_EACH: Duration = Duration::from_millis(20);

/// Reads the source until it ends or the drive is to end.
pub type Reader = Box<dyn FnOnce(&Outlet) + Send>;
/// Shows what is said until nothing more comes.
pub type Sink = Box<dyn FnOnce(Receiver<Said>) + Send>;

/// What all parts of a drive share.
#[derive(Clone, Debug)]
pub struct Shared {
    /// What is held against.
    pub reference: Arc<HostReference>,
    /// Where things stand.
    pub now: Arc<Mutex<Now>>,
    /// What is counted.
    pub counters: Arc<Counters>,
    /// Source time of the first sample.
    pub start_us: Arc<OnceLock<u64>>,
    /// Set to end the drive.
    pub stop: Arc<AtomicBool>,
}

impl Shared {
    /// Before a drive with this reference.
    pub fn new(reference: Arc<HostReference>, stop: Arc<AtomicBool>) -> Self {
        Self {
            reference,
            now: Arc::default(),
            counters: Arc::default(),
            start_us: Arc::default(),
            stop,
        }
    }
}

/// A drive, ready to begin.
pub struct Drive<T: Target + Send + 'static> {
    /// What all parts share.
    pub shared: Shared,
    /// Thresholds.
    pub config: Config,
    /// The source.
    pub reader: Reader,
    /// Whether the source can wait, as a file can: then nothing is ever dropped.
    pub patient: bool,
    /// Whether the reader may be stuck in a read that nothing ends, as on standard input.
    pub may_hang: bool,
    /// The recording.
    pub recording: Option<Writer<T>>,
    /// Who is told, each with a name for the summary.
    pub sinks: Vec<(&'static str, Sink)>,
    /// Gets the way to tell the people something, before anything runs.
    pub notes: Option<NoteWay>,
}

/// Takes the engine's queue, for sinks that have something to say themselves.
pub type NoteWay = Box<dyn FnOnce(queue::Whole<Arrived>)>;

/// What became of a drive.
#[derive(Debug)]
pub struct Outcome {
    /// How the recording ended, if there was one.
    pub recording: Option<Ended>,
    /// Sinks that had not finished when the drive was over.
    pub left_behind: Vec<&'static str>,
}

impl<T: Target + Send + 'static> Drive<T> {
    /// Runs until the source ends or `stop` is set.
    pub fn run(self) -> std::io::Result<Outcome> {
        let shared = self.shared;
        let counters = shared.counters.clone();
        let (engine_give, engine_take) = queue::whole(ENGINE_ROOM);
        counters.watch("engine", engine_give.gauge());
        if let Some(notes) = self.notes {
            notes(engine_give.clone());
        }

        let mut sinks: Vec<Newest<Said>> = Vec::new();
        let mut sink_threads = Vec::new();
        for (name, sink) in self.sinks {
            let (give, take) = queue::newest(SINK_ROOM);
            let give = match self.patient {
                true => give.with_patience(SINK_PATIENCE),
                false => give,
            };
            counters.watch(name, give.gauge());
            sinks.push(give);
            sink_threads.push((name, spawn(name, move || sink(take))?));
        }

        let mut recorder_give = None;
        let mut recorder_thread = None;
        if let Some(writer) = self.recording {
            let (give, take) = queue::whole(recorder::ROOM);
            counters.watch("recorder", give.gauge());
            recorder_give = Some(give);
            let (counters, notes) = (counters.clone(), engine_give.clone());
            recorder_thread = Some(spawn("recorder", move || {
                recorder::run(writer, &take, &counters, &notes)
            })?);
        }

        let watcher = Watcher {
            reference: shared.reference.clone(),
            config: self.config,
            sinks,
            now: shared.now.clone(),
            counters: counters.clone(),
            start_us: shared.start_us.clone(),
        };
        let engine_thread = spawn("engine", move || watcher.run(&engine_take))?;

        let outlet = Outlet {
            engine: engine_give.clone(),
            recorder: recorder_give.clone(),
            counters,
            stop: shared.stop.clone(),
            patient: self.patient,
            made_from: shared.reference.session.source,
            kind: Arc::default(),
        };
        let reader = self.reader;
        let reader_thread = spawn("reader", move || reader(&outlet))?;
        wait_for(&reader_thread, self.may_hang, &shared.stop);

        // From the source to the sinks: each gets everything before it is told that it is over.
        if let Some(give) = recorder_give {
            give.push(Record::End);
        }
        let recording = recorder_thread.and_then(|t| t.join().ok());
        engine_give.push(Arrived::End);
        let _ = engine_thread.join();
        let left_behind = finish(sink_threads);
        Ok(Outcome {
            recording,
            left_behind,
        })
    }
}

fn spawn<R: Send + 'static>(
    name: &str,
    work: impl FnOnce() -> R + Send + 'static,
) -> std::io::Result<JoinHandle<R>> {
    thread::Builder::new().name(name.into()).spawn(work)
}

/// A reader that hangs in a read is left alone once the drive is to end.
fn wait_for(reader: &JoinHandle<()>, may_hang: bool, stop: &AtomicBool) {
    while !reader.is_finished() {
        if may_hang && stop.load(Relaxed) {
            return;
        }
        thread::sleep(LOOK_EACH);
    }
}

/// Sinks that hang (a blocked pipe) are left behind.
fn finish(threads: Vec<(&'static str, JoinHandle<()>)>) -> Vec<&'static str> {
    let until = Instant::now() + SINK_PATIENCE;
    while Instant::now() < until && !threads.iter().all(|(_, t)| t.is_finished()) {
        thread::sleep(LOOK_EACH);
    }
    threads
        .into_iter()
        .filter(|(_, t)| !t.is_finished())
        .map(|(name, _)| name)
        .collect()
}

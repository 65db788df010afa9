//! A display on a serial port: wire frames or plain text lines.

use crate::live::counters::Counters;
use crate::live::latency::Aside;
use crate::live::message::{Now, Said, SourceState};
use crate::live::port::{Bus, UsbIdentity, whereabouts};
use crate::report::Units;
use crossbeam_channel::Receiver;
use cuepost_engine::wire::text::{self, SpeedUnit};
use cuepost_engine::wire::{FRAME_MAX, Message, encode};
use cuepost_engine::{Event, HealthEvent, HealthState, Why};
use std::io::{self, Write};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::time::{Duration, Instant};

/// A display that could not be reached is tried again after this.
const AGAIN: Duration = Duration::from_secs(1);
/// A cue that could not be written within this is too old: the next one counts.
const TOO_OLD: Duration = Duration::from_millis(1500);

/// What a display understands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum DisplayFormat {
    /// One plain line a cue.
    #[default]
    Text,
    /// Wire frames: cues, laps, phases, corner facts, health.
    Wire,
}

/// What the display sink needs.
pub struct Display<B> {
    /// The ports.
    pub bus: B,
    /// The display's.
    pub path: String,
    /// The USB device it is, if it is one.
    pub identity: Option<UsbIdentity>,
    /// What it understands.
    pub format: DisplayFormat,
    /// Units of the text.
    pub units: Units,
    /// What is counted.
    pub counters: Arc<Counters>,
    /// Where things stand.
    pub now: Arc<Mutex<Now>>,
    /// Source time of the first sample.
    pub start_us: Arc<OnceLock<u64>>,
    /// Called with what is wrong, once, and when it is well again.
    pub complain: Box<dyn Fn(String) + Send>,
}

impl<B: Bus> Display<B>
where
    B::Port: Write,
{
    /// Writes until the engine ends. `port` is the port opened at the start.
    pub fn run(mut self, port: B::Port, take: &Receiver<Said>) {
        let mut port = Some(port);
        let mut tried = Instant::now();
        let mut aside = Aside::default();
        let mut torn = false;
        for said in take {
            if port.is_none() && tried.elapsed() >= AGAIN {
                tried = Instant::now();
                port = self.open_again();
            }
            let Some(mut bytes) = self.bytes(&said) else {
                continue;
            };
            let arrived = match &said {
                Said::Event(_, arrived) if arrived.elapsed() > TOO_OLD => continue,
                Said::Event(Event::Cue(_), arrived) => Some(*arrived),
                _ => None,
            };
            let Some(open) = &mut port else { continue };
            // A frame begins with its own mark; a line must not be joined to a torn one.
            if torn && self.format == DisplayFormat::Text {
                bytes.splice(0..0, text::LINE_END.bytes());
            }
            match write(open, &bytes) {
                Ok(()) => {
                    torn = false;
                    if let Some(arrived) = arrived {
                        let latency = &self.counters.display_latency;
                        latency.record(&mut aside, arrived.elapsed());
                    }
                }
                // It stands still: what follows is newer and counts more.
                Err(e) if e.kind() == io::ErrorKind::TimedOut => torn = true,
                Err(e) => {
                    (self.complain)(format!("{}: display unplugged ({e})", self.path));
                    port = None;
                    torn = true;
                    tried = Instant::now();
                }
            }
        }
    }

    fn open_again(&mut self) -> Option<B::Port> {
        let path = whereabouts(&mut self.bus, self.identity.as_ref(), &self.path)?;
        let port = self.bus.open(&path).ok()?;
        self.path = path;
        (self.complain)(format!("{}: display back", self.path));
        Some(port)
    }

    /// Source time of the newest sample, as far as is known here.
    fn time_us(&self) -> u64 {
        let now = *self.now.lock().unwrap_or_else(PoisonError::into_inner);
        let start_us = self.start_us.get().copied().unwrap_or(0);
        start_us.saturating_add((now.time_s * 1e6) as u64)
    }

    /// What the display gets of it, if anything.
    fn bytes(&self, said: &Said) -> Option<Vec<u8>> {
        let event = match said {
            Said::Event(event, _) => *event,
            // A display must not go on showing that all is well.
            Said::Source(SourceState::Gone | SourceState::Silent) => Event::Health(HealthEvent {
                state: HealthState::Lost,
                why: Why::Gap,
                time_us: self.time_us(),
            }),
            Said::Source(_) | Said::Note(_) => return None,
        };
        match self.format {
            DisplayFormat::Wire => {
                let mut frame = [0; FRAME_MAX];
                let n = encode(&Message::from(event), &mut frame).ok()?;
                frame.get(..n).map(<[u8]>::to_vec)
            }
            DisplayFormat::Text => line(&event, self.units),
        }
    }
}

/// One plain line.
fn line(event: &Event, units: Units) -> Option<Vec<u8>> {
    let unit = match units {
        Units::Si => SpeedUnit::Mps,
        Units::Metric | Units::Imperial => SpeedUnit::Kmh,
    };
    let line = text::line(event, unit)?;
    Some(format!("{line}{}", text::LINE_END).into_bytes())
}

/// Writes all of it, or gives up when the display takes nothing.
fn write(port: &mut impl Write, bytes: &[u8]) -> io::Result<()> {
    let mut rest = bytes;
    while !rest.is_empty() {
        match port.write(rest) {
            Ok(0) => return Err(io::ErrorKind::WriteZero.into()),
            Ok(n) => rest = rest.get(n..).unwrap_or_default(),
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::live::port::{Found, OpenFault};
    use crate::live::queue::newest;
    use cuepost_engine::{Advice, Cue, Phase, Size, Told};
    use std::io::Read;

    /// A port that takes some bytes, stands still once, and takes the rest; then it is gone.
    struct Shaky {
        room: Vec<Option<usize>>,
        taken: Arc<Mutex<Vec<u8>>>,
    }

    impl Read for Shaky {
        fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
            Ok(0)
        }
    }

    impl Write for Shaky {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            let Some(room) = self.room.pop() else {
                return Err(io::ErrorKind::BrokenPipe.into());
            };
            let room = room.ok_or(io::ErrorKind::TimedOut)?;
            let n = room.min(bytes.len());
            self.taken
                .lock()
                .expect("not poisoned")
                .extend_from_slice(&bytes[..n]);
            Ok(n)
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    struct NoBus;

    impl Bus for NoBus {
        type Port = Shaky;

        fn open(&mut self, _: &str) -> Result<Shaky, OpenFault> {
            Err(OpenFault::Missing)
        }

        fn list(&mut self) -> Vec<Found> {
            Vec::new()
        }
    }

    fn cue(corner: u8) -> Said {
        let cue = Cue {
            lap: 1,
            corner,
            phase: Phase::Brake,
            advice: Advice::Later,
            told: Told::After,
            size: Size::Metres(12.0),
            size_s: None,
            loss_s: None,
            time_us: 0,
            progress_m: 0.0,
        };
        Said::Event(Event::Cue(cue), Instant::now())
    }

    #[test]
    fn a_torn_line_is_not_joined_to_the_next_and_a_lost_display_is_said_once() {
        let taken: Arc<Mutex<Vec<u8>>> = Arc::default();
        let port = Shaky {
            // Taken from the end: eight bytes, a standstill, then as much as comes, once.
            room: vec![Some(100), None, Some(8)],
            taken: taken.clone(),
        };
        let complaints: Arc<Mutex<Vec<String>>> = Arc::default();
        let heard = complaints.clone();
        let display = Display {
            bus: NoBus,
            path: "COM9".into(),
            identity: None,
            format: DisplayFormat::Text,
            units: Units::Metric,
            counters: Arc::default(),
            now: Arc::default(),
            start_us: Arc::default(),
            complain: Box::new(move |text| heard.lock().expect("not poisoned").push(text)),
        };
        let (give, take) = newest(8);
        for corner in 1..=5 {
            give.push(cue(corner));
        }
        drop(give);
        display.run(port, &take);
        let text = String::from_utf8(taken.lock().expect("not poisoned").clone()).expect("text");
        assert_eq!(text, "01 BRAKE\r\n02 BRAKE LATER 12 m\r\n");
        let complaints = complaints.lock().expect("not poisoned").clone();
        assert_eq!(complaints.len(), 1, "{complaints:?}");
        assert!(complaints[0].starts_with("COM9: display unplugged"));
    }
}

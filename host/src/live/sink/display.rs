//! A display on a serial port: wire frames or plain text lines.

use crate::live::counters::Counters;
use crate::live::latency::Aside;
use crate::live::message::{Said, SourceState};
use crate::live::port::{Bus, OpenFault};
use crate::report::Units;
use crossbeam_channel::Receiver;
use cuepost_engine::wire::text::{self, SpeedUnit};
use cuepost_engine::wire::{FRAME_MAX, Message, encode};
use cuepost_engine::{Event, HealthEvent, HealthState, Why};
use std::io::{self, Write};
use std::sync::Arc;
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
    /// What it understands.
    pub format: DisplayFormat,
    /// Units of the text.
    pub units: Units,
    /// What is counted.
    pub counters: Arc<Counters>,
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
        for said in take {
            if port.is_none() && tried.elapsed() >= AGAIN {
                tried = Instant::now();
                port = self.open_again();
            }
            let Some(bytes) = self.bytes(&said) else {
                continue;
            };
            let arrived = match &said {
                Said::Event(_, arrived) if arrived.elapsed() > TOO_OLD => continue,
                Said::Event(event, arrived) if matches!(**event, Event::Cue(_)) => Some(*arrived),
                _ => None,
            };
            let Some(open) = &mut port else { continue };
            match write(open, &bytes) {
                Ok(()) => {
                    if let Some(arrived) = arrived {
                        let latency = &self.counters.display_latency;
                        latency.record(&mut aside, arrived.elapsed());
                    }
                }
                // It stands still: what follows is newer, and it must not be joined to a torn rest.
                Err(e) if e.kind() == io::ErrorKind::TimedOut => {}
                Err(e) => {
                    (self.complain)(format!("{}: display unplugged ({e})", self.path));
                    port = None;
                    tried = Instant::now();
                }
            }
        }
    }

    fn open_again(&mut self) -> Option<B::Port> {
        let port: Result<B::Port, OpenFault> = self.bus.open(&self.path);
        let port = port.ok()?;
        (self.complain)(format!("{}: display back", self.path));
        Some(port)
    }

    /// What the display gets of it, if anything.
    fn bytes(&self, said: &Said) -> Option<Vec<u8>> {
        let event = match said {
            Said::Event(event, _) => **event,
            // A display must not go on showing that all is well.
            Said::Source(SourceState::Gone | SourceState::Silent) => Event::Health(HealthEvent {
                state: HealthState::Lost,
                why: Why::Gap,
                time_us: 0,
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

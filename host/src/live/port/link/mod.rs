//! A serial port that may be unplugged and come back under another name.

use super::bus::{Bus, OpenFault, UsbIdentity, identify, whereabouts};
use std::io::{ErrorKind, Read};
use std::time::Duration;

/// First wait before a port is tried again.
const WAIT_FIRST: Duration = Duration::from_millis(100);
/// Longest wait: a driver who has plugged it in again wants it back at once.
const WAIT_MOST: Duration = Duration::from_secs(1);

/// What a read brought.
#[derive(Debug, PartialEq, Eq)]
pub enum Got {
    /// So many bytes are in the buffer.
    Bytes(usize),
    /// Nothing came within the port's timeout.
    Quiet,
    /// The port is gone; what was half received must be thrown away.
    Gone(String),
    /// Still gone; `why` is told when it changed. Not to be asked again before `wait` is over.
    Away {
        /// How long to wait.
        wait: Duration,
        /// The newest reason, when it is another than before.
        why: Option<OpenFault>,
    },
    /// Open again, under this name. The first line may be a torn one.
    Back(String),
}

/// Keeps a port open, or tries to.
#[derive(Debug)]
pub struct Link<B: Bus> {
    bus: B,
    path: String,
    identity: Option<UsbIdentity>,
    state: State<B::Port>,
}

#[derive(Debug)]
enum State<P> {
    Open(P),
    Away {
        wait: Duration,
        again_at: Duration,
        why: Option<OpenFault>,
    },
}

impl<B: Bus> Link<B> {
    /// Opens a port for the first time and remembers what device it is.
    pub fn open(mut bus: B, path: &str) -> Result<Self, OpenFault> {
        let port = bus.open(path)?;
        let identity = identify(&mut bus, path);
        Ok(Self {
            bus,
            path: path.to_owned(),
            identity,
            state: State::Open(port),
        })
    }

    /// The name the port has now, or had last.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// The USB device it is, if it is one.
    pub fn identity(&self) -> Option<&UsbIdentity> {
        self.identity.as_ref()
    }

    /// Reads, or tries to open again when it is time. `now` counts from any fixed moment.
    pub fn read(&mut self, now: Duration, buffer: &mut [u8]) -> Got {
        match &mut self.state {
            State::Open(port) => match port.read(buffer) {
                Ok(0) => self.gone(now, "the device is gone".into()),
                Ok(n) => Got::Bytes(n),
                Err(e) if is_quiet(e.kind()) => Got::Quiet,
                Err(e) => self.gone(now, e.to_string()),
            },
            State::Away { again_at, .. } if now < *again_at => Got::Away {
                wait: again_at.saturating_sub(now),
                why: None,
            },
            State::Away { .. } => self.try_again(now),
        }
    }

    /// The old handle is dropped here: a device that comes back needs its name free.
    fn gone(&mut self, now: Duration, why: String) -> Got {
        self.state = State::Away {
            wait: WAIT_FIRST,
            again_at: now.saturating_add(WAIT_FIRST),
            why: None,
        };
        Got::Gone(why)
    }

    fn try_again(&mut self, now: Duration) -> Got {
        let place = whereabouts(&mut self.bus, self.identity.as_ref(), &self.path);
        let fault = match place.map(|path| (self.bus.open(&path), path)) {
            Some((Ok(port), path)) => {
                self.path = path;
                self.state = State::Open(port);
                return Got::Back(self.path.clone());
            }
            Some((Err(fault), _)) => fault,
            None => OpenFault::Missing,
        };
        let (last_wait, last_why) = match &self.state {
            State::Away { wait, why, .. } => (*wait, why.clone()),
            State::Open(_) => (WAIT_FIRST, None),
        };
        let wait = last_wait.saturating_mul(2).min(WAIT_MOST);
        let news = (last_why.as_ref() != Some(&fault)).then(|| fault.clone());
        self.state = State::Away {
            wait,
            again_at: now.saturating_add(wait),
            why: Some(fault),
        };
        Got::Away { wait, why: news }
    }
}

fn is_quiet(kind: ErrorKind) -> bool {
    matches!(
        kind,
        ErrorKind::TimedOut | ErrorKind::Interrupted | ErrorKind::WouldBlock
    )
}

#[cfg(test)]
mod tests;

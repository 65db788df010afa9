//! A receiver unplugged in a sentence that comes back under another name (fault 10).

use cuepost_engine::receiver::{Reason, Receiver};
use cuepost_host::live::port::{Bus, Found, Got, Link, OpenFault, UsbIdentity};
use serde_json::Value;
use std::cell::Cell;
use std::io::{self, Read};
use std::rc::Rc;
use std::time::Duration;

/// The script, and the time it has come to.
#[derive(Clone)]
struct Script {
    events: Rc<Vec<Value>>,
    now_ms: Rc<Cell<u64>>,
    next_read: Rc<Cell<usize>>,
    opens: Rc<Cell<usize>>,
}

impl Script {
    fn read_file() -> Self {
        let text = include_str!("../data/faults/10_usb_unplug_script.jsonl");
        let events = text.lines().map(|l| serde_json::from_str(l).expect("JSON"));
        Self {
            events: Rc::new(events.collect()),
            now_ms: Rc::default(),
            next_read: Rc::default(),
            opens: Rc::default(),
        }
    }

    /// The newest event with this key up to now.
    fn newest(&self, key: &str) -> Option<&Value> {
        let past = |e: &&Value| e["at_ms"].as_u64() <= Some(self.now_ms.get());
        self.events
            .iter()
            .filter(past)
            .rfind(|e| e.get(key).is_some())
    }

    fn receiver(path: &str) -> Found {
        Found {
            path: path.into(),
            usb: Some(UsbIdentity {
                vendor: 0x1546,
                product: 0x01a9,
                serial: Some("SAMPLE01".into()),
            }),
            label: String::new(),
        }
    }
}

impl Bus for Script {
    type Port = Self;

    fn open(&mut self, path: &str) -> Result<Self, OpenFault> {
        self.opens.set(self.opens.get() + 1);
        match self.newest("open") {
            None => Ok(self.clone()),
            Some(e) => match e["error"].as_str() {
                None if e["open"] == path => Ok(self.clone()),
                Some("EACCES") => Err(OpenFault::Denied),
                Some("EBUSY") => Err(OpenFault::Busy),
                _ => Err(OpenFault::Missing),
            },
        }
    }

    fn list(&mut self) -> Vec<Found> {
        match self.newest("list") {
            Some(e) => {
                let path = e["list"][0]["path"].as_str().expect("a path");
                vec![Self::receiver(path)]
            }
            None if self.newest("open").is_some() => vec![],
            None => vec![Self::receiver("/dev/ttyACM0")],
        }
    }
}

impl Read for Script {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let is_read = |e: &&Value| e.get("read").is_some();
        let event = self.events.iter().filter(is_read).nth(self.next_read.get());
        let due = |e: &&Value| e["at_ms"].as_u64() <= Some(self.now_ms.get());
        let Some(event) = event.filter(due) else {
            return Err(io::ErrorKind::TimedOut.into());
        };
        self.next_read.set(self.next_read.get() + 1);
        match event["read"].as_str() {
            Some("TIMEOUT") => Err(io::ErrorKind::TimedOut.into()),
            Some("OK_0_BYTES") => Ok(0),
            Some(text) => {
                buffer[..text.len()].copy_from_slice(text.as_bytes());
                Ok(text.len())
            }
            None => panic!("{event}"),
        }
    }
}

#[test]
fn fault_10_found_again_by_its_identity_and_the_halves_not_joined() {
    let script = Script::read_file();
    let now_ms = script.now_ms.clone();
    let (opens, next_read) = (script.opens.clone(), script.next_read.clone());
    let mut link = Link::open(script, "/dev/ttyACM0").expect("there at the start");
    let mut decoder = Receiver::default();
    let mut samples = Vec::new();
    let mut said = Vec::new();
    let mut buffer = [0; 256];
    while now_ms.get() < 6000 {
        let now = Duration::from_millis(now_ms.get());
        let mut wait = Duration::from_millis(10);
        match link.read(now, &mut buffer) {
            Got::Bytes(n) => decoder.push_slice(&buffer[..n], |s| samples.push(s)),
            Got::Quiet => {}
            Got::Gone(_) => {
                decoder.break_off();
                said.push("gone".to_owned());
                // A handle that is closed is not read again: the zero bytes for ever stay unread.
                next_read.set(next_read.get() + 1);
            }
            Got::Away { wait: longer, why } => {
                assert!(longer > Duration::ZERO, "it never spins");
                wait = longer;
                said.extend(why.map(|f| format!("{f:?}")));
            }
            Got::Back(path) => said.push(path),
        }
        now_ms.set(now_ms.get() + wait.as_millis() as u64);
    }
    assert_eq!(said, ["gone", "Missing", "Denied", "Busy", "/dev/ttyACM1"]);
    assert!(opens.get() <= 12, "{} tries to open", opens.get());
    // The first and the last sentence; the half before the gap and the tail after it are neither.
    let times: Vec<u64> = samples
        .iter()
        .map(|s| s.time_us % 60_000_000 / 1000)
        .collect();
    assert_eq!(times, [100, 4400]);
    assert_eq!(decoder.counts().refused(Reason::Cut).count, 1);
}

//! What a drive is told on, put together from `--to`.

use super::Args;
use crate::live::counters::Counters;
use crate::live::drive::{NoteWay, Shared, Sink};
use crate::live::input::{self, Source};
use crate::live::latency::Aside;
use crate::live::message::{Arrived, Note, NoteKind};
use crate::live::port::{Bus, SerialBus, identify};
use crate::live::queue::Whole;
use crate::live::sink::display::Display;
use crate::live::sink::lines::{LineFormat, Lines};
use crate::live::sink::page::PageSink;
use crate::live::sink::terminal::{Terminal, link_picture};
use crate::page::server::Taken;
use crate::page::{Access, Hub, Limits, Server, Token, guard, reference};
use anyhow::Context;
use std::io::IsTerminal;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};
use std::str::FromStr;
use std::sync::{Arc, Mutex, PoisonError};

/// What `--to` names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SinkName {
    /// The terminal, whole.
    Terminal,
    /// Pages for browsers.
    Page,
    /// Lines for people on standard output.
    Lines,
    /// Lines for programs on standard output.
    Json,
    /// A display on a serial port.
    Serial {
        /// Its name.
        path: String,
        /// Its rate, where the name says it.
        baud: Option<u32>,
    },
}

impl FromStr for SinkName {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            "terminal" => Ok(Self::Terminal),
            "page" => Ok(Self::Page),
            "lines" => Ok(Self::Lines),
            "jsonl" => Ok(Self::Json),
            _ => match text.parse::<Source>() {
                Ok(Source::Serial { path, baud }) => Ok(Self::Serial { path, baud }),
                _ => Err(format!(
                    "no sink is called \"{text}\"; there are terminal, page, lines, jsonl and \
                     serial:PORT[@BAUD]"
                )),
            },
        }
    }
}

/// The sinks of a drive while they are put together.
pub struct Sinks<'a> {
    args: &'a Args,
    shared: Shared,
    /// Ready to run.
    pub sinks: Vec<(&'static str, Sink)>,
    /// The pages' server.
    pub server: Option<Server>,
    /// What to print before the drive begins.
    pub said: Vec<String>,
    link: Option<String>,
    notes: Arc<Mutex<Option<Whole<Arrived>>>>,
}

impl<'a> Sinks<'a> {
    /// None yet.
    pub fn new(args: &'a Args, shared: Shared) -> Self {
        Self {
            args,
            shared,
            sinks: Vec::new(),
            server: None,
            link: None,
            said: Vec::new(),
            notes: Arc::default(),
        }
    }

    /// What was asked for; the page first, so that the terminal can show its link.
    pub fn names(&self) -> Vec<SinkName> {
        let mut names = self.args.to.clone();
        if names.is_empty() {
            names.push(match std::io::stdout().is_terminal() {
                true => SinkName::Terminal,
                false => SinkName::Lines,
            });
        }
        names.sort_by_key(|n| *n != SinkName::Page);
        names.dedup();
        names
    }

    /// Adds one.
    pub fn add(&mut self, name: &SinkName) -> anyhow::Result<()> {
        match name {
            SinkName::Page => self.page(),
            SinkName::Terminal => {
                self.terminal();
                Ok(())
            }
            SinkName::Lines => {
                self.lines(LineFormat::Words);
                Ok(())
            }
            SinkName::Json => {
                self.lines(LineFormat::Json);
                Ok(())
            }
            SinkName::Serial { path, baud } => self.display(path, *baud),
        }
    }

    fn lines(&mut self, format: LineFormat) {
        let lines = Lines {
            format,
            reference: self.shared.reference.clone(),
            units: self.args.units,
            start_us: self.shared.start_us.clone(),
        };
        let sink = Box::new(move |take| lines.run(&take, std::io::stdout()));
        self.sinks.push(("lines", sink));
    }

    fn terminal(&mut self) {
        let shared = self.shared.clone();
        let terminal = Terminal {
            reference: shared.reference.clone(),
            units: self.args.units,
            now: shared.now.clone(),
            counters: shared.counters.clone(),
            stop: shared.stop.clone(),
            link: self.link.clone(),
        };
        let sink = Box::new(move |take| {
            if let Err(e) = terminal.run(&take) {
                eprintln!("cuepost: the terminal cannot be drawn on: {e}");
            }
        });
        self.sinks.push(("terminal", sink));
    }

    fn page(&mut self) -> anyhow::Result<()> {
        let run = guard::random_hex().context("no random numbers")?;
        let hub = Arc::new(Hub::new(run));
        let shared = self.shared.clone();
        let (ip, access) = match self.args.lan {
            true => {
                let token = Token::random().context("no random numbers for the token")?;
                (Ipv4Addr::UNSPECIFIED, Access::Network(token))
            }
            false => (Ipv4Addr::LOCALHOST, Access::Loopback),
        };
        let reference = reference::json(&shared.reference.view(), self.args.units)?;
        let server = Server::start(
            SocketAddr::new(IpAddr::V4(ip), self.args.page_port),
            access.clone(),
            hub.clone(),
            reference,
            Limits::default(),
            page_taken(shared.counters.clone()),
        )?;
        let link = link(&access, server.address());
        self.said.push(format!("pages: {link}"));
        if self.args.lan && !self.args.to.contains(&SinkName::Terminal) {
            self.said.extend(link_picture(&link));
        }
        self.link = Some(link);
        self.server = Some(server);
        let sink = PageSink {
            hub,
            reference: shared.reference.clone(),
            units: self.args.units,
            now: shared.now.clone(),
            counters: shared.counters.clone(),
            start_us: shared.start_us.clone(),
        };
        self.sinks
            .push(("page", Box::new(move |take| sink.run(&take))));
        Ok(())
    }

    fn display(&mut self, path: &str, baud: Option<u32>) -> anyhow::Result<()> {
        let mut bus = SerialBus::new(baud.unwrap_or(input::BAUD_DEFAULT));
        let port = bus
            .open(path)
            .map_err(|fault| anyhow::anyhow!("{path}: {fault}"))?;
        let notes = self.notes.clone();
        let display = Display {
            identity: identify(&mut bus, path),
            bus,
            path: path.to_owned(),
            format: self.args.display_format,
            units: self.args.units,
            counters: self.shared.counters.clone(),
            now: self.shared.now.clone(),
            start_us: self.shared.start_us.clone(),
            complain: Box::new(move |text| {
                let way = notes.lock().unwrap_or_else(PoisonError::into_inner);
                if let Some(way) = &*way {
                    way.try_push(Arrived::Note(Note::new(NoteKind::Display, text)));
                }
            }),
        };
        self.said.push(format!("display on {path}"));
        let sink = Box::new(move |take| display.run(port, &take));
        self.sinks.push(("display", sink));
        Ok(())
    }

    /// Lets sinks that were built before the queues say something through them.
    pub fn note_way(&self) -> Option<NoteWay> {
        let notes = self.notes.clone();
        Some(Box::new(move |way| {
            *notes.lock().unwrap_or_else(PoisonError::into_inner) = Some(way);
        }))
    }
}

fn page_taken(counters: Arc<Counters>) -> Taken {
    let aside = Mutex::new(Aside::default());
    Box::new(move |took| {
        let mut aside = aside.lock().unwrap_or_else(PoisonError::into_inner);
        counters.page_latency.record(&mut aside, took);
    })
}

/// What to type or scan to see the pages.
fn link(access: &Access, address: SocketAddr) -> String {
    match access {
        Access::Loopback => format!("http://{address}/"),
        Access::Network(token) => {
            let ip = own_ip().map_or("ADDRESS-OF-THIS-MACHINE".into(), |ip| ip.to_string());
            format!("http://{ip}:{}/?token={}", address.port(), token.text())
        }
    }
}

/// The address other machines reach this one at: the end a packet to the outside would leave from.
/// Nothing is sent.
fn own_ip() -> Option<IpAddr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    // An address set aside for documentation (RFC 5737): any route will do.
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).ok()?;
    Some(socket.local_addr().ok()?.ip())
}

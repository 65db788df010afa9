//! `cuepost drive`: watch a drive live.

use crate::live::counters::Counters;
use crate::live::drive::{Drive, NoteWay, Shared, Sink};
use crate::live::input::decode::StreamDecode;
use crate::live::input::{self, Decode, How, Opened, Source};
use crate::live::layout::{Layout, PacketReader};
use crate::live::message::{Arrived, Note, NoteKind};
use crate::live::port::{Bus, SerialBus};
use crate::live::queue::Whole;
use crate::live::sink::display::{Display, DisplayFormat};
use crate::live::sink::lines::{LineFormat, Lines};
use crate::live::sink::page::PageSink;
use crate::live::sink::terminal::Terminal;
use crate::live::summary;
use crate::page::{Access, Hub, Limits, Server, Token};
use crate::record::{Pace, Writer};
use crate::reference_file;
use crate::report::Units;
use crate::source::Options;
use anyhow::{Context, bail};
use cuepost_engine::reference::SourceKind;
use cuepost_engine::thresholds::Config;
use cuepost_engine::wire::Header;
use std::fs::File;
use std::io::IsTerminal;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::str::FromStr;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};

/// Watch a drive live: receiver or simulator in, displays and a recording out.
///
/// Examples:
///   cuepost drive --from /dev/ttyACM0 --reference club.ref --to terminal --to page
///   cuepost drive --from udp:5005 --layout rig.toml --reference club.ref --to page --lan
///   cuepost drive --from lap.nmea --speed 4 --reference club.ref --to lines
#[derive(Debug, clap::Args)]
#[command(verbatim_doc_comment)]
pub struct Args {
    /// Where samples come from: serial:PORT[@BAUD], udp:PORT (this machine only),
    /// udp:ADDRESS:PORT, - for standard input, or a recording
    #[arg(long, value_name = "SOURCE", required_unless_present = "list")]
    from: Option<Source>,

    /// The reference to hold the drive against
    #[arg(long, value_name = "REF", required_unless_present = "list")]
    reference: Option<PathBuf>,

    /// Where to tell it, any number of times: terminal, page, lines, jsonl, serial:PORT[@BAUD]
    /// [default: terminal, or lines when the output is no terminal]
    #[arg(long, value_name = "SINK")]
    to: Vec<SinkName>,

    /// Rate of the source's serial port [default: 115200]
    #[arg(long)]
    baud: Option<u32>,

    /// How to read fixed binary packets, a TOML file
    #[arg(long, value_name = "FILE")]
    layout: Option<PathBuf>,

    /// Read a column under another name, as `time_s=Zeit`; may be repeated
    #[arg(long, value_name = "OURS=THEIRS")]
    column: Vec<String>,

    /// Column names of a table that comes without them, as `time_s,x_m,y_m,speed_mps`
    #[arg(long, value_name = "NAMES", conflicts_with = "layout")]
    header: Option<String>,

    /// How many times faster than real time a recording is played; 0 without waiting
    #[arg(long, default_value_t = 1.0, value_name = "TIMES")]
    speed: f64,

    /// Where to record to [default: drive-DATE-TIME.rec for live sources]
    #[arg(long, value_name = "FILE", conflicts_with = "no_record")]
    record: Option<PathBuf>,

    /// Do not record
    #[arg(long)]
    no_record: bool,

    /// Units that sizes are told in
    #[arg(long, value_enum, default_value_t)]
    units: Units,

    /// What a display on a serial port understands
    #[arg(long, value_enum, default_value_t)]
    display_format: DisplayFormat,

    /// TCP port of the pages
    #[arg(long, default_value_t = 8470)]
    page_port: u16,

    /// Serve the pages to the network as well; they then need the token in the printed link
    #[arg(long)]
    lan: bool,

    /// Show the serial ports there are, and end
    #[arg(long)]
    list: bool,
}

/// What `--to` names.
#[derive(Clone, Debug, PartialEq, Eq)]
enum SinkName {
    Terminal,
    Page,
    Lines,
    Json,
    Serial { path: String, baud: Option<u32> },
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

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    if args.list {
        list();
        return Ok(ExitCode::SUCCESS);
    }
    let (Some(source), Some(reference)) = (&args.from, &args.reference) else {
        bail!("--from and --reference are needed");
    };
    if !args.speed.is_finite() || args.speed < 0.0 {
        bail!("--speed {}: must be 0 or more", args.speed);
    }
    let (store, _) = reference_file::read(reference)?;
    let opened = input::open(source, &how(args)?, decoder(args)?)?;
    let recording = recording(args, source)?;

    let stop = Arc::new(AtomicBool::new(false));
    let asked = stop.clone();
    ctrlc::set_handler(move || asked.store(true, Relaxed)).context("Ctrl-C cannot be caught")?;

    let shared = Shared::new(Arc::from(store), stop);
    drive(args, shared, opened, recording)
}

fn drive(
    args: &Args,
    shared: Shared,
    opened: Opened,
    recording: Option<(PathBuf, Writer<File>)>,
) -> anyhow::Result<ExitCode> {
    let mut setup = Sinks::new(args, shared.clone());
    let names = setup.names();
    for name in &names {
        setup.add(name)?;
    }
    let quiet_stdout = names.contains(&SinkName::Json);
    let say = |line: &str| match quiet_stdout {
        true => eprintln!("{line}"),
        false => println!("{line}"),
    };
    say(&format!("from {}", opened.label));
    for line in &setup.said {
        say(line);
    }
    let (path, writer) = recording.unzip();
    if let Some(path) = &path {
        say(&format!("recording to {}", path.display()));
    }
    let counters = shared.counters.clone();
    let drive = Drive {
        shared,
        config: Config::default(),
        reader: opened.reader,
        patient: opened.patient,
        may_hang: opened.may_hang,
        recording: writer,
        sinks: std::mem::take(&mut setup.sinks),
        notes: setup.note_way(),
    };
    let outcome = drive.run().context("no thread could be started")?;
    // Readers of the pages get the last of it before the server goes.
    if let Some(server) = setup.server {
        server.finish();
    }
    for line in summary::lines(&counters, &outcome, path.as_deref()) {
        say(&line);
    }
    Ok(ExitCode::SUCCESS)
}

fn list() {
    let ports = SerialBus::new(input::BAUD_DEFAULT).list();
    if ports.is_empty() {
        println!("no serial ports");
    }
    for port in ports {
        let usb = port.usb.map_or(String::new(), |u| {
            let serial = u
                .serial
                .map_or(String::new(), |s| format!(", serial number {s}"));
            format!("  USB {:04x}:{:04x}{serial}", u.vendor, u.product)
        });
        println!("{}  {}{usb}", port.path, port.label);
    }
}

fn how(args: &Args) -> anyhow::Result<How> {
    Ok(How {
        baud: args.baud,
        speed: args.speed,
        options: options(args)?,
    })
}

fn options(args: &Args) -> anyhow::Result<Options> {
    Ok(Options::with_columns(&args.column)?)
}

fn decoder(args: &Args) -> anyhow::Result<Box<dyn Decode>> {
    let Some(path) = &args.layout else {
        return Ok(Box::new(StreamDecode::new(
            options(args)?,
            args.header.clone(),
        )));
    };
    Ok(Box::new(PacketReader::new(Layout::read(path)?)))
}

/// Live sources are recorded unless it is forbidden; a recording played only when asked for.
fn recording(args: &Args, source: &Source) -> anyhow::Result<Option<(PathBuf, Writer<File>)>> {
    let live = !matches!(source, Source::File(_));
    let path = match &args.record {
        Some(path) => path.clone(),
        None if args.no_record || !live => return Ok(None),
        None => {
            let now = jiff::ZonedDateTime::now();
            PathBuf::from(now.strftime("drive-%Y%m%d-%H%M%S.rec").to_string())
        }
    };
    let header = Header {
        source: match source {
            Source::Serial { .. } => SourceKind::Receiver,
            Source::Udp(_) => SourceKind::Simulator,
            Source::Stdin | Source::File(_) => SourceKind::Unknown,
        },
        created_by: concat!("cuepost ", env!("CARGO_PKG_VERSION"))
            .try_into()
            .unwrap_or_default(),
        began_unix_s: u64::try_from(jiff::Timestamp::now().as_second()).ok(),
        conditions: Default::default(),
    };
    let writer =
        Writer::create(&path, Pace::Live, &header).map_err(|e| cannot_record(&path, &e))?;
    Ok(Some((path, writer)))
}

fn cannot_record(path: &Path, error: &std::io::Error) -> anyhow::Error {
    let path = path.display();
    match error.kind() {
        std::io::ErrorKind::AlreadyExists => {
            anyhow::anyhow!(
                "{path}: exists already; recordings are never overwritten, take another name"
            )
        }
        _ => anyhow::anyhow!(
            "{path}: cannot record there: {error}; choose another place with --record"
        ),
    }
}

/// The sinks of a drive while they are put together.
struct Sinks<'a> {
    args: &'a Args,
    shared: Shared,
    sinks: Vec<(&'static str, Sink)>,
    server: Option<Server>,
    link: Option<String>,
    said: Vec<String>,
    notes: Arc<Mutex<Option<Whole<Arrived>>>>,
}

impl<'a> Sinks<'a> {
    fn new(args: &'a Args, shared: Shared) -> Self {
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
    fn names(&self) -> Vec<SinkName> {
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

    fn add(&mut self, name: &SinkName) -> anyhow::Result<()> {
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
        let run = crate::page::guard::random_hex().context("no random numbers")?;
        let hub = Arc::new(Hub::new(run));
        let shared = self.shared.clone();
        let (ip, access) = match self.args.lan {
            true => {
                let token = Token::random().context("no random numbers for the token")?;
                (Ipv4Addr::UNSPECIFIED, Access::Network(token))
            }
            false => (Ipv4Addr::LOCALHOST, Access::Loopback),
        };
        let reference = crate::page::reference::json(&shared.reference.view(), self.args.units)?;
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
            self.said.extend(qr(&link));
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
            bus,
            path: path.to_owned(),
            format: self.args.display_format,
            units: self.args.units,
            counters: self.shared.counters.clone(),
            complain: Box::new(move |text| {
                let way = notes
                    .lock()
                    .unwrap_or_else(std::sync::PoisonError::into_inner);
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
    fn note_way(&self) -> Option<NoteWay> {
        let notes = self.notes.clone();
        Some(Box::new(move |way| {
            *notes
                .lock()
                .unwrap_or_else(std::sync::PoisonError::into_inner) = Some(way);
        }))
    }
}

fn page_taken(counters: Arc<Counters>) -> crate::page::server::Taken {
    let aside = Mutex::new(crate::live::latency::Aside::default());
    Box::new(move |took| {
        let mut aside = aside
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner);
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

fn qr(link: &str) -> Option<String> {
    use qrcode::render::unicode::Dense1x2;
    let code = qrcode::QrCode::new(link).ok()?;
    Some(code.render::<Dense1x2>().build())
}

//! `cuepost drive`: watch a drive live.

mod sinks;

use crate::adapt::words::caution;
use crate::live::drive::{Drive, Shared};
use crate::live::input::decode::StreamDecode;
use crate::live::input::{self, Decode, How, Opened, Source};
use crate::live::layout::{Layout, PacketReader};
use crate::live::port::{Bus, SerialBus};
use crate::live::sink::display::DisplayFormat;
use crate::live::summary;
use crate::record::{Pace, Writer};
use crate::reference_file::HostReference;
use crate::report::Units;
use crate::report::fold::fitted;
use crate::report::system::words;
use crate::source::Options;
use crate::{conditions, reference_file, thresholds_file};
use anyhow::{Context, bail};
use cuepost_engine::reference::SourceKind;
use cuepost_engine::thresholds::Config;
use cuepost_engine::wire::Header;
use sinks::{SinkName, Sinks};
use std::fs::File;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};

/// Watch a drive live: receiver or simulator in, displays and a recording out
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  cuepost drive --from /dev/ttyACM0 --reference club.ref --to terminal --to page
  cuepost drive --from udp:5005 --layout rig.toml --reference club.ref --to page --lan
  cuepost drive --from demo/driver.csv --speed 50 --reference demo/quillmere.ref --to lines
  cuepost drive --from /dev/ttyACM0 --record coach.rec")]
pub struct Args {
    /// Where samples come from: serial:PORT[@BAUD], udp:PORT (this machine only),
    /// udp:ADDRESS:PORT, - for standard input, or a recording
    #[arg(long, value_name = "SOURCE", required_unless_present = "list")]
    from: Option<Source>,

    /// The reference to hold the drive against; without one it is recorded only, to learn from
    #[arg(long, short, value_name = "REF")]
    reference: Option<PathBuf>,

    /// Thresholds from a file, as `cuepost thresholds` writes it [default: the built-in ones]
    #[arg(long, short, value_name = "FILE")]
    thresholds: Option<PathBuf>,

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
    #[arg(
        long,
        default_value_t = 1.0,
        value_name = "TIMES",
        allow_negative_numbers = true
    )]
    speed: f64,

    /// Where to record to [default: drive-DATE-TIME.rec for live sources]
    #[arg(long, value_name = "FILE", conflicts_with = "no_record")]
    record: Option<PathBuf>,

    /// Do not record
    #[arg(long)]
    no_record: bool,

    /// Conditions of the session in words, kept with the recording, as "24 C air, dry, tyres 20
    /// laps, fuel 40 l"
    #[arg(long, value_name = "WORDS", default_value = "")]
    conditions: String,

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

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    if args.list {
        list()?;
        return Ok(ExitCode::SUCCESS);
    }
    let Some(source) = &args.from else {
        bail!("--from is needed: a port, udp:PORT, -, or a recording");
    };
    if !args.speed.is_finite() || args.speed < 0.0 {
        bail!("--speed {}: must be 0 or more", args.speed);
    }
    let store = reference(args)?;
    if let Some(caution) = caution(&store.session) {
        eprintln!("{caution}");
    }
    if let Some(warning) = conditions::warning(&store.session.conditions, &args.conditions) {
        eprintln!("{warning}");
    }
    let config = config(args)?;
    let opened = input::open(source, &how(args)?, decoder(args)?)?;
    let recording = recording(args, source, opened.kind)?;

    let stop = Arc::new(AtomicBool::new(false));
    let asked = stop.clone();
    ctrlc::set_handler(move || asked.store(true, Relaxed)).context("Ctrl-C cannot be caught")?;

    let shared = Shared::new(Arc::from(store), stop);
    drive(args, shared, config, opened, recording)
}

/// The reference; without one a line without nodes, on which no car has a place and nothing is told.
fn reference(args: &Args) -> anyhow::Result<Box<HostReference>> {
    if let Some(path) = &args.reference {
        return Ok(reference_file::read(path)?.0);
    }
    if args.no_record {
        bail!("--no-record without --reference: nothing would be done; give one of them up");
    }
    if args.to.contains(&SinkName::Page) {
        bail!("--to page needs --reference: without one the drive is only recorded");
    }
    eprintln!(
        "no reference: recording only, no cues; `cuepost learn` makes one of what is recorded"
    );
    Ok(Box::default())
}

fn drive(
    args: &Args,
    shared: Shared,
    config: Config,
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
        // A reader that went away is no reason to end a drive.
        false => drop(writeln!(std::io::stdout(), "{}", fitted(line))),
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
        config,
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

fn list() -> std::io::Result<()> {
    let ports = SerialBus::new(input::BAUD_DEFAULT).list();
    if ports.is_empty() {
        say!("no serial ports");
    }
    for port in ports {
        let usb = port.usb.map_or(String::new(), |u| {
            let serial = u
                .serial
                .map_or(String::new(), |s| format!(", serial number {s}"));
            format!("  USB {:04x}:{:04x}{serial}", u.vendor, u.product)
        });
        say!("{}  {}{usb}", port.path, port.label);
    }
    Ok(())
}

fn config(args: &Args) -> anyhow::Result<Config> {
    match &args.thresholds {
        Some(path) => thresholds_file::read(path).map_err(anyhow::Error::msg),
        None => Ok(Config::default()),
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
fn recording(
    args: &Args,
    source: &Source,
    kind: SourceKind,
) -> anyhow::Result<Option<(PathBuf, Writer<File>)>> {
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
        source: kind,
        created_by: concat!("cuepost ", env!("CARGO_PKG_VERSION"))
            .try_into()
            .unwrap_or_default(),
        began_unix_s: u64::try_from(jiff::Timestamp::now().as_second()).ok(),
        conditions: crate::learn::short(&args.conditions),
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
            "{path}: cannot record there: {}; choose another place with --record",
            words(error)
        ),
    }
}

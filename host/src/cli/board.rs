//! `cuepost board`: send a reference or thresholds to a board, ask how it is, listen to it.

use super::progress::Bar;
use crate::board::{BoardError, Client, words};
use crate::live::input::paced::Pace;
use crate::{reference_file, source, thresholds_file};
use anyhow::{Context, bail};
use cuepost_engine::wire::text::{SpeedUnit, line};
use cuepost_engine::wire::{FRAME_MAX, Message, Object, Settings, encode};
use cuepost_engine::{Event, file};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

/// How long a read waits before it looks at the clock.
const READ_TIMEOUT: Duration = Duration::from_millis(50);
/// The same between two samples.
const PLAY_TIMEOUT: Duration = Duration::from_millis(2);
/// What belongs to the last sample has come by then.
const LAST_WORDS: Duration = Duration::from_secs(1);

/// Send a reference or thresholds to a board, ask how it is, listen to it
///
/// A transfer that broke off goes on where it stopped when the command is run again. The board
/// uses a file only once all of it has arrived and been checked; until then it keeps what it had.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  cuepost board status
  cuepost board send demo/quillmere.ref --port /dev/ttyUSB0")]
pub struct Args {
    #[command(subcommand)]
    command: Command,
    /// The serial port the board is on; not needed when there is only one
    #[arg(long, short, global = true)]
    port: Option<String>,
    /// Speed of the port, bits a second
    #[arg(long, global = true, default_value_t = 115_200)]
    baud: u32,
}

#[derive(Debug, clap::Subcommand)]
enum Command {
    /// Send a reference, as `cuepost learn` made it
    #[command(after_help = "\
Example:
  cuepost board send demo/quillmere.ref --port /dev/ttyUSB0")]
    Send {
        /// The reference
        reference: PathBuf,
    },
    /// Send thresholds, written as text (`brake_m = 5.0`)
    #[command(after_help = "\
Example:
  cuepost board thresholds club.toml")]
    Thresholds {
        /// The file
        file: PathBuf,
    },
    /// Say what the board has, what it makes of its input, and what it lost
    #[command(after_help = "\
Examples:
  cuepost board status
  cuepost board status --json --port /dev/ttyUSB0")]
    Status {
        /// As one JSON object, for scripts
        #[arg(long)]
        json: bool,
    },
    /// Show the settings, or change some of them
    #[command(after_help = "\
Examples:
  cuepost board set
  cuepost board set lamp=off source=computer")]
    Set {
        /// What to change; nothing to see what is set
        #[arg(value_name = "KEY=VALUE")]
        changes: Vec<String>,
    },
    /// Play a recording into the board, as if it were driven, and print what it says
    ///
    /// The board listens to the computer after `cuepost board set source=computer`.
    #[command(after_help = "\
Example:
  cuepost board play demo/driver.csv")]
    Play {
        /// The recording: NMEA, UBX, CSV or our own
        recording: PathBuf,
        /// How many times faster than it was made
        #[arg(long, value_name = "TIMES", default_value_t = 1.0)]
        speed: f64,
    },
    /// Print what the board says, until stopped
    #[command(after_help = "\
Example:
  cuepost board log --seconds 600 --output sunday.rec")]
    Log {
        /// Stop after so many seconds
        #[arg(long, value_name = "SECONDS")]
        seconds: Option<f64>,
        /// Keep everything, facts of corners included, in a recording as well
        #[arg(long, short, value_name = "FILE")]
        output: Option<PathBuf>,
    },
}

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    // What can be wrong with a file is said before a board is needed.
    match &args.command {
        Command::Send { reference } => {
            send(args, Object::Reference, &for_board(reference)?)?;
        }
        Command::Thresholds { file } => {
            let config = thresholds_file::read(file).map_err(anyhow::Error::msg)?;
            let bytes = thresholds_file::to_bytes(&config).map_err(anyhow::Error::msg)?;
            send(args, Object::Config, &bytes)?;
        }
        Command::Status { json: false } => tell!("{}", words::status(&open(args)?.status()?)),
        Command::Status { json: true } => {
            give!("{}\n", serde_json::to_string(&open(args)?.status()?)?);
        }
        Command::Set { changes } => set(args, changes)?,
        Command::Play { recording, speed } => play(args, recording, *speed)?,
        Command::Log { seconds, output } => log(args, *seconds, output.as_deref())?,
    }
    Ok(ExitCode::SUCCESS)
}

type Port = Box<dyn serialport::SerialPort>;

fn open(args: &Args) -> anyhow::Result<Client<Port>> {
    open_patient(args, READ_TIMEOUT)
}

fn open_patient(args: &Args, timeout: Duration) -> anyhow::Result<Client<Port>> {
    let name = match &args.port {
        Some(name) => name.clone(),
        None => only_port()?,
    };
    let port = serialport::new(&name, args.baud)
        .timeout(timeout)
        .open()
        .with_context(|| format!("{name}: cannot be opened"))?;
    Ok(Client::new(port))
}

/// The one port of this machine.
fn only_port() -> anyhow::Result<String> {
    // Without this folder (containers) the listing itself would panic.
    let listed = if cfg!(target_os = "linux") && !Path::new("/sys/class/tty").is_dir() {
        Vec::new()
    } else {
        serialport::available_ports().unwrap_or_default()
    };
    let names: Vec<String> = listed.into_iter().map(|p| p.port_name).collect();
    match &names[..] {
        [one] => Ok(one.clone()),
        [] => bail!("no serial port found; plug the board in or name its port with --port"),
        _ => bail!("which port? say --port with one of {}", names.join(", ")),
    }
}

/// A reference as a board takes it. Landmarks are for people: a board has room for some and needs
/// none.
fn for_board(path: &Path) -> anyhow::Result<Vec<u8>> {
    let (mut kept, _) = reference_file::read(path)?;
    let (count, most) = (kept.landmarks.len(), cuepost_firmware::board::LANDMARKS);
    if count <= most {
        return read_file(path);
    }
    eprintln!("{count} landmarks are more than the {most} a board has room for: sent without them");
    kept.landmarks.clear();
    reference_file::encode(&kept.view())
        .map_err(|e| anyhow::anyhow!("{}: cannot be sent: {e}", path.display()))
}

fn read_file(path: &Path) -> anyhow::Result<Vec<u8>> {
    std::fs::read(path).with_context(|| format!("{}", path.display()))
}

fn send(args: &Args, object: Object, bytes: &[u8]) -> anyhow::Result<()> {
    let mut client = open(args)?;
    let bar = Bar::of_bytes(bytes.len() as u64, words::object(object));
    let mut begun = false;
    let sent = client.send(object, bytes, |have| {
        if !begun && have > 0 {
            bar.beside(&format!(
                "the board has {have} bytes already, going on from there"
            ));
        }
        begun = true;
        bar.at(have as u64);
    });
    bar.done();
    match sent {
        Ok(()) => {
            let id = file::id(bytes).unwrap_or(0);
            note!("{} {id:08X} is in use on the board", words::object(object));
            Ok(())
        }
        Err(e @ (BoardError::Port(_) | BoardError::Silent)) if begun => Err(anyhow::Error::new(e)
            .context("broken off; run the same command again and it goes on where it stopped")),
        Err(e) => Err(e.into()),
    }
}

fn set(args: &Args, changes: &[String]) -> anyhow::Result<()> {
    let mut message = Settings::default();
    for change in changes {
        let entry = words::setting(change).map_err(anyhow::Error::msg)?;
        if message.entries.push(entry).is_err() {
            bail!("too many settings at once");
        }
    }
    let mut client = open(args)?;
    if !changes.is_empty() {
        client.set(message)?;
    }
    tell!("{}", words::settings(&client.settings()?));
    Ok(())
}

/// The recording's samples at their pace, and the board's lines between them.
fn play(args: &Args, path: &Path, speed: f64) -> anyhow::Result<()> {
    if !(0.1..=1000.0).contains(&speed) {
        bail!("--speed {speed}: from 0.1 to 1000");
    }
    let recording = source::open(path, &source::Options::default())?;
    let mut client = open_patient(args, PLAY_TIMEOUT)?;
    let settings = client.settings()?;
    let computer = words::setting("source=computer").map_err(anyhow::Error::msg)?;
    if !settings.entries.contains(&computer) {
        bail!(
            "the board listens to its receiver; let it listen to this computer first: \
             cuepost board set source=computer"
        );
    }
    let mut pace = Pace::new(speed);
    for sample in recording {
        let sample = sample?;
        let wait = pace.wait(sample.time_us, Instant::now());
        hear(&mut client, wait)?;
        client.tell(&Message::Sample(sample))?;
    }
    hear(&mut client, LAST_WORDS)
}

/// Prints what the board says for a while.
fn hear(client: &mut Client<Port>, time: Duration) -> anyhow::Result<()> {
    let until = Instant::now() + time.max(PLAY_TIMEOUT);
    while let Some(left) = until.checked_duration_since(Instant::now()) {
        let Some(message) = client.listen(left)? else {
            break;
        };
        if let Some(line) = event(message).and_then(|event| line(&event, SpeedUnit::Kmh)) {
            say!("{line}");
        }
    }
    Ok(())
}

fn log(args: &Args, seconds: Option<f64>, output: Option<&Path>) -> anyhow::Result<()> {
    let mut keep = match output {
        Some(path) => {
            let made = std::fs::File::create(path);
            Some(made.with_context(|| format!("{}", path.display()))?)
        }
        None => None,
    };
    let mut client = open(args)?;
    let until = seconds.map(|s| Instant::now() + Duration::from_secs_f64(s.clamp(0.0, 1e6)));
    while until.is_none_or(|until| Instant::now() < until) {
        let Some(message) = client.listen(Duration::from_millis(200))? else {
            continue;
        };
        if let Some(keep) = &mut keep {
            let mut frame = [0; FRAME_MAX];
            if let Ok(len) = encode(&message, &mut frame) {
                keep.write_all(&frame[..len])?;
            }
        }
        if let Some(line) = event(message).and_then(|event| line(&event, SpeedUnit::Kmh)) {
            say!("{line}");
        }
    }
    Ok(())
}

/// The event in a message, if it is one that has a line.
fn event(message: Message) -> Option<Event> {
    match message {
        Message::Cue(cue) => Some(Event::Cue(cue)),
        Message::Lap(lap) => Some(Event::Lap(lap)),
        Message::Health(health) => Some(Event::Health(health)),
        Message::Pace(pace) => Some(Event::Pace(pace)),
        _ => None,
    }
}

//! `cuepost check`: what a file is and what is wrong with it.

mod json;

use super::packets;
use super::progress::{Reading, reading};
use crate::report::{Units, reference, system};
use crate::source::{self, Options, Report, Summary};
use crate::{record, reference_file};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Below this rate, onsets cannot be placed.
const RATE_LEAST_HZ: f64 = 4.5;
/// The rate that is worth having.
const RATE_WANTED_HZ: u32 = 10;

/// Say what a file is and what is wrong with it
///
/// A reference is printed in words: lap, start line, corners, what the car can do. Of a recording
/// it says what it is, what was understood, its rate and gaps, and what was refused and where
/// first. The exit code is 2 when a file cannot be read to its end.
///
/// With --layout it shows what a layout makes of packets: of a text with the bytes of a packet in
/// hexadecimal on each line, or of what a simulator sends just now (udp:PORT).
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  cuepost check demo/driver.csv
  cuepost check demo/quillmere.ref --json
  cuepost check --layout rig.toml udp:5005")]
pub struct Args {
    /// The file.
    file: PathBuf,
    /// Units for people.
    #[arg(long, value_enum, default_value_t)]
    units: Units,
    /// As one JSON object, for scripts: SI units, null where something is unknown.
    #[arg(long, conflicts_with = "layout")]
    json: bool,
    /// What a column of a table is, as in time_s=Zeit; may be given several times.
    #[arg(long, value_name = "NAME=COLUMN")]
    column: Vec<String>,
    /// How to read fixed binary packets, a TOML file.
    #[arg(long, value_name = "FILE")]
    layout: Option<PathBuf>,
    /// How long to listen to udp:PORT.
    #[arg(
        long,
        value_name = "SECONDS",
        default_value_t = 5.0,
        requires = "layout"
    )]
    seconds: f64,
    /// Keep the packets heard as a text that can be looked at again.
    #[arg(long, value_name = "FILE", requires = "layout")]
    save: Option<PathBuf>,
}

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let path = &args.file;
    if let Some(layout) = &args.layout {
        return packets::show(layout, path, args.seconds, args.save.as_deref());
    }
    if is_reference(path)? {
        let (store, id) = reference_file::read(path)?;
        if args.json {
            give!("{}\n", json::reference(&store.view(), id));
            return Ok(ExitCode::SUCCESS);
        }
        tell!("{}", reference::reference(&store.view(), args.units));
        say!("file        {id:08X}");
        return Ok(ExitCode::SUCCESS);
    }
    let options = Options::with_columns(&args.column)?;
    let mut recording = source::open(path, &options)?;
    let (summary, error) = read_all(reading(&mut recording, path));
    let report = recording.report();
    if args.json {
        give!("{}\n", json::recording(&report, &summary, error.as_ref()));
    } else {
        say!("{}", path.display());
        tell!("{}", words(&report, &summary));
    }
    match error {
        None => Ok(ExitCode::SUCCESS),
        Some(error) => Err(error.into()),
    }
}

fn is_reference(path: &Path) -> anyhow::Result<bool> {
    let mut head = Vec::new();
    if path != Path::new("-") {
        std::fs::File::open(path)
            .and_then(|file| file.take(4096).read_to_end(&mut head))
            .map_err(|e| anyhow::anyhow!("{}: {}", path.display(), system::words(&e)))?;
    }
    Ok(reference_file::looks_like(&head) && !record::looks_like(&head))
}

fn read_all(recording: Reading<'_>) -> (Summary, Option<source::SourceError>) {
    let mut summary = Summary::default();
    for item in recording {
        match item {
            Ok(sample) => summary.push(&sample),
            Err(error) => return (summary, Some(error)),
        }
    }
    (summary, None)
}

/// A recording in a few lines.
fn words(report: &Report, summary: &Summary) -> String {
    let mut lines = vec![(
        "what",
        format!("{}, {} bytes", report.kind.name(), report.bytes),
    )];
    lines.extend(report.notes.iter().map(|note| ("", note.clone())));
    if !report.understood.is_empty() {
        lines.push(("read", report.understood.join(", ")));
    }
    if !report.ignored.is_empty() {
        lines.push(("not used", report.ignored.join(", ")));
    }
    let rate = match summary.rate_hz() {
        Some(rate) if rate < RATE_LEAST_HZ => format!(
            ", {} a second: too few, let the source send {RATE_WANTED_HZ} or more",
            short(rate)
        ),
        Some(rate) => format!(", {} a second", short(rate)),
        None => String::new(),
    };
    let over = span(summary.duration_s());
    lines.push((
        "samples",
        format!("{}, over {over}{rate}", summary.samples()),
    ));
    if let Some(gaps) = gaps(summary) {
        lines.push(("gaps", gaps));
    }
    let channels: Vec<String> = summary.channels().map(channel).collect();
    lines.push(("channels", channels.join(", ")));
    let fastest = f64::from(summary.fastest_mps());
    lines.push((
        "fastest",
        format!("{fastest:.1} m/s ({:.0} km/h)", fastest * 3.6),
    ));
    if let Some(noise) = summary.speed_noise_mps() {
        let words = format!("speed {noise:.3} m/s from sample to sample above 3 m/s");
        lines.push(("noise", words));
    }
    let (position_m, speed_mps) = summary.accuracy();
    if let Some(metres) = position_m {
        lines.push((
            "accuracy",
            format!("position {metres:.2} m per axis, by its own word"),
        ));
    }
    if let Some(mps) = speed_mps {
        lines.push(("accuracy", format!("speed {mps:.3} m/s, by its own word")));
    }
    if report.refused.is_empty() {
        lines.push(("refused", "nothing".to_owned()));
    }
    for (at, refusal) in report.refused.iter().enumerate() {
        let name = if at == 0 { "refused" } else { "" };
        let words = format!(
            "{} x {}, first at {}",
            refusal.count, refusal.reason, refusal.first
        );
        lines.push((name, words));
    }
    lines
        .iter()
        .map(|(name, words)| format!("{name:<11} {words}\n"))
        .collect()
}

fn gaps(summary: &Summary) -> Option<String> {
    let (count, longest) = summary.gaps();
    (count > 0).then(|| {
        format!(
            "{count} longer than 0.5 s, the longest {:.2} s, {} after the first sample",
            longest.gap_us as f64 * 1e-6,
            span(summary.since_first_s(longest.from_us))
        )
    })
}

fn channel((name, share): (&str, f64)) -> String {
    if share > 0.9995 {
        name.to_owned()
    } else {
        format!("{name} ({:.1} %)", (share * 100.0).clamp(0.1, 99.9))
    }
}

/// A number without decimals that say nothing.
fn short(value: f64) -> String {
    if value.fract() == 0.0 {
        format!("{value}")
    } else {
        format!("{value:.2}")
    }
}

/// A time span as people say it.
fn span(seconds: f64) -> String {
    let minutes = (seconds / 60.0).floor();
    if minutes < 1.0 {
        return format!("{seconds:.3} s");
    }
    let rest = seconds - minutes * 60.0;
    if minutes < 60.0 {
        return format!("{minutes} min {rest:.3} s");
    }
    let hours = (minutes / 60.0).floor();
    format!("{hours} h {} min {rest:.0} s", minutes - hours * 60.0)
}

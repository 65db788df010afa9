//! `cuepost replay`: a recording against a reference.

use crate::replay::{Summary, replay, table::Table, text::Laps};
use crate::report::json::event_json;
use crate::report::units::Units;
use crate::source::kinds_differ;
use crate::{reference_file, source, thresholds_file};
use anyhow::Context;
use clap::ValueEnum;
use cuepost_engine::gate::Refusal;
use cuepost_engine::{Config, ReferenceView};
use std::io::{self, BufWriter, Write};
use std::path::PathBuf;
use std::process::ExitCode;

/// Run a recording against a reference: laps, corners, and what would have been told
///
/// Example: cuepost replay sunday.csv --reference club.ref --format jsonl > sunday.jsonl
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The recording: NMEA, UBX, CSV or our own; `-` is standard input
    recording: PathBuf,
    /// The reference, as `cuepost learn` made it
    #[arg(long, short)]
    reference: PathBuf,
    /// Thresholds from a file, as `cuepost thresholds` writes it
    #[arg(long, short, value_name = "FILE")]
    thresholds: Option<PathBuf>,
    /// What to print: text for people, jsonl with one event a line, csv with one corner a line
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// Units of the text
    #[arg(long, value_enum, default_value_t = Units::Metric)]
    units: Units,
    /// Read a column under another name, as `time_s=Zeit`; may be repeated
    #[arg(long, value_name = "OURS=THEIRS")]
    column: Vec<String>,
}

/// What `replay` prints.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Format {
    /// Lap by lap for a coach's eyes.
    Text,
    /// One JSON object an event.
    Jsonl,
    /// One line a passage of a corner.
    Csv,
}

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let (kept, _) = reference_file::read(&args.reference)?;
    let reference = kept.view();
    let options = source::Options::with_columns(&args.column)?;
    let mut recording = source::open(&args.recording, &options)?;
    let made = reference.session.source;
    if let Some(words) = kinds_differ(made, recording.source_kind(), "this recording is") {
        eprintln!("{words}");
    }
    let out = BufWriter::new(io::stdout().lock());
    let config = thresholds_file::read_or_default(args.thresholds.as_deref())?;
    let (summary, fault) = print(args, &mut recording, &reference, config, out)?;
    for line in complaints(&summary) {
        eprintln!("{line}");
    }
    match fault {
        Some(fault) => Err(anyhow::Error::new(fault).context("read up to here, then stopped")),
        None => Ok(ExitCode::SUCCESS),
    }
}

fn print(
    args: &Args,
    recording: &mut source::Recording,
    reference: &ReferenceView<'_>,
    config: Config,
    mut out: impl Write,
) -> anyhow::Result<(Summary, Option<source::SourceError>)> {
    let mut failed: io::Result<()> = Ok(());
    let done = match args.format {
        Format::Jsonl => {
            let done = replay(recording, reference, config, |event, start_us| {
                if failed.is_ok() {
                    let line = event_json(event, reference, start_us, args.units);
                    failed = writeln!(out, "{line}");
                }
            });
            failed.and_then(|()| out.flush())?;
            done
        }
        Format::Text => {
            let mut laps = Laps::new(*reference, args.units, &mut out);
            let done = replay(recording, reference, config, |event, _| laps.take(event));
            laps.finish()?;
            out.flush()?;
            done
        }
        Format::Csv => {
            let mut table = Table::new(&mut out);
            let done = replay(recording, reference, config, |event, _| table.take(event));
            table.finish().context("writing the table")?;
            out.flush()?;
            done
        }
    };
    Ok(done)
}

/// What a person should know about the run: refusals, and when nothing at all came of it.
fn complaints(summary: &Summary) -> Vec<String> {
    let mut lines = Vec::new();
    let refused: Vec<String> = Refusal::ALL
        .iter()
        .zip(summary.refused)
        .filter(|(_, count)| *count > 0)
        .map(|(why, count)| format!("{count} {}", why.name()))
        .collect();
    if !refused.is_empty() {
        lines.push(format!(
            "Of {} samples refused: {}.",
            summary.samples,
            refused.join(", ")
        ));
    }
    if summary.samples > 0 && summary.laps == 0 {
        lines.push(
            "No lap was closed: is this the same circuit as the reference's, and driven the same way round?"
                .to_owned(),
        );
    }
    lines
}

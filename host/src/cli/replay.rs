//! `cuepost replay`: a recording against a reference.

use super::manners::{self, Fitting};
use super::progress::{Bar, reading};
use crate::adapt::words::caution;
use crate::replay::{Summary, replay, table::Table, text::Laps};
use crate::report::json::event_json;
use crate::report::units::Units;
use crate::source::{SourceError, kinds_differ};
use crate::tables::{Tables, to_parquet};
use crate::{conditions, durable, reference_file, source, thresholds_file};
use anyhow::{Context, bail};
use clap::ValueEnum;
use cuepost_engine::gate::Refusal;
use cuepost_engine::{Config, ReferenceView, Sample};
use rayon::prelude::*;
use std::collections::BTreeSet;
use std::io::{self, BufWriter, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Run a recording against a reference: laps, corners, and what would have been told
///
/// Several recordings are replayed on all cores, and told in the order given.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  cuepost replay demo/driver.csv --reference demo/quillmere.ref
  cuepost replay demo/driver.csv -r demo/quillmere.ref --format jsonl > driver.jsonl
  cuepost replay demo/driver.csv -r demo/quillmere.ref --format parquet -o driver")]
pub struct Args {
    /// The recordings: NMEA, UBX, CSV or our own; `-` is standard input
    #[arg(required = true)]
    recording: Vec<PathBuf>,
    /// The reference, as `cuepost learn` made it
    #[arg(long, short)]
    reference: PathBuf,
    /// Thresholds from a file, as `cuepost thresholds` writes it
    #[arg(long, short, value_name = "FILE")]
    thresholds: Option<PathBuf>,
    /// What to print: text for people, jsonl with one event a line, csv with one corner a line;
    /// with --output, csv and parquet write laps, facts and cues as three tables
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// Write the tables PREFIX.laps, PREFIX.facts and PREFIX.cues, each .csv or .parquet; of several
    /// recordings PREFIX.RECORDING.laps and so on
    #[arg(long, short, value_name = "PREFIX")]
    output: Option<PathBuf>,
    /// Conditions of the session in words, as "24 C air, dry, tyres 20 laps, fuel 40 l"; the
    /// recording's own when not given
    #[arg(long, value_name = "WORDS")]
    conditions: Option<String>,
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
    /// One line a passage of a corner; three tables with `--output`.
    Csv,
    /// Three tables.
    Parquet,
}

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let (kept, _) = reference_file::read(&args.reference)?;
    let reference = kept.view();
    let config = thresholds_file::read_or_default(args.thresholds.as_deref())?;
    match (args.format, &args.output) {
        (Format::Parquet, None) => bail!(
            "--format parquet needs --output PREFIX: the tables are PREFIX.laps.parquet, \
             PREFIX.facts.parquet and PREFIX.cues.parquet"
        ),
        (Format::Text | Format::Jsonl, Some(_)) => bail!(
            "--output is for the tables of --format csv and parquet; text and jsonl are printed, \
             so write > FILE"
        ),
        _ => {}
    }
    if let [recording] = args.recording.as_slice() {
        let out = BufWriter::new(io::stdout().lock());
        one(args, recording, &reference, config, out)?;
        return Ok(ExitCode::SUCCESS);
    }
    distinct(args)?;
    several(args, &reference, &config)
}

/// Tables of several recordings are named after them.
fn distinct(args: &Args) -> anyhow::Result<()> {
    let stems: BTreeSet<_> = args.recording.iter().map(|r| r.file_stem()).collect();
    if args.output.is_some() && stems.len() < args.recording.len() {
        bail!("two recordings have the same name, and so would their tables; replay them apart");
    }
    Ok(())
}

/// Each recording on a core of its own, told in the order given; one that cannot be read does not
/// keep the others back.
fn several(
    args: &Args,
    reference: &ReferenceView<'_>,
    config: &Config,
) -> anyhow::Result<ExitCode> {
    let bar = Bar::new(args.recording.len() as u64, "recordings replayed");
    let replayed = args.recording.par_iter().map(|recording| {
        let mut out = Vec::new();
        let done = one(args, recording, reference, config.clone(), &mut out);
        bar.step();
        (out, done.with_context(|| recording.display().to_string()))
    });
    let replayed: Vec<_> = replayed.collect();
    bar.done();
    let mut failed = 0;
    let mut stdout = io::stdout().lock();
    for (recording, (out, done)) in args.recording.iter().zip(&replayed) {
        if args.format == Format::Text {
            writeln!(stdout, "== {}", recording.display())?;
        }
        stdout.write_all(out)?;
        if let Err(error) = done {
            eprintln!("cuepost: {error:#}");
            failed += 1;
        }
    }
    stdout.flush()?;
    if failed > 0 {
        bail!(
            "{failed} of {} recordings could not be read",
            args.recording.len()
        );
    }
    Ok(ExitCode::SUCCESS)
}

/// One recording.
fn one(
    args: &Args,
    path: &Path,
    reference: &ReferenceView<'_>,
    config: Config,
    out: impl Write,
) -> anyhow::Result<()> {
    let options = source::Options::with_columns(&args.column)?;
    let mut recording = source::open(path, &options)?;
    let made = reference.session.source;
    if let Some(words) = kinds_differ(made, recording.source_kind(), "this recording is") {
        eprintln!("{words}");
    }
    let today = args.conditions.clone().unwrap_or(recording.conditions());
    if let Some(warning) = conditions::warning(&reference.session.conditions, &today) {
        eprintln!("{warning}");
    }
    if let Some(caution) = caution(reference.session) {
        eprintln!("{caution}");
    }
    let written_on = args.output.is_none() && io::stdout().is_terminal();
    let alone = args.recording.len() == 1;
    let samples = reading(&mut recording, path).unless(written_on || !alone);
    // Several recordings have a core each already; what is typed or piped in is told as it comes.
    let (summary, fault) = if alone && path != Path::new("-") {
        source::ahead(samples, |samples| {
            tell(args, path, samples, reference, config, out)
        })?
    } else {
        tell(args, path, samples, reference, config, out)?
    };
    for line in complaints(&summary) {
        eprintln!("{line}");
    }
    match fault {
        Some(fault) => Err(anyhow::Error::new(fault).context("read up to here, then stopped")),
        None => Ok(()),
    }
}

fn tell(
    args: &Args,
    path: &Path,
    samples: impl Samples,
    reference: &ReferenceView<'_>,
    config: Config,
    out: impl Write,
) -> anyhow::Result<(Summary, Option<SourceError>)> {
    match &args.output {
        Some(prefix) => tables(args, (path, prefix), samples, reference, config, out),
        None => print(args, samples, reference, config, out),
    }
}

/// What a recording gives.
trait Samples: Iterator<Item = Result<Sample, SourceError>> {}
impl<T: Iterator<Item = Result<Sample, SourceError>>> Samples for T {}

fn print(
    args: &Args,
    recording: impl Samples,
    reference: &ReferenceView<'_>,
    config: Config,
    mut out: impl Write,
) -> anyhow::Result<(Summary, Option<SourceError>)> {
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
            let mut out = Fitting::new(out);
            let mut laps = Laps::new(*reference, args.units, &mut out);
            let done = replay(recording, reference, config, |event, _| laps.take(event));
            laps.finish()?;
            out.flush()?;
            done
        }
        Format::Csv | Format::Parquet => {
            let mut table = Table::new(&mut out);
            let done = replay(recording, reference, config, |event, _| table.take(event));
            table.finish().context("writing the table")?;
            out.flush()?;
            done
        }
    };
    Ok(done)
}

/// Laps, facts and cues as files, of all that was read.
fn tables(
    args: &Args,
    (path, prefix): (&Path, &Path),
    recording: impl Samples,
    reference: &ReferenceView<'_>,
    config: Config,
    mut out: impl Write,
) -> anyhow::Result<(Summary, Option<SourceError>)> {
    let name = path.file_stem().unwrap_or_default();
    let name = name.to_string_lossy();
    let mut tables = Tables::new(&name, *reference, args.units);
    let done = replay(recording, reference, config, |event, start_us| {
        tables.take(event, start_us);
    });
    for table in tables.finish() {
        let (bytes, kind) = match args.format {
            Format::Parquet => (to_parquet(&table)?, "parquet"),
            _ => (table.to_csv()?, "csv"),
        };
        let mut path = prefix.as_os_str().to_owned();
        if args.recording.len() > 1 {
            path.push(format!(".{name}"));
        }
        path.push(format!(".{}.{kind}", table.name));
        let path = PathBuf::from(path);
        let shown = path.display();
        durable::write(&path, &bytes).with_context(|| format!("{shown}: cannot be written"))?;
        if !manners::quiet() {
            writeln!(out, "{shown}: {} rows", table.rows.len())?;
        }
    }
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

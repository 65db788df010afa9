//! `cuepost debrief`: a session on one page.

use super::progress::reading;
use crate::debrief::{Debrief, render};
use crate::report::units::Units;
use crate::session::measure;
use crate::{durable, reference_file, source, thresholds_file};
use anyhow::{Context, bail};
use std::path::PathBuf;
use std::process::ExitCode;

/// Make one page of a session: where the time went, and what to work on first
///
/// The page needs no network and nothing beside it.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example:
  cuepost debrief demo/driver.csv --reference demo/quillmere.ref -o page.html")]
pub struct Args {
    /// The recording: NMEA, UBX, CSV or our own
    recording: PathBuf,
    /// The reference, as `cuepost learn` made it
    #[arg(long, short)]
    reference: PathBuf,
    /// The page to write
    #[arg(long, short, value_name = "PAGE.html")]
    output: PathBuf,
    /// Thresholds from a file, as `cuepost thresholds` writes it
    #[arg(long, short, value_name = "FILE")]
    thresholds: Option<PathBuf>,
    /// Conditions of the session in words, as "24 C air, dry, tyres 20 laps, fuel 40 l"; the
    /// recording's own when not given
    #[arg(long, value_name = "WORDS")]
    conditions: Option<String>,
    /// Units of the page
    #[arg(long, value_enum, default_value_t = Units::Metric)]
    units: Units,
    /// Read a column under another name, as `time_s=Zeit`; may be repeated
    #[arg(long, value_name = "OURS=THEIRS")]
    column: Vec<String>,
}

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let (kept, _) = reference_file::read(&args.reference)?;
    let reference = kept.view();
    let config = thresholds_file::read_or_default(args.thresholds.as_deref())?;
    let options = source::Options::with_columns(&args.column)?;
    let mut recording = source::open(&args.recording, &options)?;
    let made = reference.session.source;
    if let Some(words) = source::kinds_differ(made, recording.source_kind(), "this recording is") {
        eprintln!("{words}");
    }
    let conditions = args.conditions.clone().unwrap_or(recording.conditions());
    let (session, fault) = measure(
        reading(&mut recording, &args.recording),
        &reference,
        &config,
    );
    if let Some(why) = session.nothing() {
        if let Some(fault) = fault {
            return Err(fault.into());
        }
        bail!("{}: {why}", args.recording.display());
    }
    if session.laps.is_empty() {
        eprintln!("No lap was closed: the page has the corners only.");
    }
    let name = args.recording.file_stem().unwrap_or_default();
    let page = render(&Debrief {
        recording: &name.to_string_lossy(),
        conditions: &conditions,
        reference: &reference,
        session: &session,
        config: &config,
        units: args.units,
    });
    let path = args.output.display();
    durable::write(&args.output, page.as_bytes())
        .with_context(|| format!("{path}: cannot be written"))?;
    note!(
        "{path}: {} laps, {} kB",
        session.laps.len(),
        page.len().div_ceil(1000)
    );
    match fault {
        Some(fault) => Err(anyhow::Error::new(fault).context("read up to here, then stopped")),
        None => Ok(ExitCode::SUCCESS),
    }
}

//! `cuepost learn`: a reference from recordings.

use super::manners;
use super::progress::{Bar, reading};
use crate::learn::{self, Options, StartAt, Take, words};
use crate::report::{Units, reference};
use crate::{landmarks, reference_file, source};
use anyhow::{Context, bail};
use clap::ValueEnum;
use cuepost_engine::reference::SourceKind;
use cuepost_engine::{Position, Sample};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Build a reference from recordings of the coach's laps
///
/// Finds the start line and the laps, drops those that are no good and says why, takes the fastest
/// good lap (or --lap N) as the reference, and measures its corners.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  cuepost learn demo/coach.csv -o club.ref
  cuepost learn demo/coach.csv -o club.ref --name 'Club, dry' --mass 1250 --lap 3")]
pub struct Args {
    /// Recordings of the same circuit, car and day: NMEA, UBX, CSV or our own.
    #[arg(required = true)]
    recordings: Vec<PathBuf>,
    /// Where to write the reference.
    #[arg(long, short)]
    output: PathBuf,
    /// The lap that is the reference, by the number printed; else the fastest good one.
    #[arg(long)]
    lap: Option<u32>,
    /// The start line: EAST_M,NORTH_M,BEARING_DEG in the source's own plane or
    /// LAT,LON,BEARING_DEG; the bearing is the direction of travel clockwise from north.
    #[arg(long, value_name = "A,B,BEARING", allow_hyphen_values = true)]
    start: Option<String>,
    /// Name of circuit and layout.
    #[arg(long, default_value = "")]
    name: String,
    /// Name of the car.
    #[arg(long, default_value = "")]
    car: String,
    /// Conditions in words, as in "18 degrees, dry, half a tank".
    #[arg(long, default_value = "")]
    conditions: String,
    /// Mass of car and driver, kilograms: `cuepost adapt --mass` then knows what +50 kg means.
    #[arg(long, value_name = "KG", value_parser = mass)]
    mass: Option<f32>,
    /// Landmarks and notes of the corners, as `cuepost landmarks` makes them.
    #[arg(long, value_name = "FILE")]
    landmarks: Option<PathBuf>,
    /// Kind of source, when it is not what the recording looks like.
    #[arg(long, value_enum)]
    source: Option<Kind>,
    /// What a column of a table is, as in time_s=Zeit; may be given several times.
    #[arg(long, value_name = "NAME=COLUMN")]
    column: Vec<String>,
    /// Units for people.
    #[arg(long, value_enum, default_value_t)]
    units: Units,
}

/// Kinds of source that a user can state.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Kind {
    /// A satellite receiver.
    Receiver,
    /// A simulator or another source without a receiver's lag.
    Simulator,
}

/// A mass in kilograms, as arguments take it.
pub(super) fn mass(text: &str) -> Result<f32, String> {
    let (least, most) = cuepost_engine::reference::MASS_KG;
    let known = text.parse().ok().filter(|m| (least..=most).contains(m));
    known.ok_or_else(|| format!("kilograms from {least} to {most}"))
}

/// A recording as read, up to its first fault.
struct Read {
    name: String,
    samples: Vec<Sample>,
    kind: SourceKind,
    fault: Option<source::SourceError>,
}

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let options = source::Options::with_columns(&args.column)?;
    let mut reads = Vec::new();
    for path in &args.recordings {
        reads.push(read(path, &options)?);
    }
    let options = learn_options(args, &reads)?;
    let takes: Vec<Take> = reads
        .iter()
        .map(|r| Take {
            name: &r.name,
            samples: &r.samples,
        })
        .collect();
    // What is wrong with it is said before the work.
    let notes = args.landmarks.as_deref().map(landmarks::file::read);
    let notes = notes.transpose().map_err(anyhow::Error::msg)?;
    let bar = Bar::of_share("learning");
    let learned = learn::learn(&takes, &options, &mut |share, word| bar.share(share, word));
    bar.done();
    let mut learned = learned.with_context(|| names(&reads))?;
    if let (Some(notes), Some(path)) = (&notes, &args.landmarks) {
        landmarks::put::put(&mut learned.reference, notes)
            .map_err(|e| anyhow::anyhow!("{}: {e}", path.display()))?;
    }
    let view = learned.reference.view();
    let id = reference_file::write(&args.output, &view)?;
    let all: Vec<String> = reads.iter().map(|r| r.name.clone()).collect();
    if !manners::quiet() {
        tell!("{}", words::laps(&learned, &all));
        tell!("\n");
        tell!("{}", reference::reference(&view, args.units));
        say!("written     {} ({id:08X})", args.output.display());
    }
    let mut code = ExitCode::SUCCESS;
    for fault in reads.into_iter().filter_map(|r| r.fault) {
        eprintln!("cuepost: learned from what was read before: {fault}");
        code = ExitCode::from(super::BAD_INPUT);
    }
    Ok(code)
}

fn read(path: &Path, options: &source::Options) -> anyhow::Result<Read> {
    let mut recording = source::open(path, options)?;
    let mut samples = Vec::new();
    let mut fault = None;
    for item in reading(&mut recording, path) {
        match item {
            Ok(sample) => samples.push(sample),
            Err(error) => fault = Some(error),
        }
    }
    if let (true, Some(fault)) = (samples.is_empty(), fault.take_if(|_| samples.is_empty())) {
        return Err(fault.into());
    }
    Ok(Read {
        name: path.display().to_string(),
        samples,
        kind: recording.source_kind(),
        fault,
    })
}

fn names(reads: &[Read]) -> String {
    let all: Vec<&str> = reads.iter().map(|r| r.name.as_str()).collect();
    all.join(", ")
}

fn learn_options(args: &Args, reads: &[Read]) -> anyhow::Result<Options> {
    let stated = args.source.map(|k| match k {
        Kind::Receiver => SourceKind::Receiver,
        Kind::Simulator => SourceKind::Simulator,
    });
    let first = reads.first().map_or(SourceKind::Unknown, |r| r.kind);
    if reads.iter().any(|r| r.kind != first) && stated.is_none() {
        bail!(
            "{}: recordings of a receiver and of another source cannot be learned from together: \
             their lags differ; state --source when they are alike",
            names(reads)
        );
    }
    let geodetic = reads
        .iter()
        .flat_map(|r| &r.samples)
        .find_map(|s| s.position)
        .is_some_and(|p| matches!(p, Position::Geodetic { .. }));
    let start = args.start.as_deref().map(|s| StartAt::parse(s, geodetic));
    Ok(Options {
        start: start.transpose().map_err(anyhow::Error::msg)?,
        lap: args.lap,
        name: args.name.clone(),
        car: args.car.clone(),
        conditions: args.conditions.clone(),
        mass_kg: args.mass,
        source: stated.unwrap_or(first),
    })
}

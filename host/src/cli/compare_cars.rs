//! `cuepost compare-cars`: what two cars differ in.

use super::progress::{Bar, reading};
use crate::compare::{Measured, fit, measure, words};
use crate::learn::{self, Options, Take};
use crate::report::Units;
use crate::source;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Say what two cars differ in, from a recording of each
///
/// Cornering, braking, full throttle and coasting against speed, with uncertainty; in words what B
/// has less or more of; and which changes of grip, power, drag and downforce would make A behave
/// like B, so that a simulator's car can be set up to feel like the real one. The recordings may be
/// of different circuits.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example:
  cuepost compare-cars demo/coach.csv demo/driver.csv")]
pub struct Args {
    /// Recordings of car A: at least one whole lap at speed
    a: PathBuf,
    /// And of car B
    b: PathBuf,
    /// What a column of a table is, as in time_s=Zeit; may be given several times
    #[arg(long, value_name = "NAME=COLUMN")]
    column: Vec<String>,
    /// Units for people
    #[arg(long, value_enum, default_value_t)]
    units: Units,
}

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let options = source::Options::with_columns(&args.column)?;
    let (a, b) = (car(&args.a, &options)?, car(&args.b, &options)?);
    say!("A  {}\nB  {}", args.a.display(), args.b.display());
    let found = fit(&a, &b);
    tell!("{}", words::compared(&a, &b, found.as_ref(), args.units));
    Ok(ExitCode::SUCCESS)
}

fn car(path: &Path, options: &source::Options) -> anyhow::Result<Measured> {
    let mut samples = Vec::new();
    let mut recording = source::open(path, options)?;
    for item in reading(&mut recording, path) {
        match item {
            Ok(sample) => samples.push(sample),
            Err(fault) if samples.is_empty() => return Err(fault.into()),
            Err(fault) => eprintln!("cuepost: read up to here: {fault}"),
        }
    }
    let name = path.display().to_string();
    let take = Take {
        name: &name,
        samples: &samples,
    };
    let bar = Bar::of_share(&name);
    let learned = learn::learn(&[take], &Options::default(), &mut |share, word| {
        bar.share(share, word);
    });
    bar.done();
    let learned = learned.map_err(|e| anyhow::anyhow!("{name}: {e}"))?;
    Ok(measure(&learned.profiles))
}

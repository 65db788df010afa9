//! `cuepost thresholds`: a file of thresholds to begin from, or a look at one.

use crate::{durable, thresholds_file};
use anyhow::{Context, bail};
use cuepost_engine::Config;
use std::path::PathBuf;
use std::process::ExitCode;

/// Print every threshold with what it does and its range, as a file to edit
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  cuepost thresholds -o club.toml
  cuepost replay demo/driver.csv -r demo/quillmere.ref -t club.toml")]
pub struct Args {
    /// Begin from these thresholds instead of the built-in ones; says what is wrong with the file
    file: Option<PathBuf>,
    /// Write here instead of printing; an existing file is not touched
    #[arg(long, short, value_name = "FILE")]
    output: Option<PathBuf>,
}

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let config: Config = thresholds_file::read_or_default(args.file.as_deref())?;
    let text = thresholds_file::write(&config);
    match &args.output {
        None => give!("{text}"),
        Some(path) if path.exists() => {
            bail!("{}: is there already; name another file", path.display())
        }
        Some(path) => {
            let shown = path.display();
            durable::write(path, text.as_bytes())
                .with_context(|| format!("{shown}: cannot be written"))?;
            note!("{shown}: every threshold; edit it, then give it with --thresholds {shown}");
        }
    }
    Ok(ExitCode::SUCCESS)
}

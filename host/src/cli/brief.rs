//! `cuepost brief`: the coach's sheet.

use crate::brief::{markdown, page, sheet, text};
use crate::report::Units;
use crate::{durable, reference_file};
use anyhow::{Context, bail};
use clap::ValueEnum;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Print a reference as a sheet to brief from: corner by corner, in landmarks
///
/// A page (.html) prints on two sheets of A4 for 16 corners, with a drawing of the circuit.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  cuepost brief demo/quillmere.ref
  cuepost brief demo/quillmere.ref -o sheet.html")]
pub struct Args {
    /// The reference, as `cuepost learn` or `cuepost adapt` made it
    reference: PathBuf,
    /// Where to write; printed when not given
    #[arg(long, short, value_name = "FILE")]
    output: Option<PathBuf>,
    /// What to write; follows from the file's ending when not given
    #[arg(long, value_enum)]
    format: Option<Format>,
    /// Units for people
    #[arg(long, value_enum, default_value_t)]
    units: Units,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Format {
    /// For a terminal.
    Text,
    /// Markdown.
    Markdown,
    /// A page to print.
    Html,
}

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let (kept, _) = reference_file::read(&args.reference)?;
    let view = kept.view();
    let format = match (args.format, &args.output) {
        (Some(format), _) => format,
        (None, None) => Format::Text,
        (None, Some(path)) => by_ending(path)?,
    };
    let said = sheet(&view, args.units);
    let written = match format {
        Format::Text => text(&said, args.units),
        Format::Markdown => markdown(&said, args.units),
        Format::Html => page(&said, &view, args.units),
    };
    match &args.output {
        None if format == Format::Text => tell!("{written}"),
        None => give!("{written}"),
        Some(path) => {
            let shown = path.display();
            durable::write(path, written.as_bytes())
                .with_context(|| format!("{shown}: cannot be written"))?;
            note!("{shown}: {} corners", view.corners.len());
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// What a file of this name holds.
fn by_ending(path: &Path) -> anyhow::Result<Format> {
    match path.extension().and_then(|e| e.to_str()) {
        Some("html" | "htm") => Ok(Format::Html),
        Some("md" | "markdown") => Ok(Format::Markdown),
        Some("txt") | None => Ok(Format::Text),
        Some(_) => bail!(
            "{}: a sheet is .html (a browser prints it, into a PDF as well), .md or .txt",
            path.display()
        ),
    }
}

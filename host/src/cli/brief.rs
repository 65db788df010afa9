//! `cuepost brief`: the coach's sheet.

use crate::brief::{markdown, page, sheet, text};
use crate::report::Units;
use crate::{durable, reference_file};
use anyhow::Context;
use clap::ValueEnum;
use std::path::PathBuf;
use std::process::ExitCode;

/// Print a reference as a sheet to brief from: corner by corner, in landmarks
///
/// A page (.html) prints on two sheets of A4 for 16 corners, with a drawing of the circuit.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  cuepost brief club.ref
  cuepost brief club.ref -o club.html")]
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
    let ending = args.output.as_deref().and_then(|p| p.extension());
    let format = args
        .format
        .unwrap_or(match ending.and_then(|e| e.to_str()) {
            Some("html" | "htm") => Format::Html,
            Some("md" | "markdown") => Format::Markdown,
            _ => Format::Text,
        });
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

//! `cuepost landmarks`: what stands beside the road, for everything that is said to people.

use crate::landmarks::file::{self, Spot};
use crate::landmarks::{press, put};
use crate::report::places;
use crate::{durable, reference_file, source};
use anyhow::{Context, bail};
use clap::Subcommand;
use cuepost_engine::ReferenceView;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Make a file of landmarks from marks in a recording, put it into a reference, list it
///
/// A landmark is a board, a bridge, the end of a kerb: brake points are then told by it. The file
/// can also name corners and hold a note for each.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  cuepost landmarks from demo/coach.csv -r demo/quillmere.ref --times boards.txt -o boards.toml
  cuepost landmarks put boards.toml -r demo/quillmere.ref -o club.ref")]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Make the file from places marked while driving past
    #[command(after_help = "\
Examples:
  cuepost landmarks from demo/coach.csv -r demo/quillmere.ref --times boards.txt -o boards.toml
  cuepost landmarks from drive.csv -r club.ref --press horn --late 0.2 -o boards.toml")]
    From(From),
    /// Put a file into a reference, in place of the landmarks it has
    #[command(after_help = "\
Example:
  cuepost landmarks put boards.toml -r demo/quillmere.ref -o club.ref")]
    Put(Put),
    /// Print a reference's landmarks and notes as a file to edit
    #[command(after_help = "\
Example:
  cuepost landmarks list demo/quillmere.ref > boards.toml")]
    List(List),
}

#[derive(Debug, clap::Args)]
struct From {
    /// The recording; without --times or --press its own marks are taken
    recording: PathBuf,
    /// The reference whose line it drives on
    #[arg(long, short)]
    reference: PathBuf,
    /// A list of times: "83.4 second board" a line, seconds from the first sample, or 1:23.4
    #[arg(long, value_name = "FILE", conflicts_with = "press")]
    times: Option<PathBuf>,
    /// A column of the table that is 1 while a key is held, else 0
    #[arg(long, value_name = "COLUMN")]
    press: Option<String>,
    /// How late the key was pressed, seconds; a passenger takes about 0.2
    #[arg(long, value_name = "SECONDS", default_value_t = 0.0)]
    late: f64,
    /// Where to write; an existing file is not touched. Printed when not given
    #[arg(long, short, value_name = "FILE")]
    output: Option<PathBuf>,
    /// What a column of a table is, as in time_s=Zeit; may be given several times
    #[arg(long, value_name = "NAME=COLUMN")]
    column: Vec<String>,
}

#[derive(Debug, clap::Args)]
struct Put {
    /// The file of landmarks and notes
    file: PathBuf,
    /// The reference
    #[arg(long, short)]
    reference: PathBuf,
    /// Where to write the reference; may be the same file
    #[arg(long, short)]
    output: PathBuf,
}

#[derive(Debug, clap::Args)]
struct List {
    /// The reference
    reference: PathBuf,
}

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    match &args.what {
        What::From(args) => from(args),
        What::Put(args) => put_into(args),
        What::List(args) => list(args),
    }
}

fn from(args: &From) -> anyhow::Result<ExitCode> {
    if !(0.0..=5.0).contains(&args.late) {
        bail!("--late {}: from 0 to 5 seconds", args.late);
    }
    let (kept, _) = reference_file::read(&args.reference)?;
    let reference = kept.view();
    let mut columns = args.column.clone();
    columns.extend(args.press.iter().map(|name| format!("steer={name}")));
    let options = source::Options::with_columns(&columns)?;
    let given = given(args)?;
    let samples = source::open(&args.recording, &options)?;
    let (found, nowhere, fault) = press::find(samples, &reference, &given, args.late);
    for press in &nowhere {
        eprintln!("cuepost: no place on the line is known at {press}; left out");
    }
    if let Some(fault) = fault {
        eprintln!("cuepost: read up to here: {fault}");
    }
    if found.is_empty() {
        bail!(
            "{}: nothing is marked; give --times FILE, or --press COLUMN",
            args.recording.display()
        );
    }
    let text = words(&reference, &found);
    give(args.output.as_deref(), &text)?;
    if args.output.is_some() {
        note!("{} landmarks: say on which side each stands", found.len());
    }
    Ok(ExitCode::SUCCESS)
}

fn given(args: &From) -> anyhow::Result<press::Given> {
    if let Some(path) = &args.times {
        let name = path.display();
        let text = std::fs::read_to_string(path).with_context(|| name.to_string())?;
        let times = press::times(&text).map_err(|e| anyhow::anyhow!("{name}: {e}"))?;
        return Ok(press::Given::Times(times));
    }
    if args.press.is_some() {
        return Ok(press::Given::Column);
    }
    let marks =
        press::marks(&args.recording).with_context(|| args.recording.display().to_string())?;
    Ok(press::Given::Marks(marks))
}

fn words(reference: &ReferenceView<'_>, found: &[press::Found]) -> String {
    let mut out = String::from(
        "# Landmarks: name, place and side of what stands beside the road. The places are the\n\
         # car's when it passed; instead of a position, progress_m is metres from the start line.\n\n",
    );
    for (f, number) in found.iter().zip(1..) {
        let name = if f.name.is_empty() {
            format!("mark {number}")
        } else {
            f.name.clone()
        };
        let scatter = if f.presses > 1 {
            format!(", marked {} times within {:.0} m", f.presses, f.apart_m)
        } else {
            String::new()
        };
        let note = format!("{:.0} m from the start line{scatter}", f.progress_m);
        let spot = put::position(reference, f.progress_m)
            .map_or(Spot::Progress(f.progress_m), Spot::Position);
        file::write(&mut out, &name, spot, None, &note);
    }
    out
}

fn put_into(args: &Put) -> anyhow::Result<ExitCode> {
    let (mut kept, _) = reference_file::read(&args.reference)?;
    let notes = file::read(&args.file).map_err(anyhow::Error::msg)?;
    put::put(&mut kept, &notes).map_err(|e| anyhow::anyhow!("{}: {e}", args.file.display()))?;
    let id = reference_file::write(&args.output, &kept.view())?;
    for l in &kept.landmarks {
        note!(
            "{:>7.0} m  {:<6}  {}",
            l.progress_m,
            places::side(l.side),
            l.name
        );
    }
    note!("written     {} ({id:08X})", args.output.display());
    Ok(ExitCode::SUCCESS)
}

fn list(args: &List) -> anyhow::Result<ExitCode> {
    let (kept, _) = reference_file::read(&args.reference)?;
    let mut out = String::new();
    for l in &kept.landmarks {
        let spot = Spot::Progress(l.progress_m.into());
        file::write(&mut out, &l.name, spot, Some(l.side), "");
    }
    for (c, number) in kept.corners.iter().zip(1..) {
        out += &format!("[[corner]]\nnumber = {number}\n");
        for (field, text) in [("name", c.name.as_str()), ("note", c.note.as_str())] {
            if !text.is_empty() {
                out += &format!("{field} = {}\n", file::quoted(text));
            }
        }
        if let Some(gear) = c.gear {
            out += &format!("gear = {gear}\n");
        }
        out.push('\n');
    }
    give!("{out}");
    Ok(ExitCode::SUCCESS)
}

fn give(path: Option<&Path>, text: &str) -> anyhow::Result<()> {
    match path {
        None => give!("{text}"),
        Some(path) if path.exists() => {
            bail!("{}: is there already; name another file", path.display())
        }
        Some(path) => durable::write(path, text.as_bytes())
            .with_context(|| format!("{}: cannot be written", path.display()))?,
    }
    Ok(())
}

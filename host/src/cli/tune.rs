//! `cuepost tune`: recordings under many thresholds.

use super::progress::Bar;
use crate::page::server::{Limits, Server, Talk};
use crate::report::Units;
use crate::tables::{Table, to_parquet};
use crate::tune::marks::Marks;
use crate::tune::outcome::{Desk, Outcome, passes, sheets, sweep};
use crate::tune::page::{Opened, Work, router};
use crate::tune::recommend::{Recommended, recommend};
use crate::tune::settings::{Setting, Vary, grid, one_at_a_time};
use crate::tune::{Take, show};
use crate::{durable, reference_file, source, thresholds_file};
use anyhow::{Context, anyhow, bail};
use cuepost_engine::{Config, ReferenceView};
use rayon::prelude::*;
use std::collections::HashMap;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Instant;

/// Try other thresholds on recordings: what would have been told, and whether it is right
///
/// Each recording is measured once and judged under every setting; without --vary all thresholds
/// are scaled together from half to two and a half times themselves. For each setting: cues a lap,
/// seconds a lap it tells of, how much of it would flip if the drive were measured once more,
/// agreement with the coach's marks, and the corners. The line with > is the one recommended.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  cuepost tune demo/driver.csv -r demo/quillmere.ref --page
  cuepost tune demo/driver.csv -r demo/quillmere.ref --vary throttle_m=4:20:2 --vary loss_s=0.03,0.06
  cuepost tune saturday.csv sunday.csv -r club.ref --marks marks.csv --save club.toml")]
pub struct Args {
    /// The recordings: NMEA, UBX, CSV or our own
    #[arg(required = true)]
    recordings: Vec<PathBuf>,
    /// The reference, as `cuepost learn` made it
    #[arg(long, short)]
    reference: PathBuf,
    /// Begin from these thresholds instead of the built-in ones
    #[arg(long, short, value_name = "FILE")]
    thresholds: Option<PathBuf>,
    /// A threshold and its values: NAME=FROM:TO:STEP or NAME=VALUE,VALUE; `all` scales every one.
    /// Several make a grid
    #[arg(long, value_name = "NAME=VALUES")]
    vary: Vec<Vary>,
    /// Vary each threshold on its own instead of in a grid
    #[arg(long)]
    one_at_a_time: bool,
    /// What should have been told: CSV with lap, corner, phase, advice; see docs/DESK.md
    #[arg(long, value_name = "FILE")]
    marks: Option<PathBuf>,
    /// More cues a lap than this are not recommended
    #[arg(long, value_name = "CUES", default_value_t = 4.0)]
    most_per_lap: f64,
    /// How often each drive is measured again within its uncertainty, to see what flips
    #[arg(long, value_name = "TIMES", default_value_t = 8)]
    shakes: u8,
    /// Write the table here as well, .csv or .parquet
    #[arg(long, short, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Write the recommended setting as a thresholds file, or with --page the one of the sliders;
    /// an existing file is not touched
    #[arg(long, value_name = "FILE")]
    save: Option<PathBuf>,
    /// Open a page with sliders on this machine instead: cues, map and traces follow them, a click
    /// accepts or rejects a cue and writes the marks (to --marks, else marks.csv)
    #[arg(long, conflicts_with_all = ["vary", "one_at_a_time", "output"])]
    page: bool,
    /// Port of the page
    #[arg(long, value_name = "PORT", default_value_t = 8471, requires = "page")]
    page_port: u16,
    /// Units of the page
    #[arg(long, value_enum, default_value_t = Units::Metric)]
    units: Units,
    /// Read a column under another name, as `time_s=Zeit`; may be repeated
    #[arg(long, value_name = "OURS=THEIRS")]
    column: Vec<String>,
}

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let base = thresholds_file::read_or_default(args.thresholds.as_deref())?;
    if args.page {
        return page(args, base);
    }
    let (kept, _) = reference_file::read(&args.reference)?;
    let reference = kept.view();
    let marks = args.marks.as_deref().map(read_marks).transpose()?;
    let settings = settings(args, &base)?;
    // Before the work, not after it.
    args.output.as_deref().map(form).transpose()?;
    if let Some(path) = args.save.as_deref().filter(|p| p.exists()) {
        bail!("{}: is there already; name another file", path.display());
    }
    let begun = Instant::now();
    let (takes, faults) = measure(args, &reference)?;
    let measured_s = begun.elapsed().as_secs_f64();
    if let Some(marks) = &marks {
        warn_of_strange_marks(marks, &takes);
    }
    let begun = Instant::now();
    let sheets = marks.as_ref().map(|m| sheets(&takes, m));
    let desk = Desk {
        reference: &reference,
        takes: &takes,
        sheets: sheets.as_deref(),
    };
    let (laps, shakes) = (desk.laps(), u64::from(args.shakes));
    let bar = Bar::new(passes(takes.len(), shakes), "judged");
    let outcomes = sweep(desk, &settings, shakes, || bar.step());
    bar.done();
    let judged_s = begun.elapsed().as_secs_f64();
    let found = recommend(&outcomes, laps, args.most_per_lap);
    let times = shakes + 1;
    say!(
        "{} settings on {laps} laps of {} {}: measured in {measured_s:.2} s, judged {times} times in {judged_s:.2} s\n",
        settings.len(),
        takes.len(),
        if takes.len() == 1 {
            "recording"
        } else {
            "recordings"
        },
    );
    tell!("{}", show::text(&settings, &outcomes, laps, found.as_ref()));
    keep(args, &settings, &outcomes, laps, found.as_ref())?;
    match faults.into_iter().next() {
        Some(fault) => Err(fault.context("read up to here, then stopped")),
        None => Ok(ExitCode::SUCCESS),
    }
}

/// Serves the page until Ctrl-C.
fn page(args: &Args, base: Config) -> anyhow::Result<ExitCode> {
    let (kept, _) = reference_file::read(&args.reference)?;
    let marks_path = args.marks.clone().unwrap_or_else(|| "marks.csv".into());
    let marks = match marks_path.exists() {
        true => read_marks(&marks_path)?,
        false => Marks::to_be_made(),
    };
    let (takes, faults) = measure(args, &kept.view())?;
    for fault in &faults {
        eprintln!("cuepost: read up to here, then stopped: {fault:#}");
    }
    let work = Work::new(Opened {
        reference: kept,
        takes,
        base,
        marks,
        marks_path,
        save_path: args.save.clone().unwrap_or_else(|| "tuned.toml".into()),
        units: args.units,
    });
    let listen = SocketAddr::from((Ipv4Addr::LOCALHOST, args.page_port));
    let talk = Talk::of(router(Arc::new(work)), Limits::default());
    let server = Server::start_talk(listen, talk)?;
    let (stop, stopped) = crossbeam_channel::bounded(1);
    ctrlc::set_handler(move || {
        let _ = stop.try_send(());
    })
    .context("Ctrl-C cannot be caught")?;
    say!("page: http://{}/  (Ctrl-C ends it)", server.address());
    let _ = stopped.recv();
    Ok(ExitCode::SUCCESS)
}

/// The one begun from, then all that is varied.
fn settings(args: &Args, base: &Config) -> anyhow::Result<Vec<Setting>> {
    let standard = [Vary::all_together()];
    let vary = if args.vary.is_empty() {
        &standard[..]
    } else {
        &args.vary
    };
    let all = if args.one_at_a_time {
        one_at_a_time(base, vary)
    } else {
        grid(base, vary)
    };
    let mut settings = vec![Setting {
        values: Vec::new(),
        config: base.clone(),
    }];
    settings.extend(all.map_err(|e| anyhow!(e))?);
    Ok(settings)
}

fn measure(
    args: &Args,
    reference: &ReferenceView<'_>,
) -> anyhow::Result<(Vec<Take>, Vec<anyhow::Error>)> {
    let options = source::Options::with_columns(&args.column)?;
    let names = names(&args.recordings);
    let bar = Bar::new(args.recordings.len() as u64, "recordings measured");
    let measured = args.recordings.par_iter().zip(&names).map(|(path, name)| {
        let recording = source::open(path, &options)?;
        let (take, fault) = Take::measure(name, recording, reference);
        bar.step();
        if let Some(why) = take.session.nothing() {
            if let Some(fault) = fault {
                return Err(fault.into());
            }
            bail!("{}: {why}", path.display());
        }
        Ok((take, fault))
    });
    let measured = measured.collect::<anyhow::Result<Vec<_>>>();
    bar.done();
    let (takes, faults): (Vec<Take>, Vec<_>) = measured?.into_iter().unzip();
    let faults = faults.into_iter().flatten().map(anyhow::Error::new);
    Ok((takes, faults.collect()))
}

/// File names without their endings; with their folders where two would be the same.
fn names(paths: &[PathBuf]) -> Vec<String> {
    let stem = |p: &PathBuf| {
        p.file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned()
    };
    let mut count: HashMap<String, usize> = HashMap::new();
    for path in paths {
        *count.entry(stem(path)).or_default() += 1;
    }
    let name = |path: &PathBuf| match stem(path) {
        stem if count.get(&stem) == Some(&1) => stem,
        _ => path.display().to_string(),
    };
    paths.iter().map(name).collect()
}

fn read_marks(path: &Path) -> anyhow::Result<Marks> {
    let shown = path.display();
    let text = std::fs::read_to_string(path).with_context(|| format!("{shown}: cannot be read"))?;
    Marks::parse(&text).map_err(|e| anyhow!("{shown}: {e}"))
}

/// Marks for a recording, a lap or a corner that is not there are most likely a slip.
fn warn_of_strange_marks(marks: &Marks, takes: &[Take]) {
    let strange = |m: &&crate::tune::marks::Mark| {
        let own = |t: &&Take| m.recording.as_ref().is_none_or(|r| *r == t.name);
        !takes.iter().filter(own).any(|t| {
            let mut passages = t.session.passages.iter();
            passages.any(|p| (p.facts.lap, p.facts.corner) == (m.what.lap, m.what.corner))
        })
    };
    let count = marks.marks.iter().filter(strange).count();
    if let Some(first) = marks.marks.iter().find(strange) {
        eprintln!(
            "{count} of {} marks are about passages that were not driven, first lap {} corner {}: is it the same recording?",
            marks.marks.len(),
            first.what.lap,
            first.what.corner
        );
    }
}

/// Says what is recommended and writes the files asked for.
fn keep(
    args: &Args,
    settings: &[Setting],
    outcomes: &[Outcome],
    laps: usize,
    found: Option<&Recommended>,
) -> anyhow::Result<()> {
    match found.and_then(|r| Some((r, settings.get(r.index)?))) {
        Some((recommended, setting)) => {
            say!("\n> recommended: {}", recommended.why);
            if let Some(path) = &args.save {
                let text = thresholds_file::write(&setting.config);
                let shown = path.display();
                durable::write(path, text.as_bytes())
                    .with_context(|| format!("{shown}: cannot be written"))?;
                note!("{shown}: the recommended thresholds");
            }
        }
        None if outcomes.iter().all(|o| o.cues() == 0) => {
            say!("\nNothing is told under any of these settings.");
        }
        None => say!("\nNone of these settings tells anything that is marked as right."),
    }
    if let Some(path) = &args.output {
        let table = show::table(settings, outcomes, laps, found);
        let shown = path.display();
        let bytes = form(path)?(&table)?;
        durable::write(path, &bytes).with_context(|| format!("{shown}: cannot be written"))?;
        note!("{shown}: {} rows", table.rows.len());
    }
    Ok(())
}

type Form = fn(&Table) -> anyhow::Result<Vec<u8>>;

/// How a table is written, by the ending of its name.
fn form(path: &Path) -> anyhow::Result<Form> {
    match path.extension().and_then(|e| e.to_str()) {
        Some("csv") => Ok(|table| Ok(table.to_csv()?)),
        Some("parquet") => Ok(|table| Ok(to_parquet(table)?)),
        _ => bail!(
            "{}: the table is written as .csv or .parquet; end the name so",
            path.display()
        ),
    }
}

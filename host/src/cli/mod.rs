//! The command line: one file a command, each with its arguments and `run`.

/// Prints text for people, fitted to the terminal. A reader that went away ends the command like
/// any error of writing, instead of a panic: [`exit_with`] knows it.
macro_rules! tell {
    ($($words:tt)*) => { crate::cli::manners::tell(&format!($($words)*))? };
}

/// As [`tell!`], a line.
macro_rules! say {
    ($($words:tt)*) => { crate::cli::manners::tell(&(format!($($words)*) + "\n"))? };
}

/// As [`say!`], of what was done beside what was asked for: not with `--quiet`.
macro_rules! note {
    ($($words:tt)*) => {
        if !crate::cli::manners::quiet() {
            say!($($words)*);
        }
    };
}

/// Prints what another program reads, or what goes into a file, as it is.
macro_rules! give {
    ($($words:tt)*) => {{
        use std::io::Write as _;
        write!(std::io::stdout(), $($words)*)?
    }};
}

pub mod adapt;
pub mod board;
pub mod brief;
pub mod check;
pub mod compare_cars;
pub mod completions;
pub mod debrief;
pub mod demo;
pub mod drive;
pub mod lamp;
pub mod landmarks;
pub mod learn;
mod manners;
mod packets;
mod progress;
pub mod replay;
pub mod thresholds;
pub mod tune;

use crate::report::system;
use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};
use std::process::ExitCode;

/// Exit code for input that can't be used: one line on standard error says what and where.
pub const BAD_INPUT: u8 = 2;

/// Tells a driver, corner by corner, what to do differently
#[derive(Debug, Parser)]
#[command(
    name = "cuepost",
    version,
    max_term_width = 100,
    after_help = "\
Examples, the first of which makes the files of all examples:
  cuepost demo --out demo
  cuepost learn demo/coach.csv -o club.ref
  cuepost debrief demo/driver.csv --reference club.ref -o page.html",
    after_long_help = "\
Examples, the first of which makes the files of all examples:
  cuepost demo --out demo
  cuepost learn demo/coach.csv -o club.ref
  cuepost debrief demo/driver.csv --reference club.ref -o page.html

Exit codes:
  0  done, or the reader of a pipe went away
  2  something given cannot be used: words on the command line, a file, a port. One line on
     standard error says what, where, and what to do; what was read before it has been used

Environment:
  NO_COLOR  when not empty: no colours; there are none in files and pipes either
  COLUMNS   the width of text where the output is no terminal"
)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
    /// No progress, and nothing about files that were written; warnings and errors stay
    #[arg(long, short, global = true)]
    quiet: bool,
}

// In the order in which they are met.
#[derive(Debug, Subcommand)]
enum Command {
    Demo(demo::Args),
    Check(check::Args),
    Learn(learn::Args),
    Landmarks(landmarks::Args),
    Brief(brief::Args),
    Drive(drive::Args),
    Replay(replay::Args),
    Debrief(debrief::Args),
    Thresholds(thresholds::Args),
    Tune(tune::Args),
    Adapt(adapt::Args),
    CompareCars(compare_cars::Args),
    Lamp(lamp::Args),
    Board(board::Args),
    Completions(completions::Args),
    Man(completions::Man),
}

impl Cli {
    /// Runs the command that was asked for.
    pub fn run(&self) -> anyhow::Result<ExitCode> {
        manners::be_quiet(self.quiet);
        match &self.command {
            Command::Demo(args) => demo::run(args),
            Command::Check(args) => check::run(args),
            Command::Learn(args) => learn::run(args),
            Command::Landmarks(args) => landmarks::run(args),
            Command::Brief(args) => brief::run(args),
            Command::Drive(args) => drive::run(args),
            Command::Replay(args) => replay::run(args),
            Command::Debrief(args) => debrief::run(args),
            Command::Thresholds(args) => thresholds::run(args),
            Command::Tune(args) => tune::run(args),
            Command::Adapt(args) => adapt::run(args),
            Command::CompareCars(args) => compare_cars::run(args),
            Command::Lamp(args) => lamp::run(args),
            Command::Board(args) => board::run(args),
            Command::Completions(args) => completions::run(args),
            Command::Man(args) => completions::man(args),
        }
    }
}

/// The program: reads the command line and runs what it asks for.
pub fn main() -> ExitCode {
    match Cli::from_arg_matches(&definition().get_matches()) {
        Ok(cli) => exit_with(cli.run()),
        Err(error) => error.exit(),
    }
}

/// The command line as help, completions and manual are made of it.
pub fn definition() -> clap::Command {
    Cli::command().mut_subcommands(with_exit_codes)
}

/// A command whose whole help ends with its exit codes.
fn with_exit_codes(command: clap::Command) -> clap::Command {
    let examples = command.get_after_help().map(ToString::to_string);
    let codes = "Exit code: 0 when done, 2 when something given cannot be used (`cuepost --help`)";
    let words = format!("{}\n\n{codes}", examples.unwrap_or_default());
    command
        .after_long_help(words.trim_start().to_owned())
        .mut_subcommands(with_exit_codes)
}

/// One clear line for an error and exit code 2; a reader that went away is no error.
pub fn exit_with(result: anyhow::Result<ExitCode>) -> ExitCode {
    match result {
        Ok(code) => code,
        Err(error) if is_closed_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("cuepost: {}", line(&error));
            ExitCode::from(BAD_INPUT)
        }
    }
}

/// The error with its causes, those left out that it names itself.
fn line(error: &anyhow::Error) -> String {
    let mut line = String::new();
    for cause in error.chain().map(in_words) {
        if !line.contains(&cause) {
            let between = if line.is_empty() { "" } else { ": " };
            line.push_str(between);
            line.push_str(&cause);
        }
    }
    line
}

/// What the system says gets what to do about it.
fn in_words(cause: &(dyn std::error::Error + 'static)) -> String {
    match cause.downcast_ref::<std::io::Error>() {
        Some(error) => system::words(error),
        None => cause.to_string(),
    }
}

fn is_closed_pipe(error: &anyhow::Error) -> bool {
    error.chain().any(|cause| {
        cause
            .downcast_ref::<std::io::Error>()
            .is_some_and(|e| e.kind() == std::io::ErrorKind::BrokenPipe)
    })
}

#[cfg(test)]
mod tests {
    use super::line;
    use anyhow::anyhow;

    #[test]
    fn a_cause_is_said_once() {
        let known = anyhow!("byte 3: damaged").context("a.ref: not usable: byte 3: damaged");
        assert_eq!(line(&known), "a.ref: not usable: byte 3: damaged");
        let more = anyhow!("no space").context("cannot be written");
        assert_eq!(line(&more), "cannot be written: no space");
    }
}

//! The command line: one file a command, each with its arguments and `run`.

/// As `print!`, but a reader that went away ends the command like any error of writing, instead of
/// a panic: [`exit_with`] knows it.
macro_rules! tell {
    ($($words:tt)*) => {{
        use std::io::Write as _;
        write!(std::io::stdout(), $($words)*)?
    }};
}

/// As `println!`, in the same way.
macro_rules! say {
    ($($words:tt)*) => {{
        use std::io::Write as _;
        writeln!(std::io::stdout(), $($words)*)?
    }};
}

pub mod adapt;
pub mod board;
pub mod brief;
pub mod check;
pub mod compare_cars;
pub mod debrief;
pub mod demo;

pub mod drive;
pub mod lamp;
pub mod landmarks;
pub mod learn;
mod packets;
mod progress;
pub mod replay;
pub mod thresholds;
pub mod tune;

use clap::{Parser, Subcommand};
use std::process::ExitCode;

/// Exit code for input that can't be used: one line on standard error says what and where.
pub const BAD_INPUT: u8 = 2;

/// Tells a driver, corner by corner, what to do differently.
#[derive(Debug, Parser)]
#[command(name = "cuepost", version, about, max_term_width = 100)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Adapt(adapt::Args),
    Board(board::Args),
    Brief(brief::Args),
    Check(check::Args),
    CompareCars(compare_cars::Args),
    Demo(demo::Args),
    Lamp(lamp::Args),
    Landmarks(landmarks::Args),
    Learn(learn::Args),
    Drive(drive::Args),
    Debrief(debrief::Args),
    Replay(replay::Args),
    Thresholds(thresholds::Args),
    Tune(tune::Args),
}

impl Cli {
    /// Runs the command that was asked for.
    pub fn run(&self) -> anyhow::Result<ExitCode> {
        match &self.command {
            Command::Adapt(args) => adapt::run(args),
            Command::Board(args) => board::run(args),
            Command::Brief(args) => brief::run(args),
            Command::Check(args) => check::run(args),
            Command::CompareCars(args) => compare_cars::run(args),
            Command::Demo(args) => demo::run(args),
            Command::Lamp(args) => lamp::run(args),
            Command::Landmarks(args) => landmarks::run(args),
            Command::Learn(args) => learn::run(args),
            Command::Drive(args) => drive::run(args),
            Command::Debrief(args) => debrief::run(args),
            Command::Replay(args) => replay::run(args),
            Command::Thresholds(args) => thresholds::run(args),
            Command::Tune(args) => tune::run(args),
        }
    }
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
    for cause in error.chain().map(|c| c.to_string()) {
        if !line.contains(&cause) {
            let between = if line.is_empty() { "" } else { ": " };
            line.push_str(between);
            line.push_str(&cause);
        }
    }
    line
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

//! The program `cuepost`.

mod cli;

use clap::{Parser, Subcommand};
use std::process::ExitCode;

/// Tells a driver, corner by corner, what to do differently.
#[derive(Parser)]
#[command(version, max_term_width = 100)]
struct Program {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    Check(cli::check::Args),
}

fn main() -> ExitCode {
    let result = match Program::parse().command {
        Command::Check(args) => cli::check::run(&args),
    };
    result.unwrap_or_else(|fault| {
        eprintln!("cuepost: {fault:#}");
        ExitCode::from(2)
    })
}

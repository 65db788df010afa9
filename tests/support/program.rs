//! The program as its user runs it, built with the tests.

use clap::Parser;
use cuepost_host::cli::{Cli, exit_with};
use std::process::ExitCode;

fn main() -> ExitCode {
    exit_with(Cli::parse().run())
}

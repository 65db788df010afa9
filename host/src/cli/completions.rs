//! `cuepost completions` and `cuepost man`: what shells and `man` need, from the same definitions
//! as `--help`.

use super::definition;
use anyhow::Context;
use clap_complete::Shell;
use std::path::PathBuf;
use std::process::ExitCode;

/// Print what a shell needs to complete cuepost's commands and options
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  cuepost completions bash > ~/.local/share/bash-completion/completions/cuepost
  cuepost completions zsh > ~/.zfunc/_cuepost
  cuepost completions fish > ~/.config/fish/completions/cuepost.fish")]
pub struct Args {
    /// The shell
    #[arg(value_enum)]
    shell: Shell,
}

/// Write the manual: a page for `man` for each command
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example:
  cuepost man ~/.local/share/man/man1")]
pub struct Man {
    /// The folder to write to; it is made where it is missing
    #[arg(value_name = "DIR")]
    folder: PathBuf,
}

/// Runs `completions`.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut definition(), "cuepost", &mut script);
    give!("{}", String::from_utf8_lossy(&script));
    Ok(ExitCode::SUCCESS)
}

/// Runs `man`.
pub fn man(args: &Man) -> anyhow::Result<ExitCode> {
    let folder = &args.folder;
    let shown = folder.display();
    std::fs::create_dir_all(folder)
        .and_then(|()| clap_mangen::generate_to(definition(), folder))
        .with_context(|| format!("{shown}: cannot be written"))?;
    note!("{shown}: cuepost.1 and a page for each command");
    Ok(ExitCode::SUCCESS)
}

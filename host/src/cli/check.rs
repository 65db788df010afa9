//! `cuepost check`: what a file is and what is wrong with it.

use crate::report::{Units, reference};
use crate::{record, reference_file};
use std::io::Read;
use std::path::PathBuf;
use std::process::ExitCode;

/// Say what a file is and what is wrong with it
///
/// A reference is printed in words: lap, start line, corners, what the car can do.
///
/// Example: cuepost check club-circuit.ref
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The file.
    file: PathBuf,
    /// Units for people.
    #[arg(long, value_enum, default_value_t)]
    units: Units,
}

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let path = &args.file;
    let mut head = Vec::new();
    std::fs::File::open(path)
        .and_then(|f| f.take(4096).read_to_end(&mut head))
        .map_err(|e| anyhow::anyhow!("{}: {e}", path.display()))?;
    if reference_file::looks_like(&head) {
        let (store, id) = reference_file::read(path)?;
        print!("{}", reference::reference(&store.view(), args.units));
        println!("file        {id:08X}");
        return Ok(ExitCode::SUCCESS);
    }
    if record::looks_like(&head) {
        println!("{}: a wire recording", path.display());
        return Ok(ExitCode::SUCCESS);
    }
    anyhow::bail!(
        "{}: neither a reference nor a recording that is known here",
        path.display()
    );
}

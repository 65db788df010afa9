//! What a coach carries to another day: landmarks, the brief, a reference for another car.

mod brief;
mod cars;
mod closed_forms;
mod computed;
mod driven;
mod invented;
mod landmarks;
mod laws;
mod oracle;
mod point;
mod stint;
mod unproven;

use clap::Parser;
use cuepost_host::cli::Cli;
use std::path::PathBuf;

/// A file of `tests/data`.
fn data(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("data")
        .join(name)
}

/// A folder of its own that goes with the test.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("cuepost-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&path).expect("a folder for the test");
        Self(path)
    }

    fn file(&self, name: &str) -> String {
        self.0.join(name).display().to_string()
    }

    fn put(&self, name: &str, text: &str) -> String {
        let path = self.file(name);
        std::fs::write(&path, text).expect("written");
        path
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// Runs a command; the fault as the one line that is printed of it.
fn cuepost(args: &[&str]) -> Result<(), String> {
    let all = std::iter::once("cuepost").chain(args.iter().copied());
    let cli = Cli::try_parse_from(all).map_err(|e| e.to_string())?;
    cli.run().map(|_| ()).map_err(|e| format!("{e:#}"))
}

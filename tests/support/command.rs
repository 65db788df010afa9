//! A command as its user gives it, in this process, and a folder for what it writes.

use clap::Parser;
use cuepost_host::cli::Cli;
use std::path::PathBuf;

/// A folder of its own that goes with the test.
pub struct Folder(PathBuf);

impl Folder {
    /// An empty folder; the name says whose.
    pub fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("cuepost-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&path).expect("a folder for the test");
        Self(path)
    }

    /// The path of a file in it.
    pub fn file(&self, name: &str) -> String {
        self.0.join(name).display().to_string()
    }

    /// Writes a file into it and returns its path.
    pub fn put(&self, name: &str, text: &str) -> String {
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
pub fn cuepost(args: &[&str]) -> Result<(), String> {
    let all = std::iter::once("cuepost").chain(args.iter().copied());
    let cli = Cli::try_parse_from(all).map_err(|e| e.to_string())?;
    cli.run().map(|_| ()).map_err(|e| format!("{e:#}"))
}

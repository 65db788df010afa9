//! How the commands speak: to the width of the terminal, and less when asked to.

use crate::report::{fold::fitted, paint::shown};
use std::io::{self, Write};
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};

static QUIET: AtomicBool = AtomicBool::new(false);

/// Says whether only what was asked for is to be printed.
pub(super) fn be_quiet(quiet: bool) {
    QUIET.store(quiet, Relaxed);
}

/// Whether progress and reports of what was written are left out.
pub(super) fn quiet() -> bool {
    QUIET.load(Relaxed)
}

/// Prints text for people. A reader that went away is an error as any other of writing.
pub(super) fn tell(text: &str) -> io::Result<()> {
    io::stdout().write_all(shown(fitted(text)).as_bytes())
}

/// Text for people that comes line by line and is fitted paragraph by paragraph.
pub(super) struct Fitting<W: Write> {
    out: W,
    held: Vec<u8>,
}

impl<W: Write> Fitting<W> {
    /// Fits what is written on its way to `out`.
    pub(super) fn new(out: W) -> Self {
        Self {
            out,
            held: Vec::new(),
        }
    }
}

impl<W: Write> Write for Fitting<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.held.extend_from_slice(bytes);
        if let Some(end) = self.held.windows(2).rposition(|two| two == b"\n\n") {
            let rest = self.held.split_off(end + 2);
            let whole = std::mem::replace(&mut self.held, rest);
            let text = String::from_utf8_lossy(&whole);
            self.out.write_all(shown(fitted(&text)).as_bytes())?;
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        let rest = std::mem::take(&mut self.held);
        let text = String::from_utf8_lossy(&rest);
        self.out.write_all(shown(fitted(&text)).as_bytes())?;
        self.out.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::Fitting;
    use std::io::Write;

    #[test]
    fn everything_written_arrives() {
        let mut out = Vec::new();
        let mut fitting = Fitting::new(&mut out);
        for part in ["Lap 1\n", "  a  b\n\nLap", " 2\n", "  c"] {
            fitting.write_all(part.as_bytes()).unwrap();
        }
        fitting.flush().unwrap();
        assert_eq!(out, b"Lap 1\n  a  b\n\nLap 2\n  c");
    }
}

//! Facts as a table: one line a passage of a corner, the names of the JSON lines as columns.

use crate::report::json::corner_row;
use cuepost_engine::Event;
use std::io::Write;

/// Writes corner facts as CSV.
pub struct Table<W: Write> {
    out: csv::Writer<W>,
    error: Option<csv::Error>,
}

impl<W: Write> Table<W> {
    /// A table that is written to `out`.
    pub fn new(out: W) -> Self {
        Self {
            out: csv::Writer::from_writer(out),
            error: None,
        }
    }

    /// Takes the next event; only finished corners make a line.
    pub fn take(&mut self, event: &Event) {
        if let (Event::Corner(facts), None) = (event, &self.error)
            && let Err(error) = self.out.serialize(corner_row(facts))
        {
            self.error = Some(error);
        }
    }

    /// Writes what is left and returns the first error.
    pub fn finish(mut self) -> std::io::Result<()> {
        if let Some(error) = self.error.take() {
            return Err(error.into());
        }
        self.out.flush()
    }
}

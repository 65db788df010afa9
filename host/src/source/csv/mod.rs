//! Tables of text: named columns, one row an instant.

mod cells;
mod clock;
mod direction;
mod draft;
mod header;
mod mapping;
mod names;
mod number;
mod pedals;
mod rows;
mod used;

pub use mapping::Mapping;
pub use pedals::SURVEY;

use super::report::{Fault, Place, Refusal, SourceError};
use cuepost_engine::Sample;
use header::Header;
use memchr::memchr;
use rows::Rows;

/// Longest row, bytes.
const ROW_MAX: usize = 1 << 16;
/// The names of the columns stand within so many bytes.
const HEAD_MAX: usize = 1 << 16;
/// What some programs put before text.
pub const BOM: &[u8] = b"\xef\xbb\xbf";

/// True when the names of a table's columns are in this.
pub fn has_names(head: &[u8], mappings: &[Mapping]) -> bool {
    let table = head.strip_prefix(BOM).unwrap_or(head);
    matches!(header::find(table, true, mappings, &mut 0), Ok(Some(_)))
}

/// Reads a table that comes in pieces.
#[derive(Debug)]
pub struct Table {
    mappings: Vec<Mapping>,
    /// So much is looked at for the scale of the pedals before the first row is read.
    survey: usize,
    state: State,
}

#[derive(Debug)]
enum State {
    /// Before the first row is read.
    Head {
        bytes: Vec<u8>,
        /// Length from which on it is worth looking at.
        due: usize,
        /// So many lines are known to be no header.
        known: usize,
    },
    Rows {
        header: Box<Header>,
        rows: Box<Rows>,
        /// A row that is not whole yet.
        part: Vec<u8>,
    },
    /// An error ended it.
    Over,
}

impl Table {
    /// A table with these mappings of columns, of which `survey` bytes are looked at beforehand.
    pub fn new(mappings: Vec<Mapping>, survey: usize) -> Self {
        Self {
            mappings,
            survey,
            state: State::Head {
                bytes: Vec::new(),
                due: 0,
                known: 0,
            },
        }
    }

    /// Takes bytes in. An error is final.
    pub fn push(&mut self, bytes: &[u8], out: &mut impl FnMut(Sample)) -> Result<(), SourceError> {
        let done = match &mut self.state {
            State::Head {
                bytes: head, due, ..
            } => {
                head.extend_from_slice(bytes);
                // Only a line more, or no end of lines at all, can tell more than before.
                let more = memchr(b'\n', bytes).is_some() || head.len() >= HEAD_MAX;
                if head.len() < *due || !more {
                    return Ok(());
                }
                self.begin(false, out)
            }
            State::Rows { rows, part, .. } => push_rows(rows, part, bytes, out),
            State::Over => Ok(()),
        };
        self.over_if(done)
    }

    /// The table has ended.
    pub fn finish(&mut self, out: &mut impl FnMut(Sample)) -> Result<(), SourceError> {
        let mut done = Ok(());
        if let State::Head { .. } = self.state {
            done = self.begin(true, out);
        }
        if let (Ok(()), State::Rows { rows, part, .. }) = (&done, &mut self.state) {
            let part = std::mem::take(part);
            done = last_row(rows, &part, out);
        }
        self.over_if(done)
    }

    /// Bytes are missing here: what is held is no row.
    pub fn break_off(&mut self) {
        if let State::Rows { part, .. } = &mut self.state {
            part.clear();
        }
    }

    fn over_if(&mut self, done: Result<(), SourceError>) -> Result<(), SourceError> {
        if done.is_err() && matches!(self.state, State::Head { .. }) {
            self.state = State::Over;
        }
        done
    }

    /// Begins to read rows when the head is long enough.
    fn begin(&mut self, whole: bool, out: &mut impl FnMut(Sample)) -> Result<(), SourceError> {
        let State::Head {
            bytes: head,
            due,
            known,
        } = &mut self.state
        else {
            return Ok(());
        };
        let table = head.strip_prefix(BOM).unwrap_or(head);
        let enough = whole || table.len() >= HEAD_MAX;
        let Some(header) = header::find(table, enough, &self.mappings, known)? else {
            return Ok(());
        };
        let body = table.get(header.rows_at..).unwrap_or_default();
        let mut rows = Rows::new(&header);
        if self.survey > 0 && rows.pedals_open() {
            if !whole && head.len() < self.survey {
                *due = self.survey;
                return Ok(());
            }
            rows.survey(body);
        }
        let body = body.to_vec();
        let mut part = Vec::new();
        let done = push_rows(&mut rows, &mut part, &body, out);
        self.state = State::Rows {
            header: Box::new(header),
            rows: Box::new(rows),
            part,
        };
        done
    }

    /// The time of the source, microseconds, that sample times count from.
    pub fn zero_us(&self) -> i64 {
        match &self.state {
            State::Rows { rows, .. } => rows.zero_us(),
            _ => 0,
        }
    }

    /// True while no row was read, or when none can be.
    pub fn is_unbegun(&self) -> bool {
        !matches!(self.state, State::Rows { .. })
    }

    /// True when the places are plane coordinates, as simulators have them.
    pub fn is_plane(&self) -> bool {
        match &self.state {
            State::Rows { rows, .. } => rows.is_plane(),
            _ => false,
        }
    }

    /// The columns used, those not used, what was decided, what was refused.
    pub fn found(&self) -> (Vec<String>, Vec<String>, Vec<String>, Vec<Refusal>) {
        let State::Rows { header, rows, .. } = &self.state else {
            return Default::default();
        };
        let mut notes = vec![header.words()];
        notes.extend(rows.notes());
        (
            rows.understood(),
            header.ignored.clone(),
            notes,
            rows.refused(),
        )
    }
}

fn push_rows(
    rows: &mut Rows,
    part: &mut Vec<u8>,
    bytes: &[u8],
    out: &mut impl FnMut(Sample),
) -> Result<(), SourceError> {
    let mut rest = bytes;
    if !part.is_empty() {
        let Some(end) = memchr(b'\n', rest) else {
            part.extend_from_slice(rest);
            return long_line(rows, part);
        };
        let (head, tail) = rest.split_at(end);
        part.extend_from_slice(head);
        let row = std::mem::take(part);
        rest = tail.get(1..).unwrap_or_default();
        if let Some(sample) = rows.row(&row)? {
            out(sample);
        }
    }
    while let Some(end) = memchr(b'\n', rest) {
        let (row, tail) = rest.split_at(end);
        rest = tail.get(1..).unwrap_or_default();
        if let Some(sample) = rows.row(row)? {
            out(sample);
        }
    }
    part.extend_from_slice(rest);
    long_line(rows, part)
}

fn long_line(rows: &Rows, part: &[u8]) -> Result<(), SourceError> {
    if part.len() > ROW_MAX {
        let place = Place::line(rows.line());
        return Err(SourceError::new(Some(place), Fault::LongLine(ROW_MAX)));
    }
    Ok(())
}

/// A last row without an end may be cut: it is when cells are missing.
fn last_row(rows: &mut Rows, row: &[u8], out: &mut impl FnMut(Sample)) -> Result<(), SourceError> {
    if row.trim_ascii().is_empty() {
        return Ok(());
    }
    if !rows.is_whole(row) {
        let place = Place::line(rows.line());
        return Err(SourceError::new(Some(place), Fault::Cut));
    }
    if let Some(sample) = rows.row(row)? {
        out(sample);
    }
    Ok(())
}

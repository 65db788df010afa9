//! Finds the names of a table's columns, its separator and its decimal sign.
//!
//! The names need not be the first line: the first line counts that names a time and a speed or a
//! place. Lines above it are left out, and so is a line of units below it.

use super::cells::cells;
use super::mapping::Mapping;
use super::names::{self, Channel};
use super::number::{Decimal, bare};
use crate::source::report::{Fault, Place, SourceError};

/// So many lines may stand above the names.
const PREAMBLE_MAX: usize = 200;
/// So many rows are looked at for the decimal sign.
const ROWS_SEEN: usize = 1000;
/// So many rows of a stream are waited for when none shows its decimal sign.
const ROWS_OPEN: usize = 200;
/// So much of a line is shown in a message, characters.
const SHOWN_MAX: usize = 80;
/// The separators there are.
const SEPARATORS: [u8; 3] = *b";\t,";

/// A column that is used.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Its own name.
    pub name: String,
    /// What it holds.
    pub channel: Channel,
}

/// How a table is laid out.
#[derive(Clone, Debug, PartialEq)]
pub struct Header {
    /// What stands between cells.
    pub separator: u8,
    /// What stands before decimals.
    pub decimal: Decimal,
    /// For each column, what it is used for.
    pub columns: Vec<Option<Column>>,
    /// Names of columns that are not used.
    pub ignored: Vec<String>,
    /// The line of the names, from 1.
    pub line: u64,
    /// True when a line of units follows.
    pub units: bool,
    /// Where the rows begin, bytes from the start of the table.
    pub rows_at: usize,
    /// The line of the first row, from 1.
    pub rows_line: u64,
}

impl Header {
    /// Separator and decimal sign, in words.
    pub fn words(&self) -> String {
        let separator = match self.separator {
            b';' => "semicolons",
            b'\t' => "tabs",
            _ => "commas",
        };
        let decimal = match self.decimal {
            Decimal::Point => "a point",
            Decimal::Comma => "a comma",
        };
        let units = if self.units { ", units below them" } else { "" };
        format!(
            "names in line {}{units}; values apart by {separator}, decimals with {decimal}",
            self.line
        )
    }
}

/// A line with its number from 1 and the offset behind it.
#[derive(Clone, Copy)]
struct Line<'a> {
    number: u64,
    end: usize,
    bytes: &'a [u8],
}

/// What one line is, read with one separator.
struct Reading {
    separator: u8,
    names: Vec<String>,
    channels: Vec<Option<(usize, Channel)>>,
    /// Names that would be known with a unit.
    lacking: usize,
    units: bool,
}

impl Reading {
    fn known(&self) -> usize {
        self.channels.iter().flatten().count()
    }

    fn has(&self, test: impl Fn(Channel) -> bool) -> bool {
        self.channels.iter().flatten().any(|&(_, c)| test(c))
    }

    fn suffices(&self) -> bool {
        let place = (self.has(|c| c == Channel::Lat) && self.has(|c| c == Channel::Lon))
            || (self.has(|c| c == Channel::East) && self.has(|c| c == Channel::North));
        let speed = self.has(|c| matches!(c, Channel::Speed(_)));
        self.has(|c| matches!(c, Channel::Time(_))) && (place || speed)
    }
}

/// Finds the header in the head of a table; `None` when more of it is needed, which cannot be when
/// `whole` says that there is no more. The first `known` lines are known to be no header: more is
/// found out with each call, so that a table that comes byte by byte costs no more than at once.
pub fn find(
    head: &[u8],
    whole: bool,
    mappings: &[Mapping],
    known: &mut usize,
) -> Result<Option<Header>, SourceError> {
    let lines = lines(head, whole);
    let mut best: Option<(Line<'_>, Reading)> = None;
    let from = *known;
    for (at, &line) in lines.iter().enumerate().take(PREAMBLE_MAX).skip(from) {
        let below = lines.get(at + 1..).unwrap_or_default();
        let below = below
            .iter()
            .find(|line| !line.bytes.trim_ascii().is_empty());
        let Some(reading) = SEPARATORS
            .iter()
            .map(|&separator| read(line.bytes, below.map(|l| l.bytes), separator, mappings))
            .reduce(|a, b| {
                if b.known() + b.lacking > a.known() + a.lacking {
                    b
                } else {
                    a
                }
            })
        else {
            continue;
        };
        if reading.suffices() {
            if below.is_none() && !whole {
                return Ok(None);
            }
            let below = lines.get(at + 1..).unwrap_or_default();
            let commas = reading.separator != b',' || below.iter().any(|l| l.bytes.contains(&b'"'));
            let (header, shown) = header(reading, line, below, mappings)?;
            // Decimals may have commas and no row has shown any yet: a stream that begins at
            // standstill, with zeros alone.
            if !whole && commas && !shown && below.len() < ROWS_OPEN {
                return Ok(None);
            }
            return Ok(Some(header));
        }
        let better = best
            .as_ref()
            .is_none_or(|(_, b)| reading.known() + reading.lacking > b.known() + b.lacking);
        if better {
            best = Some((line, reading));
        }
        // With the line below it all is seen that decides.
        if below.is_some() && *known == at {
            *known = at + 1;
        }
    }
    if !whole && lines.len() < PREAMBLE_MAX {
        return Ok(None);
    }
    if from > 0 {
        // None of all: what comes nearest is said.
        return find(head, whole, mappings, &mut 0);
    }
    Err(missing(best, mappings))
}

fn lines(head: &[u8], whole: bool) -> Vec<Line<'_>> {
    let mut lines = Vec::new();
    let mut start = 0;
    let ends = head.iter().enumerate().filter(|(_, b)| **b == b'\n');
    for (number, (end, _)) in (1..).zip(ends.take(PREAMBLE_MAX + ROWS_SEEN)) {
        let bytes = head.get(start..end).unwrap_or_default();
        start = end + 1;
        lines.push(Line {
            number,
            end: start,
            bytes: bytes.strip_suffix(b"\r").unwrap_or(bytes),
        });
    }
    if whole && start < head.len() && lines.len() < PREAMBLE_MAX + ROWS_SEEN {
        lines.push(Line {
            number: lines.len() as u64 + 1,
            end: head.len(),
            bytes: head.get(start..).unwrap_or_default(),
        });
    }
    lines
}

fn text(cell: &[u8]) -> String {
    String::from_utf8_lossy(bare(cell)).into_owned()
}

fn read(line: &[u8], below: Option<&[u8]>, separator: u8, mappings: &[Mapping]) -> Reading {
    let names: Vec<String> = cells(line, separator).map(text).collect();
    let below: Vec<String> = below
        .map(|below| cells(below, separator).map(text).collect())
        .unwrap_or_default();
    let units = below.iter().all(|cell| names::is_unit(cell))
        && below
            .iter()
            .any(|cell| !cell.is_empty() && cell.parse::<f64>().is_err());
    let channels: Vec<_> = names
        .iter()
        .enumerate()
        .map(|(at, name)| {
            let mapped = mappings.iter().find(|m| same_name(&m.source, name));
            let unit = if units { below.get(at) } else { None };
            match mapped {
                // Before any name of the table.
                Some(mapping) => Some((0, mapping.channel)),
                None => names::channel(name, unit.map(String::as_str)),
            }
        })
        .collect();
    let lacking = names.iter().filter(|name| names::lacks_unit(name)).count();
    Reading {
        separator,
        names,
        channels,
        lacking,
        units,
    }
}

fn same_name(a: &str, b: &str) -> bool {
    a == b || a.to_lowercase() == b.to_lowercase()
}

fn header(
    reading: Reading,
    line: Line<'_>,
    below: &[Line<'_>],
    mappings: &[Mapping],
) -> Result<(Header, bool), SourceError> {
    let place = Some(Place::line(line.number));
    if let Some(error) = unmatched(&reading, line, mappings) {
        return Err(error);
    }
    let mut columns: Vec<Option<Column>> = Vec::new();
    let mut ignored = Vec::new();
    for (at, (name, found)) in reading.names.iter().zip(&reading.channels).enumerate() {
        let used = found.filter(|&found| !is_second(&reading, at, found));
        if let Some((_, channel)) = used {
            let before = |c: &Column| kind(c.channel) == kind(channel);
            if let Some(twin) = columns.iter().flatten().find(|c| before(c)) {
                let words = format!(
                    "`{}` and `{name}` would both be the same; say which with --column",
                    twin.name
                );
                return Err(SourceError::new(place, Fault::Ambiguous(words)));
            }
        } else if !name.is_empty() {
            ignored.push(name.clone());
        }
        columns.push(used.map(|(_, channel)| Column {
            name: name.clone(),
            channel,
        }));
    }
    let mut rows = below
        .iter()
        .skip_while(|line| line.bytes.trim_ascii().is_empty());
    let (mut rows_at, mut rows_line) = (line.end, line.number + 1);
    if reading.units
        && let Some(units) = rows.next()
    {
        (rows_at, rows_line) = (units.end, units.number + 1);
    }
    let rows: Vec<Line<'_>> = rows.copied().collect();
    let (decimal, shown) = decimal(&rows, reading.separator, &columns);
    let header = Header {
        separator: reading.separator,
        decimal,
        columns,
        ignored,
        line: line.number,
        units: reading.units,
        rows_at,
        rows_line,
    };
    Ok((header, shown))
}

/// The kind of a channel, whatever its unit.
fn kind(channel: Channel) -> std::mem::Discriminant<Channel> {
    std::mem::discriminant(&channel)
}

/// True when a column is left out: for one that says the same by a better name, or as a coordinate
/// without its other half, or because the place is given as latitude and longitude as well.
fn is_second(reading: &Reading, at: usize, (rank, channel): (usize, Channel)) -> bool {
    let both = |a, b| reading.has(|c| c == a) && reading.has(|c| c == b);
    let globe = both(Channel::Lat, Channel::Lon);
    let better = reading.channels.iter().enumerate().any(|(other, found)| {
        other != at && found.is_some_and(|(r, c)| kind(c) == kind(channel) && r < rank)
    });
    better
        || match channel {
            Channel::Lat | Channel::Lon => !globe,
            Channel::East | Channel::North => globe || !both(Channel::East, Channel::North),
            _ => false,
        }
}

/// The decimal sign of most cells that are used, and whether any has one; a point when there are no
/// decimals. A row that has the other sign is refused when it comes.
fn decimal(rows: &[Line<'_>], separator: u8, columns: &[Option<Column>]) -> (Decimal, bool) {
    let (mut points, mut commas) = (0, 0);
    for row in rows {
        let used = cells(row.bytes, separator)
            .zip(columns)
            .filter(|(_, column)| column.is_some());
        for (cell, _) in used {
            // The last of the two signs is the decimal one.
            match bare(cell).iter().rev().find(|b| **b == b'.' || **b == b',') {
                Some(b'.') => points += 1,
                Some(_) => commas += 1,
                None => {}
            }
        }
    }
    let decimal = if commas > points {
        Decimal::Comma
    } else {
        Decimal::Point
    };
    (decimal, commas + points > 0)
}

/// What to say of a mapping whose column is not there.
fn unmatched(reading: &Reading, line: Line<'_>, mappings: &[Mapping]) -> Option<SourceError> {
    let there = |m: &Mapping| reading.names.iter().any(|name| same_name(&m.source, name));
    let mapping = mappings.iter().find(|m| !there(m))?;
    let words = format!(
        "no column `{}`; the columns are {}",
        mapping.source,
        reading.names.join(", ")
    );
    let place = Some(Place::line(line.number));
    Some(SourceError::new(place, Fault::Columns(words)))
}

/// What to say when no line names what is needed.
fn missing(best: Option<(Line<'_>, Reading)>, mappings: &[Mapping]) -> SourceError {
    let least = if mappings.is_empty() { 2 } else { 1 };
    let known = |r: &Reading| r.known() + r.lacking >= least;
    let (line, reading) = match best {
        Some((line, reading)) if known(&reading) => (line, reading),
        unknown => return nameless(unknown.as_ref()),
    };
    if let Some(error) = unmatched(&reading, line, mappings) {
        return error;
    }
    let time = reading.has(|c| matches!(c, Channel::Time(_)));
    let (lacks, example) = match time {
        true => ("a speed or a place", "speed_kmh"),
        false => ("a time", "time_s"),
    };
    let bare = reading
        .names
        .iter()
        .find(|name| names::lacks_unit(name) && names::lacks_unit_of_time(name) != time);
    let hint = match bare {
        Some(name) => format!("`{name}` lacks its unit: --column {example}={name}"),
        None => format!("name one with --column {example}=COLUMN"),
    };
    let words = format!(
        "no column with {lacks}; the columns are {}. {hint}",
        reading.names.join(", ")
    );
    SourceError::new(Some(Place::line(line.number)), Fault::Columns(words))
}

/// What to say of a text without one known name: its first line may well be names.
fn nameless(first: Option<&(Line<'_>, Reading)>) -> SourceError {
    let mut words =
        "no line names columns such as time_s and speed_mps or lat_deg and lon_deg".to_owned();
    let names = first.map_or(&[][..], |(_, reading)| &reading.names);
    if names.len() > 1 {
        let text = names.join(", ");
        let shown = text.chars().filter(|c| !c.is_control());
        let shown: String = shown.take(SHOWN_MAX).collect();
        words += &format!(
            "; if `{shown}` are names, say which is what: --column time_s=NAME \
             --column speed_kmh=NAME"
        );
    }
    SourceError::new(None, Fault::Columns(words))
}

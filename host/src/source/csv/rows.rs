//! Rows of a table into samples.

use super::cells::{cell, cells};
use super::clock::{Clock, Placed};
use super::direction::Direction;
use super::draft::{Draft, put};
use super::header::Header;
use super::names::{Channel, Scale};
use super::number::{Decimal, NotNumber, Number, bare, leading, number};
use super::pedals::Pedal;
use super::used::{BEYOND, EMPTY, NOT_FINITE, UNREADABLE, UsedColumn, WHY};
use crate::source::report::{Fault, Place, Refusal, Refusals, SourceError};
use cuepost_engine::{Position, Sample};

/// A direction of more is none, radians.
const DIRECTION_MOST_RAD: f64 = 1e4;

/// Reads rows.
#[derive(Debug)]
pub struct Rows {
    separator: u8,
    decimal: Decimal,
    /// For each column up to the last that is used, where it is in `used`.
    plan: Vec<Option<u16>>,
    columns: usize,
    used: Vec<UsedColumn>,
    geodetic: bool,
    clock: Clock,
    course: Option<Direction>,
    heading: Option<Direction>,
    brake: Option<Pedal>,
    throttle: Option<Pedal>,
    /// Where and how fast the newest sample was.
    newest: Option<(Option<Position>, Option<f32>)>,
    refusals: Refusals,
    /// The line of the row to come.
    line: u64,
}

impl Rows {
    /// A reader of rows laid out like this.
    pub fn new(header: &Header) -> Self {
        let mut used = Vec::new();
        let mut plan = Vec::new();
        for column in &header.columns {
            plan.push(column.as_ref().map(|column| {
                used.push(UsedColumn::new(column.clone()));
                (used.len() - 1) as u16
            }));
        }
        let last = plan
            .iter()
            .rposition(Option::is_some)
            .map_or(0, |at| at + 1);
        plan.truncate(last);
        let channels = || used.iter().map(|used| used.column.channel);
        let has = |wanted| channels().any(|channel| channel == wanted);
        let geodetic = has(Channel::Lat) && has(Channel::Lon);
        let positions = geodetic || (has(Channel::East) && has(Channel::North));
        let power = channels().find_map(|channel| match channel {
            Channel::Time(power) => Some(power),
            _ => None,
        });
        let course = channels().find_map(|channel| match channel {
            Channel::Course(angle) => Some(Direction::new(angle, positions)),
            _ => None,
        });
        let heading = channels().find_map(|channel| match channel {
            Channel::Heading(angle) => Some(Direction::new(angle, positions)),
            _ => None,
        });
        let brake = channels().find_map(|channel| match channel {
            Channel::Brake(scale) => Some(Pedal::of(scale)),
            _ => None,
        });
        let throttle = channels().find_map(|channel| match channel {
            Channel::Throttle(scale) => Some(Pedal::of(scale)),
            _ => None,
        });
        Self {
            separator: header.separator,
            decimal: header.decimal,
            plan,
            columns: header.columns.len(),
            used,
            geodetic,
            clock: Clock::new(power.unwrap_or(6)),
            course,
            heading,
            brake,
            throttle,
            newest: None,
            refusals: Refusals::default(),
            line: header.rows_line,
        }
    }

    /// True while a pedal's scale is not known.
    pub fn pedals_open(&self) -> bool {
        [self.brake, self.throttle]
            .iter()
            .any(|pedal| matches!(pedal, Some(Pedal::Watched { .. })))
    }

    /// Decides the scale of the pedals from the rows in `head`.
    pub fn survey(&mut self, head: &[u8]) {
        let mut largest: [Option<f64>; 2] = [None; 2];
        for row in head.split(|byte| *byte == b'\n') {
            let mut rest = Some(row.strip_suffix(b"\r").unwrap_or(row));
            for slot in &self.plan {
                let Some(line) = rest else { break };
                let (text, tail) = cell(line, self.separator);
                rest = tail;
                let used = slot.and_then(|slot| self.used.get(usize::from(slot)));
                let at = match used.map(|used| used.column.channel) {
                    Some(Channel::Brake(Scale::Unknown)) => 0,
                    Some(Channel::Throttle(Scale::Unknown)) => 1,
                    _ => continue,
                };
                if let Ok(number) = number(text, self.decimal) {
                    let value = number.value();
                    largest[at] = Some(largest[at].map_or(value, |most| most.max(value)));
                }
            }
        }
        for (pedal, largest) in [&mut self.brake, &mut self.throttle]
            .into_iter()
            .zip(largest)
        {
            if let (Some(pedal @ Pedal::Watched { .. }), Some(largest)) = (pedal, largest) {
                *pedal = Pedal::of_largest(largest);
            }
        }
    }

    /// Reads a row, without its end; `None` when it gives no sample. An error ends the reading.
    pub fn row(&mut self, row: &[u8]) -> Result<Option<Sample>, SourceError> {
        let line = self.line;
        self.line += 1;
        let row = row.strip_suffix(b"\r").unwrap_or(row);
        if row.is_empty() || row.first() == Some(&b'#') || row.trim_ascii().is_empty() {
            return Ok(None);
        }
        let mut draft = Draft::default();
        let mut rest = Some(row);
        let mut cells = 0;
        for at in 0..self.plan.len() {
            let Some(text) = rest else {
                self.refusals
                    .add("row with too few values", Place::line(line));
                return Ok(None);
            };
            cells += 1;
            let slot = self.plan.get(at).copied().flatten().map(usize::from);
            rest = match slot {
                None => cell(text, self.separator).1,
                Some(slot) => match leading(text, self.separator, self.decimal) {
                    Some((number, tail)) => {
                        self.take(slot, number, &mut draft, line);
                        tail
                    }
                    None => {
                        let (text, tail) = cell(text, self.separator);
                        self.value(slot, text, &mut draft, line)?;
                        tail
                    }
                },
            };
        }
        self.count_cells(rest, cells, line)?;
        Ok(self.finish(draft, line))
    }

    /// True when a row has all the cells that are used.
    pub fn is_whole(&self, row: &[u8]) -> bool {
        cells(row, self.separator).count() >= self.plan.len()
    }

    /// The line of the row to come.
    pub fn line(&self) -> u64 {
        self.line
    }

    /// Refuses a row with more values than names: which belongs to which cannot be told.
    fn count_cells(
        &self,
        mut rest: Option<&[u8]>,
        mut cells: usize,
        line: u64,
    ) -> Result<(), SourceError> {
        while let Some(text) = rest {
            let (text, tail) = cell(text, self.separator);
            cells += 1;
            if cells > self.columns && !bare(text).is_empty() {
                break;
            }
            rest = tail;
        }
        if rest.is_none() {
            return Ok(());
        }
        let hint = if self.separator == b',' {
            "are the decimals written with a comma? Then the separator must be a semicolon or a \
             tab, or the values in quotes"
        } else {
            "give every column a name"
        };
        let words = format!("more values than the {} names; {hint}", self.columns);
        Err(SourceError::new(
            Some(Place::line(line)),
            Fault::Ambiguous(words),
        ))
    }

    /// Takes a number in.
    #[inline]
    fn take(&mut self, slot: usize, number: Number, draft: &mut Draft, line: u64) {
        let Some(used) = self.used.get_mut(slot) else {
            return;
        };
        let pedals = (&mut self.brake, &mut self.throttle);
        if put(used.column.channel, number, draft, pedals).is_err() {
            used.miss(BEYOND, line);
        }
    }

    /// Takes the value of one cell in, whatever it holds.
    fn value(
        &mut self,
        slot: usize,
        text: &[u8],
        draft: &mut Draft,
        line: u64,
    ) -> Result<(), SourceError> {
        let why = match number(text, self.decimal) {
            Ok(number) => {
                self.take(slot, number, draft, line);
                return Ok(());
            }
            Err(why) => why,
        };
        let Some(used) = self.used.get_mut(slot) else {
            return Ok(());
        };
        match why {
            NotNumber::Empty => used.miss(EMPTY, line),
            NotNumber::NotFinite => used.miss(NOT_FINITE, line),
            NotNumber::Unreadable => used.miss(UNREADABLE, line),
            NotNumber::Ambiguous => {
                let words = format!(
                    "`{}` in `{}` may be two numbers: is the `{}` before decimals or between \
                     thousands? Decimals here have a `{}`",
                    String::from_utf8_lossy(bare(text)),
                    used.column.name,
                    char::from(self.decimal.grouping()),
                    char::from(self.decimal.sign()),
                );
                let place = Some(Place::line(line));
                return Err(SourceError::new(place, Fault::Ambiguous(words)));
            }
        }
        Ok(())
    }

    /// Makes the sample.
    fn finish(&mut self, draft: Draft, line: u64) -> Option<Sample> {
        let mut sample = draft.sample;
        let Some(time_us) = draft.time_us else {
            self.refusals.add("row without a time", Place::line(line));
            return None;
        };
        if let (Some(first), Some(second)) = (draft.first, draft.second) {
            sample.position = self.position(first, second, line);
        }
        if draft.no_fix {
            (sample.position, sample.speed_mps) = (None, None);
        }
        let placed = self.clock.place(time_us);
        let time_us = match placed {
            Placed::New(time_us) => time_us,
            Placed::Restarted(time_us) => {
                let words = "time starts again; a gap was put in";
                self.refusals.add(words, Place::line(line));
                time_us
            }
            Placed::Late => {
                self.refusals
                    .add("older than the row before", Place::line(line));
                return None;
            }
            Placed::Again => {
                let same = self.newest == Some((sample.position, sample.speed_mps));
                let words = if same {
                    "the same time again"
                } else {
                    "the same time again with other values"
                };
                self.refusals.add(words, Place::line(line));
                return None;
            }
        };
        sample.time_us = time_us;
        let read = |direction: &mut Option<Direction>, value: Option<f64>| {
            let direction = direction.as_mut()?.read(value?, time_us, sample.position)?;
            // No column counts thousands of turns: a broken cell is no direction.
            (direction.abs() < DIRECTION_MOST_RAD).then_some(direction)
        };
        let heading = read(&mut self.heading, draft.heading);
        let course = read(&mut self.course, draft.course);
        sample.direction_rad = course.or(heading).map(|direction| direction as f32);
        self.newest = Some((sample.position, sample.speed_mps));
        Some(sample)
    }

    fn position(&mut self, first: i64, second: i64, line: u64) -> Option<Position> {
        if !self.geodetic {
            return Some(Position::Local {
                east_mm: first,
                north_mm: second,
            });
        }
        if (first, second) == (0, 0) {
            self.refusals
                .add("latitude and longitude 0 (no fix)", Place::line(line));
            return None;
        }
        Some(Position::Geodetic {
            lat_e7: i32::try_from(first).ok()?,
            lon_e7: i32::try_from(second).ok()?,
        })
    }

    /// True when the places are plane coordinates.
    pub fn is_plane(&self) -> bool {
        !self.geodetic
            && self
                .used
                .iter()
                .any(|used| used.column.channel == Channel::East)
    }

    /// The time of the source that sample times count from.
    pub fn zero_us(&self) -> i64 {
        self.clock.zero_us()
    }

    /// The columns with what they hold.
    pub fn understood(&self) -> Vec<String> {
        self.used
            .iter()
            .map(|used| format!("{} ({})", used.column.name, used.column.channel.words()))
            .collect()
    }

    /// What was decided on the way.
    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        for used in &self.used {
            let name = &used.column.name;
            notes.extend(match used.column.channel {
                Channel::Course(_) => self.course.as_ref().and_then(|c| c.words(name)),
                Channel::Heading(_) => self.heading.as_ref().and_then(|h| h.words(name)),
                Channel::Brake(_) => self.brake.and_then(|pedal| pedal.words(name)),
                Channel::Throttle(_) => self.throttle.and_then(|pedal| pedal.words(name)),
                _ => None,
            });
        }
        notes
    }

    /// What was refused.
    pub fn refused(&self) -> Vec<Refusal> {
        let mut refused = self.refusals.all().to_vec();
        for used in &self.used {
            for (why, &(count, first)) in WHY.iter().zip(&used.missing) {
                if count > 0 {
                    refused.push(Refusal {
                        reason: format!("`{}` {why}", used.column.name),
                        count,
                        first: Place::line(first),
                    });
                }
            }
        }
        refused
    }
}

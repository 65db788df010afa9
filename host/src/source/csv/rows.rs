//! Rows of a table into samples.

use super::clock::{Clock, Placed};
use super::direction::Direction;
use super::header::{Column, Header, cell};
use super::names::{Channel, Scale};
use super::number::{Decimal, NotNumber, Number, bare, leading, number};
use super::pedals::Pedal;
use crate::source::report::{Fault, Place, Refusal, Refusals, SourceError};
use cuepost_engine::check::{ACCELERATION_MAX_MPS2, LOCAL_MAX_MM, SPEED_MAX_MPS};
use cuepost_engine::{Position, Sample};

/// Why a cell gave nothing, in the order of [`UsedColumn::missing`].
const WHY: [&str; 4] = [
    "is empty",
    "is not a finite number",
    "is no number",
    "is beyond all bounds",
];
const EMPTY: usize = 0;
const NOT_FINITE: usize = 1;
const UNREADABLE: usize = 2;
const BEYOND: usize = 3;

/// How often, and the first line.
type Tally = (u64, u64);

/// A column that is used, with what was missing in it.
#[derive(Clone, Debug)]
struct UsedColumn {
    column: Column,
    missing: [Tally; WHY.len()],
}

impl UsedColumn {
    /// Counts a cell that gave nothing.
    fn miss(&mut self, why: usize, line: u64) {
        let (count, first) = &mut self.missing[why];
        if *count == 0 {
            *first = line;
        }
        *count += 1;
    }
}

/// The parts of a sample as they come together.
#[derive(Default)]
struct Draft {
    sample: Sample,
    time_us: Option<i64>,
    first: Option<i64>,
    second: Option<i64>,
    course: Option<f64>,
    heading: Option<f64>,
    no_fix: bool,
}

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
    newest: Option<Sample>,
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
                used.push(UsedColumn {
                    column: column.clone(),
                    missing: Default::default(),
                });
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
        super::header::cells(row, self.separator).count() >= self.plan.len()
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
                let same = self.newest.is_some_and(|newest| {
                    (newest.position, newest.speed_mps) == (sample.position, sample.speed_mps)
                });
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
            direction.as_mut()?.read(value?, time_us, sample.position)
        };
        let heading = read(&mut self.heading, draft.heading);
        let course = read(&mut self.course, draft.course);
        sample.direction_rad = course.or(heading).map(|direction| direction as f32);
        self.newest = Some(sample);
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

/// Puts a number where its channel belongs; the error says that it is beyond all bounds.
#[inline]
fn put(
    channel: Channel,
    number: Number,
    draft: &mut Draft,
    (brake, throttle): (&mut Option<Pedal>, &mut Option<Pedal>),
) -> Result<(), ()> {
    let bounded = |places, most: i64| {
        let fixed = number.fixed(places).filter(|fixed| fixed.abs() <= most);
        fixed.map(Some).ok_or(())
    };
    let real = |unit: f64, least: f32, most: f32| {
        let value = (number.value() * unit) as f32;
        let within = (least..=most).contains(&value);
        // Minus zero is zero.
        if within {
            Ok(Some(value + 0.0))
        } else {
            Err(())
        }
    };
    let acceleration = |unit| real(unit, -ACCELERATION_MAX_MPS2, ACCELERATION_MAX_MPS2);
    let position = |pedal: &mut Option<Pedal>| match pedal {
        Some(pedal) => pedal.position(number.value()),
        None => Ok(None),
    };
    let sample = &mut draft.sample;
    match channel {
        Channel::Time(power) => draft.time_us = bounded(power, 1 << 53)?,
        Channel::Lat => draft.first = bounded(7, 900_000_000)?,
        Channel::Lon => draft.second = Some(around(bounded(7, 3_600_000_000)?)),
        Channel::East => draft.first = bounded(3, LOCAL_MAX_MM)?,
        Channel::North => draft.second = bounded(3, LOCAL_MAX_MM)?,
        Channel::Speed(unit) => sample.speed_mps = real(unit, 0.0, SPEED_MAX_MPS)?,
        Channel::Course(_) => draft.course = Some(number.value()),
        Channel::Heading(_) => draft.heading = Some(number.value()),
        Channel::Brake(_) => sample.brake = position(brake)?,
        Channel::Throttle(_) => sample.throttle = position(throttle)?,
        Channel::Steer => sample.steer = real(1.0, -1e6, 1e6)?,
        Channel::Gear => {
            let gear = number.fixed(0).and_then(|gear| i8::try_from(gear).ok());
            sample.gear = gear.map(Some).ok_or(())?;
        }
        Channel::LongAcc(unit) => sample.long_acc_mps2 = acceleration(unit)?,
        Channel::LatAcc(unit) => sample.lat_acc_mps2 = acceleration(unit)?,
        Channel::YawRate(unit) => sample.yaw_rate_rps = real(unit, -50.0, 50.0)?,
        Channel::PositionSd => sample.position_sd_m = real(1.0, 0.0, 1e8)?,
        Channel::SpeedSd => sample.speed_sd_mps = real(1.0, 0.0, 1e6)?,
        Channel::Fix => draft.no_fix = number.digits == 0,
    }
    Ok(())
}

/// A longitude of 0 to 360 degrees as one of -180 to 180.
fn around(lon_e7: Option<i64>) -> i64 {
    const TURN: i64 = 3_600_000_000;
    match lon_e7.unwrap_or(0) {
        lon if lon > TURN / 2 => lon - TURN,
        lon if lon < -TURN / 2 => lon + TURN,
        lon => lon,
    }
}

//! One decoder for every kind.

use super::Options;
use super::csv::Table;
use super::report::{Fault, Kind, Place, Refusal, Report, SourceError};
use super::wire::Wire;
use cuepost_engine::Sample;
use cuepost_engine::receiver::{Reason, Receiver};
use cuepost_engine::reference::SourceKind;

/// Dates before this one, as days since 1970-01-01, are those of a receiver that does not know
/// better (1 January 2000).
const EARLIEST_DAY: i32 = 10_957;

/// Turns bytes of a known kind into samples.
#[derive(Debug)]
pub(super) struct Decoder {
    kind: Kind,
    bytes: u64,
    samples: u64,
    of: Of,
}

#[derive(Debug)]
enum Of {
    Receiver(Box<Lined>),
    Table(Box<Table>),
    Wire(Box<Wire>),
}

/// A receiver with the lines of what it refused.
#[derive(Debug, Default)]
struct Lined {
    receiver: Receiver,
    /// Ends of lines so far.
    lines: u64,
    /// The line of the first refusal of each reason.
    first: [Option<u64>; Reason::ALL.len()],
}

impl Decoder {
    /// A decoder of this kind; `survey` bytes of a table are looked at before it begins.
    pub fn new(kind: Kind, options: &Options, survey: usize) -> Self {
        let of = match kind {
            Kind::Nmea | Kind::Ubx | Kind::Mixed => Of::Receiver(Box::default()),
            Kind::Csv => Of::Table(Box::new(Table::new(options.columns.clone(), survey))),
            Kind::WireRecording => Of::Wire(Box::new(Wire::new())),
        };
        Self {
            kind,
            bytes: 0,
            samples: 0,
            of,
        }
    }

    /// Bytes taken in so far.
    pub fn bytes(&self) -> u64 {
        self.bytes
    }

    /// Takes bytes in. An error is final.
    pub fn push(&mut self, bytes: &[u8], out: &mut impl FnMut(Sample)) -> Result<(), SourceError> {
        self.bytes += bytes.len() as u64;
        let samples = &mut self.samples;
        let mut out = |sample| {
            *samples += 1;
            out(sample);
        };
        match &mut self.of {
            Of::Receiver(lined) => {
                lined.push(bytes, &mut out);
                Ok(())
            }
            Of::Table(table) => table.push(bytes, &mut out),
            Of::Wire(wire) => wire.push(bytes, &mut out),
        }
    }

    /// The stream has ended. The error is a cut end, or that nothing could be used.
    pub fn finish(&mut self, out: &mut impl FnMut(Sample)) -> Result<(), SourceError> {
        let samples = &mut self.samples;
        let mut out = |sample| {
            *samples += 1;
            out(sample);
        };
        match &mut self.of {
            Of::Receiver(lined) => lined.finish(&mut out),
            Of::Table(table) => table.finish(&mut out),
            Of::Wire(wire) => wire.finish(),
        }?;
        if self.samples == 0 {
            let fault = Fault::Nothing(self.nothing().to_owned());
            return Err(SourceError::new(None, fault));
        }
        Ok(())
    }

    /// What to say when there were no samples.
    fn nothing(&self) -> &'static str {
        match &self.of {
            Of::Receiver(lined) => {
                let counts = lined.receiver.counts();
                if counts.refused(Reason::NoTime).count > 0 {
                    "the receiver never had a time; was its antenna covered?"
                } else {
                    "no RMC or GGA sentence and no NAV-PVT frame; let the receiver send RMC or \
                     NAV-PVT"
                }
            }
            Of::Table(_) => "there are names of columns but no usable rows",
            Of::Wire(_) => "there are no samples in it",
        }
    }

    /// Bytes are missing here: what is half received is dropped.
    pub fn break_off(&mut self) {
        match &mut self.of {
            Of::Receiver(lined) => lined.receiver.break_off(),
            Of::Table(table) => table.break_off(),
            Of::Wire(wire) => wire.break_off(),
        }
    }

    /// True for a table none of whose rows can be read.
    pub fn is_unbegun(&self) -> bool {
        matches!(&self.of, Of::Table(table) if table.is_unbegun())
    }

    /// The source's own time, microseconds, that sample times count from.
    pub fn zero_us(&self) -> i64 {
        match &self.of {
            Of::Table(table) => table.zero_us(),
            _ => 0,
        }
    }

    /// What kind of source it is.
    pub fn source_kind(&self) -> SourceKind {
        match &self.of {
            Of::Receiver(_) => SourceKind::Receiver,
            Of::Table(table) if table.is_plane() => SourceKind::Simulator,
            Of::Table(_) => SourceKind::Unknown,
            Of::Wire(wire) => wire.header().map_or(SourceKind::Unknown, |h| h.source),
        }
    }

    /// The session's notes, where the source has them; else empty.
    pub fn conditions(&self) -> String {
        match &self.of {
            Of::Wire(wire) => wire.header().map(|h| h.conditions.to_string()),
            _ => None,
        }
        .unwrap_or_default()
    }

    /// The date the source stated, as days since 1970-01-01.
    pub fn day(&self) -> Option<i32> {
        match &self.of {
            Of::Receiver(lined) => lined.receiver.day(EARLIEST_DAY),
            Of::Wire(wire) => {
                let began = wire.header()?.began_unix_s?;
                i32::try_from(began / 86_400).ok()
            }
            Of::Table(_) => None,
        }
    }

    /// How many messages were damaged or cut: what a line too slow for them does.
    pub fn damaged(&self) -> u64 {
        match &self.of {
            Of::Receiver(lined) => [Reason::Checksum, Reason::Cut, Reason::TooLong]
                .iter()
                .map(|reason| u64::from(lined.receiver.counts().refused(*reason).count))
                .sum(),
            Of::Table(_) => 0,
            Of::Wire(wire) => wire.refused().iter().map(|refusal| refusal.count).sum(),
        }
    }

    /// What was refused so far.
    pub fn refused(&self) -> Vec<Refusal> {
        match &self.of {
            Of::Receiver(lined) => lined.refused(),
            Of::Table(table) => table.found().3,
            Of::Wire(wire) => wire.refused(),
        }
    }

    /// What was found so far.
    pub fn report(&self) -> Report {
        let mut report = Report {
            kind: self.kind,
            bytes: self.bytes,
            samples: self.samples,
            understood: Vec::new(),
            ignored: Vec::new(),
            notes: Vec::new(),
            refused: self.refused(),
        };
        match &self.of {
            Of::Receiver(lined) => lined.report(&mut report),
            Of::Table(table) => {
                let (understood, ignored, notes, _) = table.found();
                (report.understood, report.ignored, report.notes) = (understood, ignored, notes);
            }
            Of::Wire(wire) => report.notes = wire.notes(),
        }
        report
    }
}

impl Lined {
    fn push(&mut self, bytes: &[u8], out: &mut impl FnMut(Sample)) {
        let from = self.receiver.bytes();
        let before = self.receiver.counts().refused_total();
        self.receiver.push_slice(bytes, out);
        if self.receiver.counts().refused_total() != before {
            self.note_lines(bytes, from);
        }
        self.lines += ends(bytes);
    }

    /// Notes the line of each reason met for the first time in these bytes.
    fn note_lines(&mut self, bytes: &[u8], from: u64) {
        for (reason, first) in Reason::ALL.iter().zip(&mut self.first) {
            let tally = self.receiver.counts().refused(*reason);
            if tally.count > 0 && first.is_none() {
                // A sentence that began before these bytes has no end of a line before it here.
                let before = tally.first_byte.saturating_sub(from) as usize;
                let ends = ends(bytes.get(..before).unwrap_or_default());
                *first = Some(self.lines + ends + 1);
            }
        }
    }

    fn finish(&mut self, out: &mut impl FnMut(Sample)) -> Result<(), SourceError> {
        let cut = self.receiver.counts().refused(Reason::Cut).count;
        self.receiver.finish(out);
        self.note_lines(b"", self.receiver.bytes());
        if self.receiver.counts().refused(Reason::Cut).count == cut {
            return Ok(());
        }
        let place = Place {
            line: self.is_text().then_some(self.lines + 1),
            byte: Some(self.receiver.bytes()),
        };
        Err(SourceError::new(Some(place), Fault::Cut))
    }

    /// True when lines mean something.
    fn is_text(&self) -> bool {
        let counts = self.receiver.counts();
        counts.pvt == 0 && counts.other_ubx == 0
    }

    fn refused(&self) -> Vec<Refusal> {
        let counts = self.receiver.counts();
        Reason::ALL
            .iter()
            .zip(self.first)
            .map(|(reason, line)| (reason, counts.refused(*reason), line))
            .filter(|(_, tally, _)| tally.count > 0)
            .map(|(reason, tally, line)| Refusal {
                reason: reason.name().to_owned(),
                count: u64::from(tally.count),
                first: Place {
                    line: line.filter(|_| self.is_text()),
                    byte: Some(tally.first_byte),
                },
            })
            .collect()
    }

    fn report(&self, report: &mut Report) {
        let counts = self.receiver.counts();
        let sentences = counts.rmc + counts.gga + counts.vtg + counts.other_nmea;
        report.kind = match (sentences, counts.pvt + counts.other_ubx) {
            (0, 0) => report.kind,
            (_, 0) => Kind::Nmea,
            (0, _) => Kind::Ubx,
            _ => Kind::Mixed,
        };
        for (name, count) in [
            ("RMC", counts.rmc),
            ("GGA", counts.gga),
            ("VTG", counts.vtg),
            ("NAV-PVT or HNR-PVT", counts.pvt),
            ("other sentences", counts.other_nmea),
            ("other UBX frames", counts.other_ubx),
        ] {
            if count > 0 {
                report.understood.push(format!("{count} {name}"));
            }
        }
        if counts.voids > 0 {
            report
                .notes
                .push(format!("{} epochs without a fix", counts.voids));
        }
        if counts.restarts > 0 {
            report.notes.push(format!(
                "time started again {} times; gaps of {} s were put in",
                counts.restarts,
                cuepost_engine::receiver::RESTART_GAP_US / 1_000_000
            ));
        }
        if counts.rmc == 0 && counts.pvt == 0 && counts.vtg > 0 {
            report.notes.push(
                "speed comes from VTG only, which has no time; let the receiver send RMC".into(),
            );
        }
    }
}

/// Ends of lines.
fn ends(bytes: &[u8]) -> u64 {
    bytes.iter().filter(|byte| **byte == b'\n').count() as u64
}

//! The coach's marks: what should have been told, lap by lap.
//!
//! ```csv
//! lap,corner,phase,advice
//! 3,5,throttle,sooner
//! ```
//!
//! Such a file is complete for the laps it names: in those, a cue that no line asks for is wrong.
//! With the further column `right` (yes or no) only the cues it speaks of count, as when cues are
//! accepted and rejected one by one. `recording` says of which, where there are several.

use cuepost_engine::{Advice, Cue, Phase, Told};
use std::collections::HashSet;
use std::fmt::Write;

/// One line: a cue that is right, or wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// The recording's name; of any where there is none.
    pub recording: Option<String>,
    /// What is marked.
    pub what: What,
    /// Whether it should be told.
    pub right: bool,
}

impl Mark {
    fn speaks_of(&self, recording: &str) -> bool {
        self.recording.as_deref().is_none_or(|r| r == recording)
    }
}

/// A cue without its size and its moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct What {
    /// The lap.
    pub lap: u16,
    /// The corner, from 1.
    pub corner: u8,
    /// What it is about.
    pub phase: Phase,
    /// What to change.
    pub advice: Advice,
}

impl What {
    /// What a cue says.
    pub fn of(cue: &Cue) -> Self {
        Self {
            lap: cue.lap,
            corner: cue.corner,
            phase: cue.phase,
            advice: cue.advice,
        }
    }
}

/// A file of marks.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Marks {
    /// Its lines.
    pub marks: Vec<Mark>,
    /// Whether it has the column `right`.
    pub one_by_one: bool,
}

/// How a setting's cues agree with the marks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Agreement {
    /// Marked to be told, and told.
    pub right: u32,
    /// Told, and not marked so.
    pub wrong: u32,
    /// Marked to be told, and not told.
    pub missed: u32,
}

impl Agreement {
    /// Of what was told, the share that was right.
    pub fn precision(&self) -> Option<f64> {
        share(self.right, self.wrong)
    }

    /// Of what should be told, the share that was.
    pub fn recall(&self) -> Option<f64> {
        share(self.right, self.missed)
    }

    /// Both in one number between 0 and 1. A wrong cue weighs as much as two missed ones:
    /// silence beats a wrong cue. (van Rijsbergen's F with a beta of one half; from memory.)
    pub fn score(&self) -> f64 {
        let [right, wrong, missed] = [self.right, self.wrong, self.missed].map(f64::from);
        let all = 1.25 * right + 0.25 * missed + wrong;
        if all > 0.0 { 1.25 * right / all } else { 0.0 }
    }

    /// Adds another recording's.
    pub fn add(&mut self, other: Self) {
        self.right += other.right;
        self.wrong += other.wrong;
        self.missed += other.missed;
    }
}

fn share(of: u32, others: u32) -> Option<f64> {
    let all = of + others;
    (all > 0).then(|| f64::from(of) / f64::from(all))
}

/// The marks of one recording, ready to be compared with.
#[derive(Clone, Debug, Default)]
pub struct Sheet {
    right: HashSet<What>,
    laps: HashSet<u16>,
    passages: HashSet<(u16, u8)>,
    one_by_one: bool,
}

impl Sheet {
    /// Holds cues against the marks. A reminder counts when it was asked for, and is no fault.
    pub fn agreement(&self, cues: &[Cue]) -> Agreement {
        let told: HashSet<What> = cues.iter().map(What::of).collect();
        let blamed = cues
            .iter()
            .filter(|c| c.told != Told::Ahead && c.advice != Advice::Better)
            .map(What::of)
            .filter(|w| !self.right.contains(w) && self.speaks_of(w));
        let blamed: HashSet<What> = blamed.collect();
        let found = self.right.intersection(&told).count();
        Agreement {
            right: found as u32,
            wrong: blamed.len() as u32,
            missed: (self.right.len() - found) as u32,
        }
    }

    fn speaks_of(&self, what: &What) -> bool {
        if self.one_by_one {
            self.passages.contains(&(what.lap, what.corner))
        } else {
            self.laps.contains(&what.lap)
        }
    }
}

impl Marks {
    /// The marks that speak of a recording.
    pub fn sheet(&self, recording: &str) -> Sheet {
        let mut sheet = Sheet {
            one_by_one: self.one_by_one,
            ..Sheet::default()
        };
        for mark in &self.marks {
            if !mark.speaks_of(recording) {
                continue;
            }
            if mark.right {
                sheet.right.insert(mark.what);
            }
            sheet.laps.insert(mark.what.lap);
            sheet.passages.insert((mark.what.lap, mark.what.corner));
        }
        sheet
    }

    /// None yet, to be accepted and rejected one by one.
    pub fn to_be_made() -> Self {
        Self {
            marks: Vec::new(),
            one_by_one: true,
        }
    }

    /// What is marked of a cue of a recording. In a lap of a complete sheet everything is.
    pub fn of(&self, recording: &str, what: What) -> Option<bool> {
        let mut own = self.marks.iter().filter(|m| m.speaks_of(recording));
        let found = own.clone().find(|m| m.what == what).map(|m| m.right);
        let complete = !self.one_by_one && own.any(|m| m.what.lap == what.lap);
        found.or(complete.then_some(false))
    }

    /// Accepts or rejects a cue, or takes the mark away. On a complete sheet, what is rejected is
    /// what does not stand there.
    pub fn put(&mut self, recording: &str, what: What, right: Option<bool>) {
        self.marks
            .retain(|m| m.what != what || !m.speaks_of(recording));
        if let Some(right) = right.filter(|right| *right || self.one_by_one) {
            self.marks.push(Mark {
                recording: Some(recording.to_owned()),
                what,
                right,
            });
        }
    }

    /// The file's text, in the order of recordings, laps and corners.
    pub fn write(&self) -> String {
        let mut text = String::from("recording,lap,corner,phase,advice");
        text.push_str(if self.one_by_one { ",right\n" } else { "\n" });
        let mut marks: Vec<&Mark> = self.marks.iter().collect();
        marks.sort_by(|a, b| (&a.recording, a.what).cmp(&(&b.recording, b.what)));
        for mark in marks {
            let name = mark.recording.as_deref().unwrap_or_default();
            let right = match (self.one_by_one, mark.right) {
                (false, _) => "",
                (true, true) => ",yes",
                (true, false) => ",no",
            };
            let What {
                lap,
                corner,
                phase,
                advice,
            } = mark.what;
            let _ = writeln!(
                text,
                "{},{lap},{corner},{},{}{right}",
                quoted(name),
                phase.name(),
                advice.name(),
            );
        }
        text
    }

    /// Reads the file's text. The error begins with the line it is about.
    pub fn parse(text: &str) -> Result<Self, String> {
        let mut reader = csv::ReaderBuilder::new()
            .trim(csv::Trim::All)
            .comment(Some(b'#'))
            .from_reader(text.as_bytes());
        let header = reader
            .headers()
            .map_err(|e| format!("line 1: {e}"))?
            .clone();
        let at = |name: &str| header.iter().position(|h| h.eq_ignore_ascii_case(name));
        let needed = |name: &str| {
            at(name).ok_or_else(|| {
                format!("line 1: no column \"{name}\"; marks have lap,corner,phase,advice")
            })
        };
        let columns = [
            needed("lap")?,
            needed("corner")?,
            needed("phase")?,
            needed("advice")?,
        ];
        let (recording, right) = (at("recording"), at("right"));
        let mut marks = Self {
            marks: Vec::new(),
            one_by_one: right.is_some(),
        };
        for row in reader.records() {
            let row = row.map_err(|e| match e.position() {
                Some(p) => format!("line {}: {e}", p.line()),
                None => e.to_string(),
            })?;
            let line = row.position().map_or(0, csv::Position::line);
            let [lap, corner, phase, advice] = columns.map(|c| row.get(c).unwrap_or_default());
            let what = what(lap, corner, phase, advice).map_err(|e| format!("line {line}: {e}"))?;
            let right = match right.and_then(|c| row.get(c)) {
                None | Some("yes" | "") => true,
                Some("no") => false,
                Some(other) => {
                    return Err(format!("line {line}: right is yes or no, not \"{other}\""));
                }
            };
            let name = recording.and_then(|c| row.get(c)).filter(|r| !r.is_empty());
            marks.marks.push(Mark {
                recording: name.map(str::to_owned),
                what,
                right,
            });
        }
        Ok(marks)
    }
}

/// A cue's words as they are written in files and addresses.
pub fn what(lap: &str, corner: &str, phase: &str, advice: &str) -> Result<What, String> {
    let phases = Phase::ALL.map(Phase::name).join(", ");
    let advices = Advice::ALL.map(Advice::name).join(", ");
    Ok(What {
        lap: lap
            .parse()
            .map_err(|_| format!("lap is a whole number, not \"{lap}\""))?,
        corner: corner
            .parse()
            .ok()
            .filter(|c| *c > 0)
            .ok_or_else(|| format!("corner is a number from 1, not \"{corner}\""))?,
        phase: Phase::ALL
            .into_iter()
            .find(|p| p.name() == phase)
            .ok_or_else(|| format!("there is no phase \"{phase}\"; there are {phases}"))?,
        advice: Advice::ALL
            .into_iter()
            .find(|a| a.name() == advice)
            .ok_or_else(|| format!("there is no advice \"{advice}\"; there are {advices}"))?,
    })
}

fn quoted(name: &str) -> String {
    if name.contains([',', '"', '\n', '\r', '#']) {
        format!("\"{}\"", name.replace('"', "\"\""))
    } else {
        name.to_owned()
    }
}

#[cfg(test)]
mod tests;

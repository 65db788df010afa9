//! The table.

use std::fmt;

/// What became of one fault at one rate, over any number of streams.
#[derive(Clone, Debug, Default)]
pub struct Row {
    /// Faults.
    pub episodes: usize,
    /// Cues given.
    pub cues: usize,
    /// That the clean drive gives too.
    pub same: usize,
    /// That the clean drive's facts bear out.
    pub borne_out: usize,
    /// The others, in words.
    pub wrong: Vec<String>,
    /// Laps of the clean drives.
    pub laps_clean: usize,
    /// Laps with the right time, called valid.
    pub laps_right: usize,
    /// Laps marked as not whole.
    pub laps_marked: usize,
    /// Laps of the clean drive that were not closed.
    pub laps_missing: usize,
    /// Laps that were none, and valid ones with a wrong time, in words.
    pub laps_false: Vec<String>,
    /// Seconds from a fault's begin until health said so.
    pub named_s: Vec<f64>,
    /// Faults that health never mentioned: bridged, or too small.
    pub unnamed: usize,
    /// The longest time in good health more than 10 m from the true place, seconds.
    pub astray_s: f64,
    /// Seconds from a fault's end until health was good for good.
    pub recovered_s: Vec<f64>,
    /// Faults named or recovered from later than they should be, in words.
    pub slow: Vec<String>,
}

impl Row {
    /// Adds another stream's.
    pub fn add(&mut self, other: Self) {
        self.episodes += other.episodes;
        self.cues += other.cues;
        self.same += other.same;
        self.borne_out += other.borne_out;
        self.wrong.extend(other.wrong);
        self.laps_clean += other.laps_clean;
        self.laps_right += other.laps_right;
        self.laps_marked += other.laps_marked;
        self.laps_missing += other.laps_missing;
        self.laps_false.extend(other.laps_false);
        self.named_s.extend(other.named_s);
        self.unnamed += other.unnamed;
        self.astray_s = self.astray_s.max(other.astray_s);
        self.recovered_s.extend(other.recovered_s);
        self.slow.extend(other.slow);
    }
}

/// Rows by fault and rate.
#[derive(Clone, Debug, Default)]
pub struct Report {
    /// Name of fault and rate, and what became of it.
    pub rows: Vec<(String, Row)>,
}

impl Report {
    /// Wrong cues in all.
    pub fn wrong(&self) -> usize {
        self.rows.iter().map(|(_, r)| r.wrong.len()).sum()
    }

    /// The rows of each fault, its rates together.
    fn by_fault(&self) -> Vec<(&str, Row)> {
        let mut all: Vec<(&str, Row)> = Vec::new();
        for (name, row) in &self.rows {
            let fault = name.split(' ').next().unwrap_or_default();
            match all.last_mut() {
                Some((last, sum)) if *last == fault => sum.add(row.clone()),
                _ => all.push((fault, row.clone())),
            }
        }
        all
    }

    /// False laps in all.
    pub fn false_laps(&self) -> usize {
        self.rows.iter().map(|(_, r)| r.laps_false.len()).sum()
    }
}

/// Median and largest: `0.20/1.44`.
fn spread(values: &[f64]) -> String {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    match (sorted.get(sorted.len() / 2), sorted.last()) {
        (Some(median), Some(most)) => format!("{median:.2}/{most:.2}"),
        _ => "-".to_owned(),
    }
}

/// How many are later than this, and the last of them: `12, 3.4 s`.
fn late(values: &[f64], than_s: f64) -> String {
    let most = values.iter().copied().fold(0.0, f64::max);
    let count = values.iter().filter(|s| **s > than_s).count();
    format!("{count}, {most:.1} s")
}

/// A fault should be named within this, seconds: half a second and a sample.
pub(super) const NAMED_S: f64 = 0.55;
/// And over within this.
pub(super) const RECOVERED_S: f64 = 2.0;

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "| fault | rate | faults | cues | same | borne out | **wrong** | laps | right | marked | missing | **false** | named s | not named | astray s | recovered s |"
        )?;
        writeln!(f, "|{}", "---|".repeat(16))?;
        for (name, r) in &self.rows {
            writeln!(
                f,
                "| {name} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {:.1} | {} |",
                r.episodes,
                r.cues,
                r.same,
                r.borne_out,
                r.wrong.len(),
                r.laps_clean,
                r.laps_right,
                r.laps_marked,
                r.laps_missing,
                r.laps_false.len(),
                spread(&r.named_s),
                r.unnamed,
                r.astray_s,
                spread(&r.recovered_s),
            )?;
        }
        writeln!(
            f,
            "\n| fault | faults | cues | wrong | false laps | named later than {NAMED_S} s, latest | over later than {RECOVERED_S} s, latest |\n|{}",
            "---|".repeat(7)
        )?;
        for (name, r) in self.by_fault() {
            writeln!(
                f,
                "| {name} | {} | {} | {} | {} | {} | {} |",
                r.episodes,
                r.cues,
                r.wrong.len(),
                r.laps_false.len(),
                late(&r.named_s, NAMED_S),
                late(&r.recovered_s, RECOVERED_S),
            )?;
        }
        let sum = |of: fn(&Row) -> usize| self.rows.iter().map(|(_, r)| of(r)).sum::<usize>();
        writeln!(
            f,
            "{} faults, {} cues, wrong cues: {}, false laps: {}",
            sum(|r| r.episodes),
            sum(|r| r.cues),
            self.wrong(),
            self.false_laps()
        )
    }
}

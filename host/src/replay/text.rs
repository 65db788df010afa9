//! A replay for a coach's eyes: lap by lap, the corners that cost, what was told.

use crate::report::units::{Units, lap_time};
use crate::report::words;
use cuepost_engine::{Cue, Event, Facts, LapEvent, PaceEvent, ReferenceView};
use std::collections::BTreeMap;
use std::io::{self, Write};

/// A corner is listed when it lost or won this much, or something was told, seconds.
const LISTED_S: f32 = 0.05;

#[derive(Default)]
struct Lap {
    event: Option<LapEvent>,
    corners: Vec<Facts>,
    cues: Vec<Cue>,
    pace: Option<PaceEvent>,
}

/// Collects events and prints each lap once its last corner is measured.
pub struct Laps<'a, W: Write> {
    reference: ReferenceView<'a>,
    units: Units,
    out: W,
    laps: BTreeMap<u16, Lap>,
    error: Option<io::Error>,
}

impl<'a, W: Write> Laps<'a, W> {
    /// Prints to `out` in the units asked for.
    pub fn new(reference: ReferenceView<'a>, units: Units, out: W) -> Self {
        Self {
            reference,
            units,
            out,
            laps: BTreeMap::new(),
            error: None,
        }
    }

    /// Takes the next event.
    pub fn take(&mut self, event: &Event) {
        match event {
            Event::Lap(lap) => self.laps.entry(lap.lap).or_default().event = Some(*lap),
            // A recording that begins in the middle of a corner was not broken there.
            Event::Corner(facts) if facts.lap == 0 && !facts.usable => {}
            Event::Corner(facts) => {
                // The next lap's first corner is measured: the lap before is complete.
                if let Some(done) = facts.lap.checked_sub(1) {
                    self.print_up_to(done);
                }
                self.laps.entry(facts.lap).or_default().corners.push(*facts);
            }
            Event::Cue(cue) => self.laps.entry(cue.lap).or_default().cues.push(*cue),
            Event::Pace(pace) => self.laps.entry(pace.lap).or_default().pace = Some(*pace),
            Event::Health(_) | Event::Phase(_) => {}
        }
    }

    /// Prints what is left and returns the first error of writing.
    pub fn finish(mut self) -> io::Result<()> {
        self.print_up_to(u16::MAX);
        self.error.map_or(Ok(()), Err)
    }

    fn print_up_to(&mut self, last: u16) {
        while let Some(entry) = self.laps.first_entry() {
            if *entry.key() > last {
                break;
            }
            let (number, lap) = entry.remove_entry();
            if self.error.is_none()
                && let Err(error) = self.print(number, &lap)
            {
                self.error = Some(error);
            }
        }
    }

    fn print(&mut self, number: u16, lap: &Lap) -> io::Result<()> {
        match (&lap.event, number) {
            (Some(event), _) => {
                let gap = match event.gap_s {
                    Some(gap) => format!("   {gap:+.3} s"),
                    None => String::new(),
                };
                let whole = if event.valid {
                    ""
                } else {
                    "   not a whole lap"
                };
                writeln!(
                    self.out,
                    "Lap {number}   {}{gap}{whole}",
                    lap_time(event.time_us)
                )?;
            }
            (None, 0) => writeln!(self.out, "Before the first lap")?,
            (None, _) => writeln!(self.out, "Lap {number}   not finished")?,
        }
        if let Some(pace) = &lap.pace {
            writeln!(self.out, "  {}", words::pace(pace))?;
        }
        let listed: Vec<&Facts> = lap
            .corners
            .iter()
            .filter(|f| is_listed(f, &lap.cues))
            .collect();
        if !listed.is_empty() {
            writeln!(
                self.out,
                "  corner                  lost  entry middle   exit"
            )?;
        }
        for facts in &listed {
            self.print_corner(facts, &lap.cues)?;
        }
        let others: Vec<&Facts> = lap
            .corners
            .iter()
            .filter(|f| !is_listed(f, &lap.cues))
            .collect();
        if !others.is_empty() {
            let lost: f32 = others.iter().filter_map(|f| f.loss_s()).sum();
            match others.len() {
                1 => writeln!(self.out, "  the other corner: {lost:+.2} s")?,
                n => writeln!(self.out, "  the other {n} corners: {lost:+.2} s together")?,
            }
        }
        writeln!(self.out)
    }

    fn print_corner(&mut self, facts: &Facts, cues: &[Cue]) -> io::Result<()> {
        let name = words::corner_name(&self.reference, facts.corner);
        let short: String = name.chars().take(20).collect();
        let part = |m: Option<cuepost_engine::Measured>| match m {
            Some(m) => format!("{:+6.2}", m.value),
            None => "     -".into(),
        };
        let whole = facts
            .loss_s()
            .map_or("     -".into(), |s| format!("{s:+6.2}"));
        writeln!(
            self.out,
            "  {short:<21} {whole} {} {} {}",
            part(facts.loss_entry_s),
            part(facts.loss_middle_s),
            part(facts.loss_exit_s),
        )?;
        let mut quiet = true;
        for cue in cues.iter().filter(|c| c.corner == facts.corner) {
            let advice = words::advice(cue, &self.reference, self.units);
            self.out
                .write_all(words::told_line(cue, &advice).as_bytes())?;
            quiet = false;
        }
        if quiet && !facts.usable {
            let why = "not judged: the stream or the line was broken";
            writeln!(self.out, "     {why}")?;
        }
        Ok(())
    }
}

fn is_listed(facts: &Facts, cues: &[Cue]) -> bool {
    let costly = facts.loss_s().is_none_or(|s| s.abs() >= LISTED_S);
    costly || !facts.usable || cues.iter().any(|c| c.corner == facts.corner)
}

//! Tables over many outcomes.

use super::Outcome;
use cuepost_engine::Told;
use cuepost_host::demo::campaign::Wanted;
use cuepost_host::demo::fault::FaultKind;
use std::collections::BTreeMap;
use std::fmt;

/// Counts over many passages.
#[derive(Clone, Debug, Default)]
pub struct Report {
    /// Cases without a reference, by seed.
    pub unlearned: Vec<u64>,
    /// Planted and worth telling, by kind and size in tenths of the threshold.
    pub planted: BTreeMap<(FaultKind, u32), Count>,
    /// Planted (worth telling, twice the threshold and more) against the verdict.
    pub confusion: BTreeMap<(FaultKind, String), u32>,
    /// Planted, but not worth telling (too little lost) or not on the road, by kind.
    pub unworthy: BTreeMap<FaultKind, u32>,
    /// Laps that were slower everywhere.
    pub paced_laps: u32,
    /// Those that were called so.
    pub paced_told: u32,
    /// Corners in them.
    pub paced: u32,
    /// Corners in them with a cue.
    pub paced_cues: u32,
    /// Laps called slower everywhere that were not.
    pub pace_false: u32,
    /// Corners right after a planted fault.
    pub after_fault: u32,
    /// Cues in them.
    pub after_fault_told: u32,
    /// Corners without a planted fault, and none right before.
    pub clean: u32,
    /// Cues in them that what happened does not bear out.
    pub false_cues: u32,
    /// What those said.
    pub false_said: BTreeMap<String, u32>,
    /// Cues in them that what happened bears out: the human's own scatter.
    pub own: u32,
    /// Delays of cues told at once, for planted late throttles, seconds.
    pub delays_s: Vec<f64>,
    /// Cues told at once while the car was faster than the reference there.
    pub told_while_faster: u32,
    /// Where to look: seed, lap, corner, what was wrong.
    pub failures: Vec<String>,
}

/// How many of some.
#[derive(Clone, Copy, Debug, Default)]
pub struct Count {
    /// All.
    pub all: u32,
    /// The verdict is what a coach would say first.
    pub best: u32,
    /// The verdict is one of the things a coach would say.
    pub right: u32,
    /// Something was told.
    pub told: u32,
    /// Something was told, and nothing but what a coach would say.
    pub told_right: u32,
}

impl Count {
    fn add(&mut self, o: &Outcome) {
        self.all += 1;
        self.best += u32::from(o.best());
        self.right += u32::from(o.right());
        self.told += u32::from(!o.told.is_empty());
        self.told_right += u32::from(o.told_right());
    }

    /// Share with a right verdict.
    pub fn right_share(&self) -> f64 {
        f64::from(self.right) / f64::from(self.all.max(1))
    }
}

impl Report {
    /// Counts a case's outcomes.
    pub fn add(&mut self, seed: u64, outcomes: Option<&[Outcome]>, wanted: &Wanted) {
        let Some(outcomes) = outcomes else {
            self.unlearned.push(seed);
            return;
        };
        for o in outcomes {
            self.count_now(o);
            if o.paced {
                self.paced += 1;
                self.paced_cues += u32::from(!o.told.is_empty());
                self.paced_told += u32::from(o.pace_told && o.passage.corner == 1);
                self.paced_laps += u32::from(o.passage.corner == 1);
                continue;
            }
            self.pace_false += u32::from(o.pace_told && o.passage.corner == 1);
            match o.planted {
                Some(p) if o.worth_telling(wanted) => {
                    let tenths = bin(o.times(&wanted.thresholds));
                    self.planted.entry((p.kind, tenths)).or_default().add(o);
                    if tenths >= 20 {
                        *self.confusion.entry((p.kind, verdict(o))).or_default() += 1;
                        if !o.told_right() {
                            self.fail(o, &format!("{} x{:.1}", p.kind.name(), p.times));
                        }
                    }
                }
                Some(p) => *self.unworthy.entry(p.kind).or_default() += 1,
                None if o.after_fault => {
                    self.after_fault += 1;
                    self.after_fault_told += u32::from(!o.told.is_empty());
                }
                None => self.count_clean(o, wanted),
            }
        }
    }

    fn count_now(&mut self, o: &Outcome) {
        self.told_while_faster += u32::from(o.told_while_faster);
        if o.planted.is_some_and(|p| p.kind == FaultKind::ThrottleLate) {
            self.delays_s.extend(o.delay_s);
        }
    }

    fn count_clean(&mut self, o: &Outcome, wanted: &Wanted) {
        self.clean += 1;
        if o.told.is_empty() {
            return;
        }
        if o.false_cue(wanted) {
            self.false_cues += 1;
            *self.false_said.entry(said(o)).or_default() += 1;
            self.fail(o, "clean");
        } else {
            self.own += 1;
        }
    }

    fn fail(&mut self, o: &Outcome, what: &str) {
        let d = &o.truth;
        let metres = |x: Option<f64>| x.map_or("-".to_owned(), |x| format!("{x:+.1}"));
        self.failures.push(format!(
            "seed {} lap {} corner {} ({:?}): {what}, verdict {}, told {}; truth brake {} m, release {} m, \
             slowest {:+.2} m/s, throttle {} m, full {} m, out {:+.1} m then {:+.1} m, exit {:+.2} \
             m/s, lost {:+.3} s; {}",
            o.seed,
            o.passage.lap,
            o.passage.corner,
            o.passage.kind,
            verdict(o),
            said(o),
            metres(d.brake_m),
            metres(d.release_m),
            d.slowest_mps.unwrap_or(0.0),
            metres(d.throttle_m),
            metres(d.full_m),
            d.slowest_out_m,
            d.exit_out_m,
            d.exit_mps,
            d.loss_s,
            seen(o),
        ));
    }

    /// Planted at twice the threshold and above, all kinds.
    pub fn at_twice(&self) -> Count {
        let mut sum = Count::default();
        for ((_, tenths), c) in &self.planted {
            if *tenths >= 20 {
                sum.all += c.all;
                sum.best += c.best;
                sum.right += c.right;
                sum.told += c.told;
                sum.told_right += c.told_right;
            }
        }
        sum
    }

    /// False cues in a hundred clean corners.
    pub fn false_percent(&self) -> f64 {
        100.0 * f64::from(self.false_cues) / f64::from(self.clean.max(1))
    }

    /// Mean delay of cues told at once, seconds.
    pub fn mean_delay_s(&self) -> Option<f64> {
        let n = self.delays_s.len();
        (n > 0).then(|| self.delays_s.iter().sum::<f64>() / n as f64)
    }
}

/// What the engine measured of it.
fn seen(o: &Outcome) -> String {
    o.seen.map_or("no facts".to_owned(), |s| {
        format!(
            "seen brake {:+.1} m, decel {:+.1} m/s2, trail {:+.1} m, slowest {:+.2} m/s, throttle \
             {:+.1} m, full {:+.1} m, lift {:.2} s, coast {:+.2} s, out {:+.1} m then {:+.1} m, \
             exit {:+.2} m/s, dip {:.1} m/s, missing {:.0} m, lost {:+.3} {:+.3} {:+.3} s",
            s.brake_m.value,
            s.decel_mps2.value,
            s.trail_m.value,
            s.slowest_mps.value,
            s.throttle_m.value,
            s.full_m.value,
            s.lift_s.value,
            s.coast_s.value,
            s.apex_out_m.value,
            s.exit_out_m.value,
            s.exit_mps.value,
            s.dip_mps.value,
            s.missing_m.value,
            s.loss_entry_s,
            s.loss_middle_s,
            s.loss_exit_s
        )
    })
}

/// The size that a measured one has reached, in tenths of the threshold.
fn bin(times: f64) -> u32 {
    match times {
        x if x < 1.0 => 5,
        x if x < 2.0 => 10,
        x if x < 3.0 => 20,
        x if x < 4.0 => 30,
        _ => 40,
    }
}

/// The verdict in two words.
fn verdict(o: &Outcome) -> String {
    o.verdict.map_or("nothing".to_owned(), |v| {
        format!("{:?} {:?}", v.phase, v.advice).to_lowercase()
    })
}

/// What was told, in two words or three.
fn said(o: &Outcome) -> String {
    let Some(c) = o.told.first() else {
        return "nothing".to_owned();
    };
    let now = if c.told == Told::Now { " now" } else { "" };
    let more = if o.told.len() > 1 { " and more" } else { "" };
    format!("{:?} {:?}{now}{more}", c.phase, c.advice).to_lowercase()
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sizes: Vec<u32> = {
            let mut s: Vec<u32> = self.planted.keys().map(|k| k.1).collect();
            s.sort_unstable();
            s.dedup();
            s
        };
        writeln!(
            f,
            "verdict right / told / told right of planted, by measured size (times the threshold), \
             worth telling:"
        )?;
        write!(f, "{:16}", "")?;
        for s in &sizes {
            write!(f, "{:>18}", format!("x{:.1}", f64::from(*s) / 10.0))?;
        }
        writeln!(f)?;
        for kind in FaultKind::ALL {
            if !self.planted.keys().any(|k| k.0 == kind) {
                continue;
            }
            write!(f, "{:16}", kind.name())?;
            for s in &sizes {
                let cell = self.planted.get(&(kind, *s)).map_or(String::new(), |c| {
                    format!("{}/{}/{} of {}", c.right, c.told, c.told_right, c.all)
                });
                write!(f, "{cell:>18}")?;
            }
            writeln!(f)?;
        }
        writeln!(
            f,
            "\nplanted at twice the threshold and more, against the verdict:"
        )?;
        for ((kind, said), n) in &self.confusion {
            writeln!(f, "{:16}{said:32}{n:>5}", kind.name())?;
        }
        let c = self.at_twice();
        writeln!(
            f,
            "\nat twice and more: {} planted; verdict right {:.1} %, best {:.1} %; told {:.1} %, \
             and of those right {:.1} %: told right {:.1} % of all",
            c.all,
            percent(c.right, c.all),
            percent(c.best, c.all),
            percent(c.told, c.all),
            percent(c.told_right, c.told),
            percent(c.told_right, c.all)
        )?;
        writeln!(
            f,
            "clean corners: {}, false cues {} ({:.2} %) {:?}; borne out by scatter {}",
            self.clean,
            self.false_cues,
            self.false_percent(),
            self.false_said,
            self.own
        )?;
        writeln!(
            f,
            "corners right after a fault: {}, with a cue {}",
            self.after_fault, self.after_fault_told
        )?;
        writeln!(
            f,
            "laps slower everywhere: {}, told so {}, other laps told so {}; cues in their {} corners: {}",
            self.paced_laps, self.paced_told, self.pace_false, self.paced, self.paced_cues
        )?;
        if let Some(mean) = self.mean_delay_s() {
            let most = self.delays_s.iter().copied().fold(f64::MIN, f64::max);
            let n = self.delays_s.len();
            writeln!(
                f,
                "late throttle told at once: {n}, mean {mean:.3} s after it could be known, most {most:.3} s"
            )?;
        }
        writeln!(
            f,
            "told at once while faster than the reference: {}",
            self.told_while_faster
        )?;
        if !self.unlearned.is_empty() {
            writeln!(f, "no reference from seeds {:?}", self.unlearned)?;
        }
        Ok(())
    }
}

fn percent(part: u32, whole: u32) -> f64 {
    100.0 * f64::from(part) / f64::from(whole.max(1))
}

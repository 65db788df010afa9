//! Counts over many passages, and where to look.

use super::right::{Said, right, right_now, silence_is_right};
use super::{Differs, Passage};
use cuepost_engine::thresholds::Thresholds;
use cuepost_engine::{Advice, Cue, Told};
use std::collections::BTreeMap;
use std::fmt;

/// A difference from here on counts, metres of an onset.
const LARGE_M: f64 = 12.0;
/// Or m/s of the slowest speed.
const LARGE_MPS: f64 = 2.0;

/// Counts of one stream.
#[derive(Clone, Copy, Debug, Default)]
pub struct Count {
    /// Large differences of the table of truth.
    pub large: u32,
    /// Of them those of which silence is right: next to nothing lost or gained, reached slowly.
    pub idle: u32,
    /// Of them those that can't be measured: left the road, or no such corner on the reference lap.
    pub unmeasured: u32,
    /// Worth telling: what is left.
    pub worth: u32,
    /// Told with a right cause, and nothing else.
    pub right: u32,
    /// Told with another cause.
    pub wrong: u32,
    /// Cues, of all passages and bends that can be judged.
    pub cues: u32,
    /// Cues that can't be judged.
    pub unjudged: u32,
    /// Cues that what happened does not bear out.
    pub false_cues: u32,
    /// Passages without a large difference.
    pub small: u32,
    /// Cues of them that what happened does not bear out.
    pub small_false: u32,
}

/// Counts by stream, and where they come from.
#[derive(Clone, Debug, Default)]
pub struct Report {
    /// By stream.
    pub streams: BTreeMap<String, Count>,
    /// One line for each miss and each false cue.
    pub misses: Vec<String>,
}

impl Report {
    /// Counts passages.
    pub fn add(&mut self, passages: &[Passage]) {
        let t = Thresholds::DEFAULT;
        for p in passages {
            let count = self.streams.entry(p.stream.clone()).or_default();
            let large = is_large(p);
            count.large += u32::from(large);
            count.small += u32::from(!large);
            self.add_bends(p);
            let count = self.streams.entry(p.stream.clone()).or_default();
            let Some(d) = p.truth.as_ref().filter(|d| !d.disputed) else {
                if large {
                    count.unmeasured += 1;
                    self.misses.push(unmeasured(p));
                }
                count.unjudged += p.told.len() as u32;
                continue;
            };
            let heard = p.heard();
            let right = right(d, &t);
            let is_right = |c: &&Cue| {
                right.iter().any(|r| same(*r, (c.phase, c.advice)))
                    || (c.told == Told::Now && right_now(d, &t))
            };
            let wrong = heard.iter().filter(|c| !is_right(c)).count() as u32;
            count.cues += heard.len() as u32;
            count.false_cues += wrong;
            let mut kind = (wrong > 0).then_some("FALSE");
            if !large {
                count.small_false += wrong;
            } else if silence_is_right(d, &t) {
                count.idle += 1;
            } else {
                count.worth += 1;
                if wrong > 0 {
                    count.wrong += 1;
                    kind = Some("WRONG");
                } else if heard.is_empty() && !in_a_bend(p, &right) {
                    kind = Some("SILENT");
                } else {
                    count.right += 1;
                }
            }
            if let Some(kind) = kind {
                self.misses.push(line(kind, p, d, &right));
            }
        }
    }

    fn add_bends(&mut self, p: &Passage) {
        let count = self.streams.entry(p.stream.clone()).or_default();
        for (cue, right) in &p.told_in_bends {
            match right {
                None => count.unjudged += 1,
                Some(right) => {
                    count.cues += 1;
                    count.false_cues += u32::from(!right);
                }
            }
            if *right == Some(false) {
                self.misses.push(format!(
                    "FALSE {} lap {} after zone {}: told {} of the bend {}",
                    p.stream,
                    p.lap,
                    p.zone,
                    words(&[(cue.phase, cue.advice)]),
                    cue.corner
                ));
            }
        }
    }

    /// All streams together.
    pub fn sum(&self) -> Count {
        let mut sum = Count::default();
        for c in self.streams.values() {
            sum.large += c.large;
            sum.idle += c.idle;
            sum.unmeasured += c.unmeasured;
            sum.worth += c.worth;
            sum.right += c.right;
            sum.wrong += c.wrong;
            sum.cues += c.cues;
            sum.unjudged += c.unjudged;
            sum.false_cues += c.false_cues;
            sum.small += c.small;
            sum.small_false += c.small_false;
        }
        sum
    }
}

impl Count {
    /// Share of what is worth telling that was told with a right cause.
    pub fn right_share(&self) -> f64 {
        f64::from(self.right) / f64::from(self.worth.max(1))
    }

    /// Share of the cues that what happened does not bear out.
    pub fn false_share(&self) -> f64 {
        f64::from(self.false_cues) / f64::from(self.cues.max(1))
    }
}

/// Whether the table of truth calls for a cue.
fn is_large(p: &Passage) -> bool {
    let [brake_m, throttle_m, slowest_mps] = p.table;
    let beyond = |x: Option<f64>, limit: f64| x.is_some_and(|x| x.abs() >= limit);
    beyond(brake_m, LARGE_M) || beyond(throttle_m, LARGE_M) || beyond(slowest_mps, LARGE_MPS)
}

/// Told rightly of a bend on the zone's own road: the straight behind it is that bend's.
fn in_a_bend(p: &Passage, right: &[Said]) -> bool {
    p.told_in_bends.iter().any(|(c, borne_out)| {
        *borne_out == Some(true) && right.iter().any(|r| same(*r, (c.phase, c.advice)))
    })
}

/// The whole corner's praise has no phase.
fn same(a: Said, b: Said) -> bool {
    a.1 == b.1 && (a.0 == b.0 || a.1 == Advice::Better)
}

fn words(said: &[Said]) -> String {
    let all: Vec<String> = said
        .iter()
        .map(|s| format!("{:?} {:?}", s.0, s.1).to_lowercase())
        .collect();
    if all.is_empty() {
        "nothing".to_owned()
    } else {
        all.join(" | ")
    }
}

/// Why a large difference of the table is left out.
fn unmeasured(p: &Passage) -> String {
    let why = match &p.truth {
        None => "no zone of the reference lap or no corner of the reference".to_owned(),
        Some(d) => format!("the table cuts it otherwise than here ({:?})", d.own),
    };
    format!(
        "LEFT OUT {} lap {} zone {} {}: {why}; table brake, throttle, slowest {:?}; told [{}]",
        p.stream,
        p.lap,
        p.zone,
        p.planned,
        p.table,
        words(
            &p.told
                .iter()
                .map(|c| (c.phase, c.advice))
                .collect::<Vec<_>>()
        )
    )
}

fn line(kind: &str, p: &Passage, d: &Differs, right: &[Said]) -> String {
    let metres = |x: Option<f64>| x.map_or("-".to_owned(), |x| format!("{x:+.1}"));
    let told: Vec<String> = p
        .heard()
        .iter()
        .map(|c| {
            let now = match c.told {
                Told::Now => " now",
                Told::After => "",
                Told::Ahead => " ahead",
            };
            format!(
                "{}{now} (corner {})",
                words(&[(c.phase, c.advice)]),
                c.corner
            )
        })
        .collect();
    let verdict = p.verdict.map(|v| (v.phase, v.advice));
    format!(
        "{kind} {} lap {} zone {} {}: told [{}], verdict {}, right {}\n    truth brake {:+.1} m, off \
         throttle {} m, release {:+.1} m, decel {:+.0} %, slowest {:+.2} m/s, slowed {:+.2}, throttle \
         {} m (touched {}), to full {} m, rolled {:.2} s, lift {:.2} s, coast {:+.2} s, out {:+.1} then {:+.1} m, exit {:+.2} m/s, \
         arrived {:.2}, lost {:+.3} {:+.3} {:+.3} s\n    seen {}",
        p.stream,
        p.lap,
        p.zone,
        p.planned,
        told.join(", "),
        words(&verdict.into_iter().collect::<Vec<_>>()),
        words(right),
        d.brake_m,
        metres(d.off_throttle_m),
        d.release_m,
        100.0 * d.decel_ratio,
        d.slowest_mps,
        d.slowed_mps,
        metres(d.throttle_m),
        metres(d.touched_m),
        metres(d.to_full_m),
        d.rolled_s,
        d.lift_s,
        d.coast_s,
        d.slowest_out_m,
        d.exit_out_m,
        d.exit_mps,
        d.arrived_ratio,
        d.loss_s[0],
        d.loss_s[1],
        d.loss_s[2],
        seen(p),
    )
}

fn seen(p: &Passage) -> String {
    let usable = match p.usable {
        Some(true) => "",
        Some(false) => "not usable; ",
        None => "no facts; ",
    };
    let Some(s) = p.seen else {
        return usable.to_owned();
    };
    format!(
        "{usable}brake {:+.1} m, decel {:+.1} m/s2, trail {:+.1} m, release {:+.1} m, slowest {:+.2} \
         m/s, slowed {:+.2}, throttle {:+.1} m, full {:+.1} m, missing {:+.1} m, lift {:.2} s, coast \
         {:+.2} s, out {:+.1} then {:+.1} m, exit {:+.2} m/s, lost {:+.3} {:+.3} {:+.3} s",
        s.brake_m.value,
        s.decel_mps2.value,
        s.trail_m.value,
        s.release_m.value,
        s.slowest_mps.value,
        s.slowed_mps.value,
        s.throttle_m.value,
        s.full_m.value,
        s.missing_m.value,
        s.lift_s.value,
        s.coast_s.value,
        s.apex_out_m.value,
        s.exit_out_m.value,
        s.exit_mps.value,
        s.loss_entry_s,
        s.loss_middle_s,
        s.loss_exit_s
    )
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut rows: Vec<(String, Count)> =
            self.streams.iter().map(|(n, c)| (n.clone(), *c)).collect();
        rows.push(("all".to_owned(), self.sum()));
        for (name, c) in rows {
            writeln!(
                f,
                "{name:<11} large {:>3}: worth telling {:>3}, told right {:>3} ({:.0} %), another cause \
                 {:>2}, silent {:>2}; nothing to tell {:>2}, not measured {:>2}; cues {:>3}, false {:>2} \
                 ({:.1} %), of them in {:>3} small ones {:>2}, not judged {:>2}",
                c.large,
                c.worth,
                c.right,
                100.0 * c.right_share(),
                c.wrong,
                c.worth - c.right - c.wrong,
                c.idle,
                c.unmeasured,
                c.cues,
                c.false_cues,
                100.0 * c.false_share(),
                c.small,
                c.small_false,
                c.unjudged
            )?;
        }
        Ok(())
    }
}

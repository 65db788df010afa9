//! Places that somebody marked while driving past: a key press, a mark of the recording, or a list
//! of times.

use crate::record;
use crate::replay::replay_watched;
use crate::report::units::lap_time;
use cuepost_engine::{Config, HealthState, ReferenceView, Sample};
use std::path::Path;

/// Presses without a name are of one thing when they are this close, metres.
const SAME_M: f64 = 25.0;
/// And those with the same name, metres: farther apart they are two things.
const SAME_NAME_M: f64 = 80.0;
/// The recording must have a place this close before and behind a mark, microseconds.
const CLOSE_US: u64 = 1_000_000;

/// A moment somebody marked.
#[derive(Clone, Debug, PartialEq)]
pub struct Press {
    /// Source time, microseconds.
    pub time_us: u64,
    /// What it is, empty when nothing was said.
    pub name: String,
}

/// A place, from all presses that mean it.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Its name, empty when nothing was said.
    pub name: String,
    /// Metres from the start line: the middle of the presses.
    pub progress_m: f64,
    /// How often it was marked.
    pub presses: usize,
    /// How far the presses lie apart, metres.
    pub apart_m: f64,
}

/// Reads a list of times: `83.4 second board` or `1:23.4 second board` a line, seconds from the
/// recording's first sample; empty lines and those after `#` are left out.
pub fn times(text: &str) -> Result<Vec<(f64, String)>, String> {
    let mut out = Vec::new();
    for (line, number) in text.lines().zip(1..) {
        let line = line.trim();
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        let (time, name) = line.split_once([' ', '\t', ',', ';']).unwrap_or((line, ""));
        let time = seconds(time).ok_or_else(|| {
            format!("line {number}: `{time}` is no time; write 83.4 or 1:23.4, then a name")
        })?;
        let name = name.trim().trim_matches('"');
        if name.len() > super::file::NAME_MAX {
            let most = super::file::NAME_MAX;
            return Err(format!(
                "line {number}: the name takes more than {most} bytes"
            ));
        }
        out.push((time, name.to_owned()));
    }
    Ok(out)
}

fn seconds(text: &str) -> Option<f64> {
    let mut sum = 0.0;
    for part in text.split(':') {
        let value: f64 = part.parse().ok()?;
        sum = sum * 60.0 + value;
    }
    (sum.is_finite() && sum >= 0.0).then_some(sum)
}

/// The marks kept in one of our own recordings; what cannot be read is left out.
pub fn marks(path: &Path) -> std::io::Result<Vec<Press>> {
    let mut reader = record::Reader::new(std::fs::File::open(path)?);
    while reader.next().is_some() {}
    let marks = reader.marks().iter().map(|m| Press {
        time_us: m.time_us,
        name: m.text.chars().take(super::file::NAME_MAX).collect(),
    });
    Ok(marks.collect())
}

/// Where the car was at the presses, `late_s` seconds earlier. The presses come from the samples
/// when `pressed` finds them there. Also those that lie nowhere, in words.
pub fn find<E>(
    samples: impl Iterator<Item = Result<Sample, E>>,
    reference: &ReferenceView<'_>,
    given: &Given,
    late_s: f64,
) -> (Vec<Found>, Vec<String>, Option<E>) {
    let mut trail: Vec<(u64, f64)> = Vec::new();
    let mut presses: Vec<Press> = Vec::new();
    let mut down = false;
    let (summary, fault) = replay_watched(
        samples,
        reference,
        Config::default(),
        &mut (),
        |sample, place| {
            if place.state == HealthState::Ok {
                trail.push((sample.time_us, place.progress_m.into()));
            }
            if *given == Given::Column {
                let pressed = sample.steer.is_some_and(|v| v > 0.5);
                if pressed && !down {
                    presses.push(Press {
                        time_us: sample.time_us,
                        name: String::new(),
                    });
                }
                down = pressed;
            }
        },
        |_, _| {},
    );
    match given {
        Given::Column => {}
        Given::Marks(all) => presses = all.clone(),
        Given::Times(all) => {
            presses = all
                .iter()
                .map(|(s, name)| Press {
                    time_us: summary.start_us.saturating_add((s * 1e6).round() as u64),
                    name: name.clone(),
                })
                .collect();
        }
    }
    let late_us = (late_s * 1e6).round().max(0.0) as u64;
    let mut nowhere = Vec::new();
    let mut at: Vec<(String, f64)> = Vec::new();
    for press in presses {
        let time_us = press.time_us.saturating_sub(late_us);
        match progress_at(&trail, reference, time_us) {
            Some(m) => at.push((press.name, m)),
            None => {
                let after_us = press.time_us.saturating_sub(summary.start_us);
                nowhere.push(format!("{} {}", lap_time(after_us), press.name));
            }
        }
    }
    (together(reference, at), nowhere, fault)
}

/// Where the presses are told.
#[derive(Clone, Debug, PartialEq)]
pub enum Given {
    /// In a column of the table, read in place of the steering.
    Column,
    /// As marks with their source time.
    Marks(Vec<Press>),
    /// As seconds from the first sample.
    Times(Vec<(f64, String)>),
}

fn progress_at(trail: &[(u64, f64)], reference: &ReferenceView<'_>, time_us: u64) -> Option<f64> {
    let i = trail.partition_point(|(t, _)| *t < time_us);
    let b = trail.get(i)?;
    let a = trail.get(i.checked_sub(1).unwrap_or(i))?;
    if b.0.abs_diff(time_us) > CLOSE_US || a.0.abs_diff(time_us) > CLOSE_US {
        return None;
    }
    let step = f64::from(reference.ahead_m(a.1 as f32, b.1 as f32));
    let span = b.0.saturating_sub(a.0).max(1) as f64;
    let share = time_us.saturating_sub(a.0) as f64 / span;
    Some((a.1 + step * share.clamp(0.0, 1.0)).rem_euclid(reference.length_m().into()))
}

/// Presses of the same thing in several laps become one place: their middle.
fn together(reference: &ReferenceView<'_>, mut at: Vec<(String, f64)>) -> Vec<Found> {
    at.sort_by(|a, b| a.1.total_cmp(&b.1));
    let ahead = |from: f64, to: f64| f64::from(reference.ahead_m(from as f32, to as f32));
    let mut groups: Vec<(String, Vec<f64>)> = Vec::new();
    for (name, m) in at {
        let reach = if name.is_empty() { SAME_M } else { SAME_NAME_M };
        let same = groups.iter_mut().find(|(n, all)| {
            *n == name
                && all
                    .first()
                    .is_some_and(|first| ahead(*first, m).abs() < reach)
        });
        match same {
            Some((_, all)) => all.push(m),
            None => groups.push((name, vec![m])),
        }
    }
    let mut found: Vec<Found> = groups
        .into_iter()
        .filter_map(|(name, all)| {
            let first = *all.first()?;
            let mut apart: Vec<f64> = all.iter().map(|m| ahead(first, *m)).collect();
            apart.sort_by(f64::total_cmp);
            let middle = 0.5 * (apart[apart.len() / 2] + apart[(apart.len() - 1) / 2]);
            Some(Found {
                name,
                progress_m: (first + middle).rem_euclid(reference.length_m().into()),
                presses: all.len(),
                apart_m: apart[apart.len() - 1] - apart[0],
            })
        })
        .collect();
    found.sort_by(|a, b| a.progress_m.total_cmp(&b.progress_m));
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::test_reference::with_reference;

    #[test]
    fn times_are_seconds_or_minutes_and_seconds() {
        let text = "# boards\n83.4 second board\n\n1:23.4\tbridge\n5, \"old oak\"\n7\n";
        let read = times(text).unwrap();
        let want = [
            (83.4, "second board"),
            (83.4, "bridge"),
            (5.0, "old oak"),
            (7.0, ""),
        ];
        assert_eq!(read, want.map(|(t, n)| (t, n.to_owned())));
        assert!(
            times("soon board")
                .unwrap_err()
                .starts_with("line 1: `soon` is no time")
        );
        assert!(times("-3 board").is_err());
    }

    #[test]
    fn presses_of_the_same_thing_become_its_middle() {
        with_reference(|r| {
            let press = |name: &str, m: f64| (name.to_owned(), m);
            let found = together(
                r,
                vec![
                    press("board", 400.0),
                    press("board", 408.0),
                    press("board", 401.0),
                    press("board", 700.0),
                    press("", 998.0),
                    press("", 3.0),
                ],
            );
            let places: Vec<(f64, usize)> =
                found.iter().map(|f| (f.progress_m, f.presses)).collect();
            assert_eq!(places, [(0.5, 2), (401.0, 3), (700.0, 1)]);
            assert_eq!(found[1].apart_m, 8.0);
        });
    }
}

//! What was learned, in words for a coach.

use super::Learned;
use super::laps::Lap;
use crate::report::reference;
use crate::report::units::lap_time;
use cuepost_engine::gate::Refusal;
use std::fmt::Write;

/// Reasons for refusing a sample, with their words.
const REFUSED: [(Refusal, &str); 7] = [
    (Refusal::NoFix, "without a fix"),
    (Refusal::NotFinite, "with absurd values"),
    (Refusal::Backward, "older than the one before"),
    (Refusal::Repeated, "repeated"),
    (Refusal::Leap, "out of reach of the one before"),
    (Refusal::Frozen, "frozen"),
    (Refusal::Inaccurate, "too inaccurate"),
];

/// Start line and laps: what was found, what was dropped and why. `names` are the recordings'.
pub fn laps(learned: &Learned, names: &[String]) -> String {
    let mut out = String::new();
    let how = if learned.start_found {
        "found where the car crosses once a lap, fast and straight on"
    } else {
        "as given"
    };
    let at = reference::start(&learned.reference.view()).unwrap_or_default();
    // Writing to a string cannot fail.
    let _ = writeln!(out, "start line  --start {at}  ({how})");
    for (take, name) in names.iter().enumerate() {
        let _ = writeln!(out, "{name}");
        of_take(&mut out, learned, take);
    }
    if let Some(refused) = refused(learned) {
        let _ = writeln!(out, "not used    {refused}");
    }
    out
}

fn of_take(out: &mut String, learned: &Learned, take: usize) {
    let cut = &learned.cut;
    let mut any = false;
    for (index, lap) in cut.laps.iter().enumerate() {
        if cut.takes[lap.track] == take {
            let _ = writeln!(out, "{}", line(learned, index, lap));
            any = true;
        }
    }
    if !any {
        let _ = writeln!(out, "  no whole lap");
        return;
    }
    let sum = |seconds: &[f64]| -> f64 {
        let mine = seconds.iter().zip(&cut.takes).filter(|(_, t)| **t == take);
        mine.map(|(s, _)| s).sum()
    };
    let _ = writeln!(
        out,
        "  {:.1} s before the first crossing and {:.1} s behind the last are no laps",
        sum(&cut.out_s),
        sum(&cut.in_s)
    );
}

fn line(learned: &Learned, index: usize, lap: &Lap) -> String {
    let time = lap_time((lap.time_s * 1e6).round() as u64);
    let word = match lap.fault {
        Some(fault) => format!("not used: {fault}"),
        None if learned.measured[index].lap.is_none() => {
            "used for the car, not measured: the engine did not follow it whole".to_owned()
        }
        None => String::new(),
    };
    let reference = if index == learned.chosen {
        "the reference  "
    } else {
        ""
    };
    format!("  lap {:>3}  {time:>9}  {reference}{word}", lap.number)
        .trim_end()
        .to_owned()
}

fn refused(learned: &Learned) -> Option<String> {
    let parts: Vec<String> = REFUSED
        .iter()
        .filter_map(|(why, words)| {
            let count = learned.refused.get(*why as usize).copied()?;
            (count > 0).then(|| format!("{count} {words}"))
        })
        .collect();
    (!parts.is_empty()).then(|| format!("samples {}", parts.join(", ")))
}

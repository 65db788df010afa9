//! What is printed when a drive is over.

use super::counters::Counters;
use super::drive::Outcome;
use cuepost_engine::gate::Refusal;
use std::path::Path;
use std::sync::atomic::Ordering::Relaxed;

/// The summary, line by line.
pub fn lines(counters: &Counters, outcome: &Outcome, recording: Option<&Path>) -> Vec<String> {
    let count = |n: &std::sync::atomic::AtomicU64| n.load(Relaxed);
    let seconds = counters.began.elapsed().as_secs_f64();
    let mut lines = vec![
        format!(
            "{} laps, {} cues in {}",
            count(&counters.laps),
            count(&counters.cues),
            duration(seconds)
        ),
        samples(counters),
    ];
    let unplugged = count(&counters.unplugged);
    if unplugged > 0 {
        lines.push(format!("unplugged: {unplugged} times"));
    }
    let refused = counters.refused();
    let list: Vec<String> = refused.iter().map(|(w, n)| format!("{n} {w}")).collect();
    lines.push(match list.is_empty() {
        true => "refused: none".into(),
        false => format!("refused: {}", list.join(", ")),
    });
    let far = refused.iter().find(|(why, _)| *why == Refusal::Leap.name());
    if far.is_some_and(|(_, n)| *n > count(&counters.samples) / 2) {
        lines.push(
            "most positions were nowhere near the reference's circuit: is it the right one?".into(),
        );
    }
    for (name, peak, dropped) in counters.queues() {
        lines.push(format!(
            "queue to the {name}: {peak} waiting at most, {dropped} dropped"
        ));
    }
    lines.push(format!(
        "arrival to engine: {}",
        counters.engine_latency.quantiles().words()
    ));
    lines.push(format!(
        "arrival to cue: {}",
        counters.cue_latency.quantiles().words()
    ));
    for (name, latency) in [
        ("page", &counters.page_latency),
        ("display", &counters.display_latency),
    ] {
        let q = latency.quantiles();
        if q.count > 0 {
            lines.push(format!("arrival to {name}: {}", q.words()));
        }
    }
    if let (Some(ended), Some(path)) = (&outcome.recording, recording) {
        let lost = ended.lost + count(&counters.unrecorded);
        let end = match (&ended.finish, lost) {
            (Err(e), _) => format!(", but its end could not be written: {e}"),
            (Ok(()), 0) => ", nothing lost".into(),
            (Ok(()), n) => format!(", {n} lost"),
        };
        let samples = count(&counters.recorded);
        lines.push(format!(
            "recording: {}, {samples} samples{end}",
            path.display()
        ));
    }
    for name in &outcome.left_behind {
        lines.push(format!(
            "the {name} took nothing any more and was left behind"
        ));
    }
    lines
}

/// A recording is read as samples; only ports and sockets count bytes.
fn samples(counters: &Counters) -> String {
    let (samples, bytes) = (&counters.samples, counters.bytes.load(Relaxed));
    let from = match bytes {
        0 => String::new(),
        bytes => format!(", from {bytes} bytes"),
    };
    format!(
        "samples: {} ({:.1} a second){from}",
        samples.load(Relaxed),
        counters.mean_rate_hz()
    )
}

fn duration(seconds: f64) -> String {
    let s = seconds.round() as u64;
    match (s / 3600, s / 60 % 60, s % 60) {
        (0, 0, _) => format!("{seconds:.1} s"),
        (0, m, s) => format!("{m} min {s} s"),
        (h, m, _) => format!("{h} h {m} min"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations_in_words() {
        assert_eq!(duration(5.24), "5.2 s");
        assert_eq!(duration(65.0), "1 min 5 s");
        assert_eq!(duration(7265.0), "2 h 1 min");
    }
}

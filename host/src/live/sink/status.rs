//! The health of a drive in short lines, for the terminal and the coach's page.

use crate::live::counters::Counters;
use std::sync::atomic::Ordering::Relaxed;

/// Name and value, in the order they are shown.
pub fn facts(counters: &Counters) -> Vec<(String, String)> {
    let mut facts = vec![
        (
            "Rate".into(),
            format!("{:.1} samples a second", counters.rate_hz()),
        ),
        ("Samples".into(), counters.samples.load(Relaxed).to_string()),
    ];
    let unplugged = counters.unplugged.load(Relaxed);
    if unplugged > 0 {
        facts.push(("Unplugged".into(), format!("{unplugged} times")));
    }
    let refused = counters.refused();
    if refused.is_empty() {
        facts.push(("Refused".into(), "none".into()));
    }
    for (why, n) in refused {
        facts.push(("Refused".into(), format!("{n}: {why}")));
    }
    for (name, peak, dropped) in counters.queues() {
        let mut value = format!("{peak} waiting at most");
        if dropped > 0 {
            value.push_str(&format!(", {dropped} dropped"));
        }
        facts.push((format!("Queue to the {name}"), value));
    }
    for (name, latency) in [
        ("Arrival to cue", &counters.cue_latency),
        ("Arrival to page", &counters.page_latency),
        ("Arrival to display", &counters.display_latency),
    ] {
        let q = latency.quantiles();
        if q.count > 0 {
            facts.push((name.into(), q.words()));
        }
    }
    let recorded = counters.recorded.load(Relaxed);
    if recorded > 0 {
        let lost = counters.unrecorded.load(Relaxed);
        let text = match lost {
            0 => format!("{recorded} samples"),
            n => format!("{recorded} samples, {n} lost"),
        };
        facts.push(("Recorded".into(), text));
    }
    facts
}

//! The same as JSON, for scripts.

use crate::source::{Report, SourceError, Summary};
use cuepost_engine::{Measured, ReferenceView};
use serde_json::{Value, json};

/// A reference.
pub fn reference(view: &ReferenceView<'_>, id: u32) -> Value {
    let session = view.session;
    let value = |m: &Option<Measured>| m.as_ref().map(|m| m.value);
    let corners: Vec<Value> = (1..)
        .zip(view.corners)
        .map(|(number, corner): (usize, _)| {
            json!({
                "corner": number,
                "name": corner.name.as_str(),
                "note": corner.note.as_str(),
                "kind": corner.kind.name(),
                "brake_m": value(&corner.facts.brake_m),
                "slowest_m": value(&corner.facts.slowest_m),
                "slowest_mps": value(&corner.facts.slowest_mps),
                "throttle_m": value(&corner.facts.throttle_m),
                "full_m": value(&corner.facts.full_m),
                "exit_mps": value(&corner.facts.exit_mps),
            })
        })
        .collect();
    let landmarks: Vec<Value> = view
        .landmarks
        .iter()
        .map(|l| json!({"name": l.name.as_str(), "progress_m": l.progress_m}))
        .collect();
    json!({
        "what": "reference",
        "id": format!("{id:08X}"),
        "name": session.name.as_str(),
        "car": session.car.as_str(),
        "conditions": session.conditions.as_str(),
        "computed": session.computed,
        "lap_time_s": session.lap_time_us as f64 / 1e6,
        "length_m": view.length_m(),
        "corners": corners,
        "landmarks": landmarks,
    })
}

/// A recording, and where reading it stopped before its end.
pub fn recording(report: &Report, summary: &Summary, fault: Option<&SourceError>) -> Value {
    let refused: Vec<Value> = report
        .refused
        .iter()
        .map(|r| json!({"why": r.reason, "count": r.count, "first": r.first.to_string()}))
        .collect();
    let channels: Vec<Value> = summary
        .channels()
        .map(|(name, share)| json!({"name": name, "share": share}))
        .collect();
    let (gaps, longest) = summary.gaps();
    let (position_sd_m, speed_sd_mps) = summary.accuracy();
    json!({
        "what": "recording",
        "kind": report.kind.name(),
        "bytes": report.bytes,
        "notes": report.notes,
        "understood": report.understood,
        "not_used": report.ignored,
        "samples": summary.samples(),
        "duration_s": summary.duration_s(),
        "rate_hz": summary.rate_hz(),
        "gaps": gaps,
        "longest_gap_s": (gaps > 0).then_some(longest.gap_us as f64 * 1e-6),
        "channels": channels,
        "fastest_mps": summary.fastest_mps(),
        "speed_noise_mps": summary.speed_noise_mps(),
        "position_sd_m": position_sd_m,
        "speed_sd_mps": speed_sd_mps,
        "refused": refused,
        "stopped": fault.map(ToString::to_string),
    })
}

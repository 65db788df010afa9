//! What cost more than any habit and could not be judged: the line left, a stop, a spin.

use super::Debrief;
use super::findings::Habit;
use crate::report::units::seconds;
use crate::report::words;
use std::fmt::Write;

/// Less than this is not worth a word, seconds.
const LEAST_S: f32 = 0.5;
/// How many are named.
const MOST: usize = 3;

/// A passage that was not judged.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unjudged {
    /// The lap.
    pub lap: u16,
    /// The corner, from 1.
    pub corner: u8,
    /// What it lost, seconds.
    pub lost_s: f32,
}

/// Those that cost more than one time of the habit to work on, the costliest first.
pub fn unjudged(debrief: &Debrief<'_>, first: Option<&Habit>) -> Vec<Unjudged> {
    let each_s = first.map_or(0.0, |h| h.lost_s / h.laps.len().max(1) as f32);
    let mut found: Vec<Unjudged> = debrief
        .session
        .passages
        .iter()
        .map(|p| &p.facts)
        // Before the first lap everything is slow.
        .filter(|f| !f.usable && f.lap > 0)
        .filter_map(|f| {
            Some(Unjudged {
                lap: f.lap,
                corner: f.corner,
                lost_s: f.loss_s().filter(|s| *s > each_s.max(LEAST_S))?,
            })
        })
        .collect();
    found.sort_by(|a, b| b.lost_s.total_cmp(&a.lost_s));
    found.truncate(MOST);
    found
}

/// The paragraph for them, as HTML; empty when there are none.
pub fn paragraph(debrief: &Debrief<'_>, found: &[Unjudged], escape: fn(&str) -> String) -> String {
    if found.is_empty() {
        return String::new();
    }
    let mut html = String::from(
        "<p>More was lost where nothing is judged, because the line was left, the car stood or the stream broke; look at how each of these began:</p><p>",
    );
    for u in found {
        let name = words::corner_name(debrief.reference, u.corner);
        let _ = write!(
            html,
            "<button type=\"button\" data-corner=\"{}\" data-lap=\"{}\">Lap {}, {}: {} lost</button> ",
            u.corner,
            u.lap,
            u.lap,
            escape(&name),
            seconds(f64::from(u.lost_s))
        );
    }
    html.push_str("</p>");
    html
}

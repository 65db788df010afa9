//! What cost more than any habit and could not be judged: the line left, a stop, a spin.

use super::Debrief;
use super::findings::Habit;
use crate::report::units::seconds;
use crate::report::words;
use crate::session::Passage;
use std::fmt::Write;

/// Less than this is not worth a word, seconds.
const LEAST_S: f32 = 0.5;
/// How many are named.
const MOST: usize = 3;

/// A corner before it that lost more than this without a cause belongs to it, seconds: what made
/// the next corner be reached too slowly began there.
const BEGAN_S: f32 = 0.1;

/// Passages one after the other that were not judged.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unjudged {
    /// The lap.
    pub lap: u16,
    /// The corner it began in, from 1.
    pub corner: u8,
    /// The last corner.
    pub last: u8,
    /// What they lost together, seconds.
    pub lost_s: f32,
}

/// Those that cost more than one time of the habit to work on, the costliest first.
pub fn unjudged(debrief: &Debrief<'_>, first: Option<&Habit>) -> Vec<Unjudged> {
    let each_s = first.map_or(0.0, |h| h.lost_s / h.laps.len().max(1) as f32);
    let mut found: Vec<Unjudged> = Vec::new();
    let mut before: Option<&Passage> = None;
    // Before the first lap everything is slow.
    for passage in debrief.session.passages.iter().filter(|p| p.facts.lap > 0) {
        let facts = &passage.facts;
        if let (false, Some(lost_s)) = (facts.usable, facts.loss_s()) {
            let follows = |corner: u8| corner.checked_add(1) == Some(facts.corner);
            let this = Unjudged {
                lap: facts.lap,
                corner: facts.corner,
                last: facts.corner,
                lost_s,
            };
            match found.last_mut() {
                Some(u) if u.lap == facts.lap && follows(u.last) => {
                    u.last = facts.corner;
                    u.lost_s += lost_s.max(0.0);
                }
                _ => found.push(match before.and_then(|b| began(debrief, b, facts.lap)) {
                    Some((corner, more_s)) if follows(corner) => Unjudged {
                        corner,
                        lost_s: lost_s + more_s,
                        ..this
                    },
                    _ => this,
                }),
            }
        }
        before = Some(passage);
    }
    found.retain(|u| u.lost_s > each_s.max(LEAST_S));
    found.sort_by(|a, b| b.lost_s.total_cmp(&a.lost_s));
    found.truncate(MOST);
    found
}

/// A judged passage that lost time without a cause that could be named.
fn began(debrief: &Debrief<'_>, before: &Passage, lap: u16) -> Option<(u8, f32)> {
    let lost_s = before.loss_s().filter(|s| *s > BEGAN_S)?;
    let corner = before.facts.corner;
    let limit = debrief.config.at(corner);
    let unnamed = before.verdict(debrief.reference, limit).is_none();
    (unnamed && before.facts.lap == lap).then_some((corner, lost_s))
}

/// The paragraph for them, as HTML; empty when there are none.
pub fn paragraph(debrief: &Debrief<'_>, found: &[Unjudged], escape: fn(&str) -> String) -> String {
    if found.is_empty() {
        return String::new();
    }
    let mut html = String::from(
        "<p>More was lost where nothing is judged, because the line was left, the car stood or came too slowly, or the stream broke; look at how each of these began:</p><p>",
    );
    for u in found {
        let mut name = words::corner_name(debrief.reference, u.corner);
        if u.last != u.corner {
            let _ = write!(name, " to {}", u.last);
        }
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

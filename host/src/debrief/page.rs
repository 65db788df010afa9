//! The page itself. Everything a reader needs stands in it as text; the script adds the pictures.

use super::composite::composite;
use super::findings::{self, CornerFinding};
use super::unjudged::{paragraph, unjudged};
use super::{Debrief, data, grip, words};
use crate::conditions;
use crate::report::html::escape;
use crate::report::units::{lap_time, seconds};
use crate::report::words as report;
use cuepost_engine::{Advice, Told};
use std::fmt::Write;

const FRAME: &str = include_str!("page.html");
const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");

/// The whole page as one file without any reference to another.
pub fn render(debrief: &Debrief<'_>) -> String {
    let corners = findings::corners(debrief.session, debrief.reference, debrief.config);
    let first = findings::first(&corners);
    let opens = findings::unexplained(&corners)
        .and_then(|c| Some((c.corner, c.worst_lap?)))
        .or(first.map(|(h, _)| (h.corner, h.worst_lap)));
    let data = data::gather(debrief, opens);
    // `<` would end the script element early.
    let data = serde_json::to_string(&data)
        .unwrap_or_default()
        .replace('<', "\\u003c");
    let title = match debrief.reference.session.name.as_str() {
        "" => escape(debrief.recording),
        name => format!("{} at {}", escape(debrief.recording), escape(name)),
    };
    let parts = [
        ("TITLE", title),
        ("ABOUT", about(debrief)),
        ("FIRST", {
            let lost = unjudged(debrief, first.map(|(habit, _)| habit));
            first_thing(debrief, &corners) + &paragraph(debrief, &lost, escape)
        }),
        ("CORNERS", corner_table(debrief, &corners)),
        ("SPREADS", spread_tables(debrief, &corners)),
        ("LAPS", lap_table(debrief)),
        (
            "GRIP",
            grip::section(&grip::laps(debrief.session, debrief.reference)),
        ),
        ("COMPOSITE", composite_words(debrief, &corners)),
        ("TOLD", told_list(debrief)),
        ("STYLE", STYLE.to_owned()),
        ("DATA", data),
        ("SCRIPT", SCRIPT.to_owned()),
    ];
    fill(&parts)
}

/// Puts each part where the frame names it. Parts are never looked into for names themselves.
fn fill(parts: &[(&str, String)]) -> String {
    let mut page = String::new();
    let mut rest = FRAME;
    while let Some((before, after)) = rest.split_once("{{") {
        page.push_str(before);
        let (name, after) = after.split_once("}}").unwrap_or((after, ""));
        if let Some((_, text)) = parts.iter().find(|(n, _)| *n == name) {
            page.push_str(text);
        }
        rest = after;
    }
    page.push_str(rest);
    page
}

fn about(debrief: &Debrief<'_>) -> String {
    let session = debrief.session;
    let own = &debrief.reference.session;
    let best = session
        .laps
        .iter()
        .filter(|l| l.valid)
        .min_by_key(|l| l.time_us);
    let mut facts = vec![match session.laps.len() {
        1 => "1 lap".to_owned(),
        n => format!("{n} laps"),
    }];
    if let Some(best) = best {
        facts.push(format!(
            "best {} (lap {})",
            lap_time(best.time_us),
            best.lap
        ));
    }
    if own.lap_time_us > 0 {
        facts.push(format!("reference {}", lap_time(own.lap_time_us)));
    }
    for (word, text) in [
        ("car", own.car.as_str()),
        ("reference made", own.conditions.as_str()),
        ("this session", debrief.conditions),
    ] {
        if !text.is_empty() {
            facts.push(format!("{word}: {}", escape(text)));
        }
    }
    if own.computed {
        facts.push("the reference was computed for other conditions, not driven".to_owned());
    }
    let mut html = format!("<p>{}</p>", facts.join(" · "));
    if let Some(warning) = conditions::warning(&own.conditions, debrief.conditions) {
        let _ = write!(html, "<p><b>{}</b></p>", escape(&warning));
    }
    for pace in &session.paces {
        let _ = write!(html, "<p>{}.</p>", escape(&report::pace(pace)));
    }
    html
}

fn first_thing(debrief: &Debrief<'_>, corners: &[CornerFinding]) -> String {
    let Some((habit, next)) = findings::first(corners) else {
        let most = corners
            .iter()
            .filter(|c| c.counted > 0)
            .max_by(|a, b| a.lost_s[0].total_cmp(&b.lost_s[0]));
        let most = most.map_or(String::new(), |c| {
            format!(
                "Most is lost in {}, {} a lap.",
                escape(&report::corner_name(debrief.reference, c.corner)),
                seconds(f64::from(c.lost_s[0]))
            )
        });
        if let Some(html) = unexplained(debrief, corners) {
            return html;
        }
        return format!(
            "<p class=\"do\">Nothing stands out.</p><p>No deviation from the reference is larger than its threshold and costs time. {most}</p>"
        );
    };
    let mut html = unexplained(debrief, corners).unwrap_or_default();
    if !html.is_empty() {
        html.push_str("<p>Of what has a name, this costs most:</p>");
    }
    let corner = escape(&report::corner_name(debrief.reference, habit.corner));
    let what = escape(&words::instruction(habit, debrief.units));
    let _ = write!(html, "<p class=\"do\"><span>{corner}</span> {what}</p>");
    for sentence in words::reasons(debrief, corners, habit, next) {
        let _ = write!(html, "<p>{}</p>", escape(&sentence));
    }
    let _ = write!(
        html,
        "<p><button type=\"button\" class=\"look\" data-corner=\"{}\" data-lap=\"{}\">Look at it: lap {} against the reference</button></p>",
        habit.corner, habit.worst_lap, habit.worst_lap
    );
    html
}

/// The corner that costs more than anything with a name.
fn unexplained(debrief: &Debrief<'_>, corners: &[CornerFinding]) -> Option<String> {
    let c = findings::unexplained(corners)?;
    let name = escape(&report::corner_name(debrief.reference, c.corner));
    let mut html = format!("<p class=\"do\"><span>{name}</span> look here first</p>");
    for sentence in words::unexplained(debrief, c) {
        let _ = write!(html, "<p>{}</p>", escape(&sentence));
    }
    let _ = write!(
        html,
        "<p><button type=\"button\" class=\"look\" data-corner=\"{}\">Look at it: all laps</button></p>",
        c.corner
    );
    Some(html)
}

fn corner_table(debrief: &Debrief<'_>, corners: &[CornerFinding]) -> String {
    let mut sorted: Vec<&CornerFinding> = corners.iter().collect();
    sorted.sort_by(|a, b| b.lost_s[0].total_cmp(&a.lost_s[0]));
    let most = sorted.first().map_or(0.0, |c| c.lost_s[0]).max(0.05);
    let mut html = String::from(
        "<thead><tr><th>Corner</th><th class=n>Lost a lap</th><th class=n>Entry</th><th class=n>Middle</th><th class=n>Exit</th><th>What was found</th></tr></thead><tbody>",
    );
    for c in sorted {
        let name = escape(&report::corner_name(debrief.reference, c.corner));
        let _ = write!(
            html,
            "<tr data-corner=\"{0}\"><th scope=row><button type=\"button\" data-corner=\"{0}\">{name}</button></th>",
            c.corner
        );
        if c.counted == 0 {
            html.push_str("<td class=n colspan=4>not measured</td><td></td></tr>");
            continue;
        }
        for (k, lost) in c.lost_s.iter().enumerate() {
            let bar = if k == 0 {
                bar(*lost, most)
            } else {
                String::new()
            };
            let _ = write!(html, "<td class=n>{bar}{}</td>", signed(*lost));
        }
        let found: Vec<String> = c
            .habits
            .iter()
            .map(|h| {
                let keep = if h.advice == Advice::Better {
                    " class=keep"
                } else {
                    ""
                };
                format!(
                    "<li{keep}>{} <small>{}, {} a lap</small></li>",
                    escape(&words::instruction(h, debrief.units)),
                    words::how_often(h, c.measured),
                    signed(h.per_lap_s)
                )
            })
            .collect();
        let found = if found.is_empty() {
            "<small>nothing above the thresholds</small>".to_owned()
        } else {
            format!("<ul>{}</ul>", found.concat())
        };
        let partly = match c.passages.saturating_sub(c.measured) {
            0 => String::new(),
            n => format!("<small>{n} of {} not judged</small>", c.passages),
        };
        let _ = write!(html, "<td>{found}{partly}</td></tr>");
    }
    html.push_str("</tbody>");
    html
}

fn bar(lost_s: f32, most_s: f32) -> String {
    let percent = (lost_s.abs() / most_s * 100.0).min(100.0);
    let class = if lost_s > 0.0 { "lost" } else { "won" };
    format!("<i class=\"bar {class}\" style=\"width:{percent:.0}%\"></i>")
}

/// `+0.21`, `−0.04`: the sign says lost or won without any colour.
fn signed(seconds: f32) -> String {
    let rounded = (seconds * 100.0).round() / 100.0;
    if rounded < 0.0 {
        format!("−{:.2} s", -rounded)
    } else {
        format!("+{:.2} s", rounded + 0.0)
    }
}

fn spread_tables(debrief: &Debrief<'_>, corners: &[CornerFinding]) -> String {
    let mut html = String::new();
    for c in corners.iter().filter(|c| !c.spreads.is_empty()) {
        let name = escape(&report::corner_name(debrief.reference, c.corner));
        let _ = write!(
            html,
            "<table data-spread=\"{}\"><caption>{name}</caption><thead><tr><th>Fact</th><th class=n>To the reference</th><th class=n>Scatter over laps</th><th class=n>Of it measuring</th></tr></thead><tbody>",
            c.corner
        );
        for s in &c.spreads {
            let (mean, sd, measured) = words::spread(s, debrief.units);
            let _ = write!(
                html,
                "<tr><th scope=row>{}</th><td class=n>{mean}</td><td class=n>{sd}</td><td class=n>{measured}</td></tr>",
                s.of
            );
        }
        html.push_str("</tbody></table>");
    }
    html
}

fn lap_table(debrief: &Debrief<'_>) -> String {
    let mut html = String::from(
        "<thead><tr><th>Lap</th><th class=n>Time</th><th class=n>To the reference</th><th></th></tr></thead><tbody>",
    );
    let best = debrief
        .session
        .laps
        .iter()
        .filter(|l| l.valid)
        .map(|l| l.time_us)
        .min();
    for lap in &debrief.session.laps {
        let gap = lap.gap_s.map_or(String::new(), |g| format!("{g:+.3} s"));
        let note = match (lap.valid, Some(lap.time_us) == best) {
            (false, _) => "not a whole lap",
            (true, true) => "best",
            (true, false) => "",
        };
        let _ = write!(
            html,
            "<tr><th scope=row>{}</th><td class=n>{}</td><td class=n>{}</td><td>{note}</td></tr>",
            lap.lap,
            lap_time(lap.time_us),
            gap.replace('-', "−"),
        );
    }
    html.push_str("</tbody>");
    html
}

fn composite_words(debrief: &Debrief<'_>, corners: &[CornerFinding]) -> String {
    let Some(c) = composite(debrief.reference, corners, &debrief.session.laps) else {
        return "<p>No composite: some corner was never measured whole.</p>".to_owned();
    };
    let time = |s: f64| lap_time((s * 1e6).round().max(0.0) as u64);
    let best = c.best_lap_s.map_or(String::new(), |b| {
        format!(" The best lap driven is {}.", time(b))
    });
    format!(
        "<p>The best passage of every corner, put together, makes <b>{}</b>; the best entry, middle and exit of every corner make <b>{}</b>.{best}</p><p>Nobody drove these. They are bounds: a fast entry is often paid for in the middle, so the second cannot be reached whole.</p>",
        time(c.corners_s),
        time(c.parts_s)
    )
}

fn told_list(debrief: &Debrief<'_>) -> String {
    if debrief.session.cues.is_empty() {
        return "<p>Nothing would have been told.</p>".to_owned();
    }
    let mut html = String::from("<ol>");
    for cue in &debrief.session.cues {
        let moment = match cue.told {
            Told::Now => "as it happened",
            Told::After => "on the way out",
            Told::Ahead => "before the corner",
        };
        let _ = write!(
            html,
            "<li><button type=\"button\" data-corner=\"{}\" data-lap=\"{}\">Lap {}</button> {} <small>{moment}</small></li>",
            cue.corner,
            cue.lap,
            cue.lap,
            escape(&report::cue(cue, debrief.reference, debrief.units))
        );
    }
    html.push_str("</ol>");
    html
}

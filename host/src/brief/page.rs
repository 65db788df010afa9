//! The sheet as a page to print: two sheets of A4 for 16 corners. No script, no other file.

use super::map::map;
use super::text::{name, star};
use super::{Sheet, Worth};
use crate::report::html::escape;
use crate::report::units::Units;
use cuepost_engine::ReferenceView;
use std::fmt::Write;

const STYLE: &str = include_str!("page.css");

/// The page.
pub fn page(sheet: &Sheet, view: &ReferenceView<'_>, units: Units) -> String {
    let title = escape(&sheet.title);
    let mut out = format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>Brief: {title}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n\
         <header><h1>{title}</h1><p>{}</p></header>\n",
        escape(&sheet.about.join(" · "))
    );
    if let Some(caution) = sheet.caution {
        let _ = writeln!(out, "<p class=\"caution\">Caution. {}</p>", escape(caution));
    }
    let _ = write!(
        out,
        "<div class=\"top\"><div>{}<p class=\"hint\">The arrow is the direction of travel, the bar across the start line. \
         Thick: on the brake.</p></div><section><h2>{}</h2><ol>",
        map(view),
        Worth::heading(units)
    );
    for w in &sheet.worth {
        let name = escape(name(sheet, w.corner));
        let _ = write!(out, "<li><b>{name}</b>: {}</li>", escape(&w.words(units)));
    }
    out.push_str("</ol></section></div>\n<main id=\"corners\">\n");
    for c in &sheet.corners {
        let _ = write!(
            out,
            "<article><h2><b>{}</b>{}<small>{}</small></h2><p>{}</p>",
            c.number,
            escape(&c.heading),
            star(c.rank),
            escape(&c.sentences.join(" "))
        );
        for (class, text) in [("note", &c.note), ("scatter", &c.scatter)] {
            if !text.is_empty() {
                let _ = write!(out, "<p class=\"{class}\">{}</p>", escape(text));
            }
        }
        out.push_str("</article>\n");
    }
    out.push_str("</main>\n");
    landmarks(&mut out, sheet);
    out.push_str("</body>\n</html>\n");
    together(&out)
}

/// A number and its unit stay on one line.
fn together(html: &str) -> String {
    let mut out = String::with_capacity(html.len());
    let (mut before, mut rest) = (' ', html.chars().peekable());
    while let Some(c) = rest.next() {
        let unit = rest
            .peek()
            .is_some_and(|n| matches!(n, 'm' | 'k' | 's' | 'f'));
        // Within tags a number is followed by a quote or a comma, never by a space and a unit.
        out.push(if c == ' ' && before.is_ascii_digit() && unit {
            '\u{a0}'
        } else {
            c
        });
        before = c;
    }
    out
}

fn landmarks(out: &mut String, sheet: &Sheet) {
    if sheet.landmarks.is_empty() {
        return;
    }
    out.push_str("<footer><h2>Landmarks, from the start line</h2><ul id=\"landmarks\">");
    for (at, side, name) in &sheet.landmarks {
        let _ = write!(out, "<li>{} {side}: {}</li>", escape(at), escape(name));
    }
    out.push_str("</ul></footer>\n");
}

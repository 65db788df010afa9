//! The sheet for a terminal and as Markdown.

use super::{Sheet, Worth};
use crate::report::units::Units;
use std::fmt::Write;

/// A line of the terminal is no longer than this.
const WIDTH: usize = 92;

/// For a terminal.
pub fn text(sheet: &Sheet, units: Units) -> String {
    let mut out = format!("{}\n{}\n", sheet.title, sheet.about.join(" · "));
    if let Some(caution) = sheet.caution {
        wrap(&mut out, "CAUTION  ", caution);
    }
    out.push('\n');
    for c in &sheet.corners {
        let _ = writeln!(out, "{:>2}  {}{}", c.number, c.heading, star(c.rank));
        wrap(&mut out, "    ", &c.sentences.join(" "));
        if !c.note.is_empty() {
            wrap(&mut out, "    Note: ", &c.note);
        }
        if !c.scatter.is_empty() {
            wrap(&mut out, "    ", &c.scatter);
        }
        out.push('\n');
    }
    let _ = writeln!(out, "{}", Worth::heading(units));
    for (w, place) in sheet.worth.iter().zip(1..) {
        let name = name(sheet, w.corner);
        let _ = writeln!(out, "{place:>2}. {name}: {}", w.words(units));
    }
    if !sheet.landmarks.is_empty() {
        out.push_str("\nLandmarks, from the start line\n");
        for (at, side, name) in &sheet.landmarks {
            let _ = writeln!(out, "{at:>10}  {side:<6}  {name}");
        }
    }
    out
}

/// As Markdown.
pub fn markdown(sheet: &Sheet, units: Units) -> String {
    let plain = |text: &str| {
        let mut out = String::new();
        for c in text.chars() {
            if "\\`*_{}[]<>#|".contains(c) {
                out.push('\\');
            }
            out.push(c);
        }
        out
    };
    let about = plain(&sheet.about.join(" · "));
    let mut out = format!("# {}\n\n{about}\n", plain(&sheet.title));
    if let Some(caution) = sheet.caution {
        let _ = write!(out, "\n> **Caution.** {caution}\n");
    }
    for c in &sheet.corners {
        let heading = plain(&c.heading);
        let _ = write!(out, "\n## {} · {heading}{}\n\n", c.number, star(c.rank));
        let _ = writeln!(out, "{}", plain(&c.sentences.join(" ")));
        if !c.note.is_empty() {
            let _ = write!(out, "\n*Note:* {}\n", plain(&c.note));
        }
        if !c.scatter.is_empty() {
            let _ = write!(out, "\n{}\n", plain(&c.scatter));
        }
    }
    let _ = write!(out, "\n## {}\n\n", Worth::heading(units));
    for (w, place) in sheet.worth.iter().zip(1..) {
        let name = plain(name(sheet, w.corner));
        let _ = writeln!(out, "{place}. {name}: {}", w.words(units));
    }
    if !sheet.landmarks.is_empty() {
        out.push_str("\n## Landmarks\n\n| from the start line | side | |\n|---|---|---|\n");
        for (at, side, name) in &sheet.landmarks {
            let _ = writeln!(out, "| {at} | {side} | {} |", plain(name));
        }
    }
    out
}

/// What is said of the three exits that are worth most.
pub fn star(rank: usize) -> &'static str {
    match rank {
        1 => " — its exit is worth most",
        2 => " — its exit is second in worth",
        3 => " — its exit is third in worth",
        _ => "",
    }
}

/// What people call a corner.
pub fn name(sheet: &Sheet, number: u8) -> &str {
    let corner = sheet.corners.iter().find(|c| c.number == number);
    corner.map_or("", |c| c.name.as_str())
}

/// Text in lines that begin below one another.
fn wrap(out: &mut String, begin: &str, text: &str) {
    let indent = " ".repeat(begin.chars().count());
    let mut line = begin.to_owned();
    let mut empty = true;
    for word in text.split_whitespace() {
        if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            let _ = writeln!(out, "{line}");
            line.clone_from(&indent);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    let _ = writeln!(out, "{line}");
}

//! Text for a narrow terminal: prose is wrapped between words, a table is folded where a column
//! ends in all of its rows. What fits stays as it is.

use std::borrow::Cow;
use std::io::IsTerminal;

/// No narrower than this is tried.
const LEAST: usize = 20;
/// What stands folded under a row begins so far in.
const UNDER: usize = 6;
/// Prose that is wrapped already begins at most so far in.
const WRAPPED_MOST: usize = 8;
/// A value in the second column begins at most here.
const VALUE_MOST: usize = 24;

/// Characters in a line: of the terminal, or as `COLUMNS` says; none where text goes into a file.
fn width() -> Option<usize> {
    if std::io::stdout().is_terminal()
        && let Ok((columns, _)) = crossterm::terminal::size()
    {
        return Some(usize::from(columns)).filter(|w| *w > 0);
    }
    std::env::var("COLUMNS").ok()?.parse().ok()
}

/// Text for people, as it fits.
pub fn fitted(text: &str) -> Cow<'_, str> {
    match width() {
        Some(width) => fold(text, width).into(),
        None => text.into(),
    }
}

/// The text in lines of at most so many characters; only a single word may be longer.
pub fn fold(text: &str, width: usize) -> String {
    let width = width.max(LEAST);
    let mut out: Vec<String> = Vec::new();
    let mut block: Vec<&str> = Vec::new();
    for line in text.split('\n') {
        if line.trim().is_empty() {
            give(&mut out, &block, width);
            block.clear();
            out.push(line.to_owned());
        } else {
            block.push(line);
        }
    }
    give(&mut out, &block, width);
    out.join("\n")
}

/// One run of lines without an empty one between them.
fn give(out: &mut Vec<String>, block: &[&str], width: usize) {
    if block.iter().all(|line| length(line) <= width) {
        out.extend(block.iter().map(|line| (*line).to_owned()));
        return;
    }
    match seam(block, width) {
        Some(at) => folded(out, block, width, at),
        None => wrapped(out, block, width),
    }
}

fn length(line: &str) -> usize {
    line.chars().count()
}

/// Whether the line has columns.
fn has_columns(line: &str) -> bool {
    line.trim().contains("  ")
}

/// The last place where a column ends in every row of a table; lines without columns that fit may
/// stand between the rows.
fn seam(block: &[&str], width: usize) -> Option<usize> {
    let long = || block.iter().filter(|line| length(line) > width);
    if long().any(|line| !has_columns(line)) || !block.iter().any(|line| has_columns(line)) {
        return None;
    }
    let rows = block.iter().filter(|line| has_columns(line));
    let rows: Vec<Vec<char>> = rows.map(|line| line.chars().collect()).collect();
    let blank = |row: &[char], at: usize| row.get(at).is_none_or(|c| *c == ' ');
    let ends = |at: usize, blanks: usize| {
        let mut before = at - blanks..at;
        rows.len() > 1 && before.all(|at| rows.iter().all(|row| blank(row, at)))
    };
    let places = || (LEAST..=width).rev();
    let apart = places().find(|&at| at > width / 2 && ends(at, 2));
    apart.or_else(|| places().find(|&at| ends(at, 1)))
}

fn folded(out: &mut Vec<String>, block: &[&str], width: usize, at: usize) {
    let halves: Vec<(String, String)> = block
        .iter()
        .map(|line| {
            if !has_columns(line) {
                return ((*line).to_owned(), String::new());
            }
            let left: String = line.chars().take(at).collect();
            (left.trim_end().to_owned(), line.chars().skip(at).collect())
        })
        .collect();
    let rests = halves.iter().map(|(_, right)| right);
    let lead = rests
        .filter(|right| !right.trim().is_empty())
        .map(|right| length(right) - length(right.trim_start()))
        .min()
        .unwrap_or(0);
    for (left, right) in halves {
        if !left.trim().is_empty() {
            out.push(left);
        }
        let rest: String = right.chars().skip(lead).collect();
        if !rest.trim().is_empty() {
            wrap(
                out,
                &format!("{}{}", " ".repeat(UNDER), rest.trim_end()),
                width,
            );
        }
    }
}

/// Lines of prose; those that were wrapped for a wider page are joined first.
fn wrapped(out: &mut Vec<String>, block: &[&str], width: usize) {
    let mut lines = block.iter().peekable();
    while let Some(line) = lines.next() {
        let mut whole = (*line).to_owned();
        let mut last = *line;
        while let Some(next) = lines.next_if(|next| goes_on(last, next, width)) {
            whole.push(' ');
            whole.push_str(next.trim_start());
            last = next;
        }
        wrap(out, &whole, width);
    }
}

fn goes_on(line: &str, next: &str, width: usize) -> bool {
    let indent = |l: &str| length(l) - length(l.trim_start());
    length(line) > width
        && (1..=WRAPPED_MOST).contains(&indent(line))
        && indent(line) == indent(next)
        && !has_columns(line)
        && !has_columns(next)
        && !next.trim_start().starts_with("- ")
}

fn wrap(out: &mut Vec<String>, line: &str, width: usize) {
    if length(line) <= width {
        out.push(line.to_owned());
        return;
    }
    let under = " ".repeat(hanging(line).min(width / 2));
    let indent: String = line.chars().take_while(|c| *c == ' ').collect();
    let mut now = indent;
    let mut empty = true;
    // Runs of spaces stay inside a line and go where it breaks.
    for word in words(line.trim()) {
        if !empty && length(&now) + length(word) > width {
            out.push(std::mem::replace(&mut now, under.clone()));
            now.push_str(word.trim_start());
        } else {
            now.push_str(word);
        }
        empty = false;
    }
    out.push(now);
}

/// The words of a line, each with the spaces before it.
fn words(line: &str) -> Vec<&str> {
    let mut found = Vec::new();
    let mut from = 0;
    let mut in_word = false;
    for (at, c) in line.char_indices() {
        if c == ' ' && in_word {
            found.push(&line[from..at]);
            from = at;
        }
        in_word = c != ' ';
    }
    found.push(&line[from..]);
    found
}

/// Where what does not fit goes on: under the value, under the text of a list's item, or a little
/// further in.
fn hanging(line: &str) -> usize {
    let indent = length(line) - length(line.trim_start());
    if ["- ", "← ", "→ ", "= "]
        .iter()
        .any(|mark| line.trim_start().starts_with(mark))
    {
        return indent + 2;
    }
    let chars: Vec<char> = line.chars().collect();
    let value = (indent + 1..chars.len().min(VALUE_MOST))
        .find(|&i| chars[i] != ' ' && chars[i - 1] == ' ' && i >= 2 && chars[i - 2] == ' ');
    value.unwrap_or(if indent == 0 { 2 } else { indent })
}

#[cfg(test)]
mod tests {
    use super::fold;

    fn check(text: &str, width: usize, expected: &str) {
        assert_eq!(fold(text, width), expected);
        assert_eq!(fold(expected, width), expected, "once is enough");
    }

    #[test]
    fn what_fits_stays() {
        check("a  b\n\n  c\n", 60, "a  b\n\n  c\n");
    }

    #[test]
    fn prose_is_wrapped_between_words() {
        check(
            "The board has room for twelve landmarks and no more.",
            30,
            "The board has room for twelve\n  landmarks and no more.",
        );
        check(
            "    Brake 100 m before the bend begins,\n    from 218 km/h.",
            32,
            "    Brake 100 m before the bend\n    begins, from 218 km/h.",
        );
    }

    #[test]
    fn a_value_goes_on_under_itself() {
        check(
            "what     a table of text with names",
            24,
            "what     a table of text\n         with names",
        );
        check(
            "  - cuepost check demo/driver.csv",
            24,
            "  - cuepost check\n    demo/driver.csv",
        );
        check(
            "     ← full throttle 17 m sooner",
            24,
            "     ← full throttle 17\n       m sooner",
        );
    }

    #[test]
    fn a_table_is_folded_where_a_column_ends() {
        check(
            "\
corner     brake       speed        exit
  1 right  157 m     68 km/h    105 km/h
 12 left   513 m    100 km/h    132 km/h
 and 3 corners more",
            30,
            "\
corner     brake       speed
          exit
  1 right  157 m     68 km/h
      105 km/h
 12 left   513 m    100 km/h
      132 km/h
 and 3 corners more",
        );
    }

    #[test]
    fn a_long_word_stays_whole() {
        check(
            "written /a/very/long/path/that/does/not/fit",
            24,
            "written\n  /a/very/long/path/that/does/not/fit",
        );
    }
}

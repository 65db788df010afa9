//! Colours of the terminal: the mark of a cue as the strip of lamps has it, and what a lap begins
//! with in bold. Every word says the same without them.

use super::words::mark;
use cuepost_engine::{Advice, Way};
use cuepost_firmware::strip::{Colour, KEEP, LESS, MORE};
use std::borrow::Cow;
use std::io::IsTerminal;

const BOLD: &str = "\x1b[1m";
/// What turns everything off again.
pub const PLAIN: &str = "\x1b[0m";

/// Whether the environment lets colours be used: `NO_COLOR` is not set, or empty.
pub fn allowed() -> bool {
    std::env::var_os("NO_COLOR").is_none_or(|word| word.is_empty())
}

/// What turns a colour on.
pub fn on(colour: Colour) -> String {
    let Colour { red, green, blue } = colour;
    format!("\x1b[1;38;2;{red};{green};{blue}m")
}

/// Text in colours, where it goes to a terminal that wants them.
pub fn shown(text: Cow<'_, str>) -> Cow<'_, str> {
    if std::io::stdout().is_terminal() && allowed() {
        painted(&text).into()
    } else {
        text
    }
}

fn painted(text: &str) -> String {
    text.split_inclusive('\n').map(line).collect()
}

fn line(line: &str) -> Cow<'_, str> {
    let bare = line.trim_start();
    let mut letters = bare.chars();
    let (first, second) = (letters.next(), letters.next());
    let colour = Advice::ALL
        .into_iter()
        .find(|advice| Some(mark(*advice)) == first && second == Some(' '))
        .map(|advice| match advice.way() {
            Way::Less => LESS,
            Way::More => MORE,
            Way::Keep => KEEP,
        });
    match (colour, first) {
        (Some(colour), Some(first)) => {
            let indent = &line[..line.len() - bare.len()];
            format!(
                "{indent}{}{first}{PLAIN}{}",
                on(colour),
                letters_after(bare)
            )
            .into()
        }
        _ if line.starts_with("Lap ") || line.starts_with("Driver's lap ") => {
            let end = line.trim_end();
            format!("{BOLD}{end}{PLAIN}{}", &line[end.len()..]).into()
        }
        _ => line.into(),
    }
}

fn letters_after(text: &str) -> &str {
    let mut letters = text.chars();
    letters.next();
    letters.as_str()
}

#[cfg(test)]
mod tests {
    use super::painted;

    #[test]
    fn marks_and_laps_are_painted_and_nothing_else() {
        let plain = "Lap 2   1:37.2\n  1  +0.2\n     ← brake 9 m sooner\n= 3\nsum = 3\n←\n";
        let text = painted(plain);
        assert_eq!(
            text,
            "\x1b[1mLap 2   1:37.2\x1b[0m\n  1  +0.2\n     \x1b[1;38;2;86;180;233m←\x1b[0m brake 9 m \
             sooner\n\x1b[1;38;2;0;158;115m=\x1b[0m 3\nsum = 3\n←\n"
        );
        let mut bare = text;
        while let Some(from) = bare.find('\x1b') {
            let to = from + bare[from..].find('m').unwrap();
            bare.replace_range(from..=to, "");
        }
        assert_eq!(bare, plain);
    }
}

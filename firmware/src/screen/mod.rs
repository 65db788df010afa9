//! A small monochrome screen (128 × 64 or larger) through `embedded-graphics`.
//!
//! A cue takes the whole screen: corner and phase, the advice, its size, and an arrow on the left
//! for sooner/less or on the right for later/more. Without a cue it says whether cues can be
//! expected and, if not, why.

mod panel;
#[cfg(test)]
mod strict_screen;
#[cfg(test)]
mod tests;

pub use panel::Panel;

use crate::output::{Output, OutputFault};
use crate::settings::Settings;
use cuepost_engine::wire::text::{SpeedUnit, size_text};
use cuepost_engine::{Cue, HealthState, Way, Why};
use embedded_graphics::mono_font::ascii::{FONT_6X10, FONT_10X20};
use embedded_graphics::mono_font::{MonoFont, MonoTextStyle};
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::*;
use embedded_graphics::primitives::Rectangle;
use embedded_graphics::text::{Baseline, Text};
use heapless::String;

/// Least width of a screen, pixels.
pub const WIDTH: i32 = 128;
/// Least height of a screen, pixels.
pub const HEIGHT: i32 = 64;
/// How long a cue stays up, microseconds: longer than on the strip, words take longer to read.
pub const SHOWN_US: u64 = 4_000_000;

/// How long a screen that failed is left alone, microseconds: asking one that is not there takes
/// time.
const RETRY_US: u64 = 1_000_000;

/// Letters in a row of the large font.
const LARGE_ROW: usize = 12;
/// Letters in a row of the small font.
const SMALL_ROW: usize = 21;

/// What is to be seen.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Picture {
    Cue(Cue, SpeedUnit),
    State(HealthState, Why),
    Dark,
}

/// A screen and how its contents are brought to the glass, for panels that keep a buffer.
pub struct Screen<D, F> {
    display: D,
    present: F,
    state: (HealthState, Why),
    cue: Option<(Cue, u64)>,
    shown: Option<Picture>,
    retry_us: u64,
}

impl<D, F> Screen<D, F>
where
    D: DrawTarget<Color = BinaryColor>,
    F: FnMut(&mut D) -> Result<(), OutputFault>,
{
    /// A screen that says at first that it searches.
    pub fn new(display: D, present: F) -> Self {
        Self {
            display,
            present,
            state: (HealthState::Lost, Why::Searching),
            cue: None,
            shown: None,
            retry_us: 0,
        }
    }

    /// Gives the display back.
    pub fn release(self) -> D {
        self.display
    }

    fn wanted(&mut self, settings: &Settings, now_us: u64) -> Picture {
        self.cue = self.cue.filter(|(_, until_us)| now_us < *until_us);
        match self.cue {
            _ if !settings.screen => Picture::Dark,
            Some((cue, _)) => Picture::Cue(cue, settings.units),
            None => Picture::State(self.state.0, self.state.1),
        }
    }
}

impl<D, F> Output for Screen<D, F>
where
    D: DrawTarget<Color = BinaryColor>,
    F: FnMut(&mut D) -> Result<(), OutputFault>,
{
    fn show(&mut self, cue: &Cue, _: &Settings, now_us: u64) {
        self.cue = Some((*cue, now_us.saturating_add(SHOWN_US)));
    }

    fn state(&mut self, state: HealthState, why: Why, _: &Settings) {
        self.state = (state, why);
    }

    fn tick(&mut self, settings: &Settings, now_us: u64) -> Result<(), OutputFault> {
        let wanted = self.wanted(settings, now_us);
        if self.shown == Some(wanted) || now_us < self.retry_us {
            return Ok(());
        }
        let drawn = draw(&mut self.display, &wanted).map_err(|_| OutputFault);
        let done = drawn.and_then(|()| (self.present)(&mut self.display));
        self.shown = done.is_ok().then_some(wanted);
        if done.is_err() {
            self.retry_us = now_us.saturating_add(RETRY_US);
        }
        done
    }
}

fn draw<D: DrawTarget<Color = BinaryColor>>(to: &mut D, picture: &Picture) -> Result<(), D::Error> {
    to.clear(BinaryColor::Off)?;
    match picture {
        Picture::Cue(cue, unit) => draw_cue(to, cue, *unit),
        Picture::State(HealthState::Ok, _) => row(to, "READY", &FONT_10X20, 0, 22),
        Picture::State(_, why) => {
            row(to, "NO CUES", &FONT_10X20, 0, 0)?;
            small_rows(to, why.name(), 26)
        }
        Picture::Dark => Ok(()),
    }
}

fn draw_cue<D: DrawTarget<Color = BinaryColor>>(
    to: &mut D,
    cue: &Cue,
    unit: SpeedUnit,
) -> Result<(), D::Error> {
    // A row that does not hold a word leaves the rest of it out; all words there are fit.
    let mut head: String<LARGE_ROW> = String::new();
    // By hand: `write!` brings 2 KB that format anything onto a board.
    let corner = cue.corner;
    for (digit, shown) in [
        (corner / 100, corner >= 100),
        (corner / 10 % 10, corner >= 10),
        (corner % 10, true),
    ] {
        if shown {
            let _ = head.push(char::from(b'0'.saturating_add(digit)));
        }
    }
    let _ = head.push(' ');
    if cue.advice.way() != Way::Keep {
        upper(&mut head, cue.phase.name());
    }
    row(to, &head, &FONT_10X20, 0, 0)?;
    let mut advice: String<LARGE_ROW> = String::new();
    upper(&mut advice, cue.advice.name());
    row(to, &advice, &FONT_10X20, 0, 22)?;
    if let Some(size) = size_text(&cue.size, unit) {
        row(to, &size, &FONT_10X20, 30, 44)?;
    }
    arrow(to, cue.advice.way())
}

fn upper<const N: usize>(to: &mut String<N>, word: &str) {
    for letter in word.chars() {
        let letter = if letter == '-' { ' ' } else { letter };
        let _ = to.push(letter.to_ascii_uppercase());
    }
}

/// A triangle that points left at the left edge, or right at the right one, column by column:
/// the triangle of `embedded-graphics` can panic.
fn arrow<D: DrawTarget<Color = BinaryColor>>(to: &mut D, way: Way) -> Result<(), D::Error> {
    for depth in 0..=18i32 {
        let x = match way {
            Way::Less => depth,
            Way::More => WIDTH - 1 - depth,
            Way::Keep => return Ok(()),
        };
        let half = (depth * 8 + 9) / 18;
        let size = embedded_graphics::geometry::Size::new(1, (2 * half + 1).unsigned_abs());
        to.fill_solid(
            &Rectangle::new(Point::new(x, 53 - half), size),
            BinaryColor::On,
        )?;
    }
    Ok(())
}

fn row<D: DrawTarget<Color = BinaryColor>>(
    to: &mut D,
    text: &str,
    font: &MonoFont<'_>,
    x: i32,
    y: i32,
) -> Result<(), D::Error> {
    let style = MonoTextStyle::new(font, BinaryColor::On);
    Text::with_baseline(text, Point::new(x, y), style, Baseline::Top).draw(to)?;
    Ok(())
}

/// Words in the small font, a new row where the next one does not fit.
fn small_rows<D: DrawTarget<Color = BinaryColor>>(
    to: &mut D,
    words: &str,
    top: i32,
) -> Result<(), D::Error> {
    let mut y = top;
    let mut line: String<SMALL_ROW> = String::new();
    let mut word: String<SMALL_ROW> = String::new();
    // One space more than there is, to end the last word.
    for letter in words.chars().chain([' ']) {
        if letter != ' ' {
            let _ = word.push(letter);
            continue;
        }
        if line.len().saturating_add(word.len()) >= SMALL_ROW {
            row(to, &line, &FONT_6X10, 0, y)?;
            line.clear();
            y = y.saturating_add(12);
        }
        if !line.is_empty() {
            let _ = line.push(' ');
        }
        let _ = line.push_str(&word);
        word.clear();
    }
    row(to, &line, &FONT_6X10, 0, y)
}

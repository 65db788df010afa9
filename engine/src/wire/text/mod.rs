//! One plain line of text for each cue, lap and change of health, for displays that know nothing,
//! and back again for programs that read such a port.
//!
//! ```text
//! 05 THROTTLE SOONER 12 m
//! LAP 3 1:23.412 +0.318
//! HEALTH LOST samples are missing
//! PACE 3 +2.0 %
//! ```
//!
//! Fixed point throughout: formatting an `f32` would bring a panic path onto the board. A value
//! that is not finite or absurd gives no line at all. Text has no checksum: on a noisy line use
//! frames.

mod parse;
#[cfg(test)]
mod tests;

pub use parse::{Said, parse};

use crate::check::Check;
use crate::cue::{Cue, Phase, Size, Told};
use crate::event::{Event, HealthEvent, LapEvent, PaceEvent, Why};
use heapless::String;

/// The longest line, without its end.
pub const LINE_MAX: usize = 64;
/// What a line ends with on a serial port.
pub const LINE_END: &str = "\r\n";

/// A line without its end.
pub type Line = String<LINE_MAX>;

/// The unit speeds are told in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum SpeedUnit {
    /// Metres per second.
    #[default]
    Mps,
    /// Kilometres per hour.
    Kmh,
}

/// The line for an event; `None` for those without one (phases, corners) and for absurd values.
pub fn line(event: &Event, unit: SpeedUnit) -> Option<Line> {
    match event {
        Event::Cue(cue) => cue_line(cue, unit),
        Event::Lap(lap) => lap_line(lap),
        Event::Health(health) => health_line(health),
        Event::Pace(pace) => pace_line(pace),
        Event::Phase(_) | Event::Corner(_) => None,
    }
}

/// `CC PHASE ADVICE SIZE UNIT`, then `NOW` or `AHEAD` where it is told so.
pub fn cue_line(cue: &Cue, unit: SpeedUnit) -> Option<Line> {
    let mut out = Line::new();
    if cue.corner < 10 {
        out.push('0').ok()?;
    }
    digits(&mut out, u32::from(cue.corner), 1)?;
    word(&mut out, phase_word(cue.phase))?;
    word(&mut out, cue.advice.name())?;
    out.push(' ').ok()?;
    size(&mut out, &cue.size, unit)?;
    match cue.told {
        Told::Now => out.push_str(" NOW").ok()?,
        Told::Ahead => out.push_str(" AHEAD").ok()?,
        Told::After => {}
    }
    Some(out)
}

/// An advice about the corner as a whole belongs to no phase of it.
fn phase_word(phase: Phase) -> &'static str {
    match phase {
        Phase::Straight => "corner",
        other => other.name(),
    }
}

/// A size as on the line: seconds in hundredths, everything else in tenths below ten and whole
/// from there on.
pub fn size_text(of: &Size, unit: SpeedUnit) -> Option<String<16>> {
    let mut out = String::new();
    size(&mut out, of, unit)?;
    Some(out)
}

fn size<const N: usize>(out: &mut String<N>, of: &Size, unit: SpeedUnit) -> Option<()> {
    of.check().ok()?;
    let (value, name) = match (*of, unit) {
        (Size::Metres(x), _) => (x, " m"),
        (Size::Speed(x), SpeedUnit::Mps) => (x, " m/s"),
        (Size::Speed(x), SpeedUnit::Kmh) => (x * 3.6, " km/h"),
        (Size::Deceleration(x), _) => (x, " m/s2"),
        (Size::Seconds(x), _) => (x, " s"),
    };
    let tenths = scaled(value, 10.0);
    if matches!(of, Size::Seconds(_)) {
        decimal(out, scaled(value, 100.0), 2)?;
    } else if tenths < 100 {
        decimal(out, tenths, 1)?;
    } else {
        digits(out, scaled(value, 1.0), 1)?;
    }
    out.push_str(name).ok()
}

/// `LAP N M:SS.mmm`, then the gap to the reference lap in seconds, then `INVALID` where it is.
pub fn lap_line(lap: &LapEvent) -> Option<Line> {
    lap.check().ok()?;
    let mut out = Line::new();
    out.push_str("LAP ").ok()?;
    digits(&mut out, u32::from(lap.lap), 1)?;
    out.push(' ').ok()?;
    let ms = u32::try_from(lap.time_us.saturating_add(500) / 1000).ok()?;
    digits(&mut out, ms / 60_000, 1)?;
    out.push(':').ok()?;
    digits(&mut out, ms / 1000 % 60, 2)?;
    out.push('.').ok()?;
    digits(&mut out, ms % 1000, 3)?;
    if let Some(gap) = lap.gap_s {
        out.push(' ').ok()?;
        signed(&mut out, gap, 1000.0, 3)?;
    }
    if !lap.valid {
        out.push_str(" INVALID").ok()?;
    }
    Some(out)
}

/// `HEALTH STATE`, then the reason in words unless there is nothing to complain of.
pub fn health_line(health: &HealthEvent) -> Option<Line> {
    let mut out = Line::new();
    out.push_str("HEALTH").ok()?;
    word(&mut out, health.state.name())?;
    if health.why != Why::Good {
        out.push(' ').ok()?;
        out.push_str(health.why.name()).ok()?;
    }
    Some(out)
}

/// `PACE N` and by how many percent the whole lap was slower.
pub fn pace_line(pace: &PaceEvent) -> Option<Line> {
    pace.check().ok()?;
    let mut out = Line::new();
    out.push_str("PACE ").ok()?;
    digits(&mut out, u32::from(pace.lap), 1)?;
    out.push(' ').ok()?;
    signed(&mut out, (pace.ratio - 1.0) * 100.0, 10.0, 1)?;
    out.push_str(" %").ok()?;
    Some(out)
}

/// A positive value times a scale, to the nearest whole number.
fn scaled(x: f32, scale: f32) -> u32 {
    (x * scale + 0.5) as u32
}

/// Appends a space and a word in capitals.
fn word<const N: usize>(out: &mut String<N>, name: &str) -> Option<()> {
    out.push(' ').ok()?;
    for letter in name.chars() {
        out.push(letter.to_ascii_uppercase()).ok()?;
    }
    Some(())
}

/// Appends a number with at least so many digits.
fn digits<const N: usize>(out: &mut String<N>, mut x: u32, least: usize) -> Option<()> {
    let mut reversed = heapless::Vec::<u8, 10>::new();
    while x > 0 || reversed.len() < least {
        reversed.push((x % 10) as u8).ok()?;
        x /= 10;
    }
    for digit in reversed.iter().rev() {
        out.push(char::from(b'0'.saturating_add(*digit))).ok()?;
    }
    Some(())
}

/// Appends a number of tenths, hundredths or thousandths with its point.
fn decimal<const N: usize>(out: &mut String<N>, x: u32, places: usize) -> Option<()> {
    let (whole, part) = match places {
        1 => (x / 10, x % 10),
        2 => (x / 100, x % 100),
        _ => (x / 1000, x % 1000),
    };
    digits(out, whole, 1)?;
    out.push('.').ok()?;
    digits(out, part, places)
}

fn signed<const N: usize>(out: &mut String<N>, x: f32, scale: f32, places: usize) -> Option<()> {
    let n = scaled(x.abs(), scale);
    out.push(if x < 0.0 && n > 0 { '-' } else { '+' }).ok()?;
    decimal(out, n, places)
}

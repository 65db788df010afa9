//! Lines of text back into what they say.

use super::phase_word;
use crate::check::Check;
use crate::cue::{Advice, Phase, Size, Told};
use crate::event::{HealthState, Why};

/// What a line of text says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Said {
    /// A cue.
    Cue {
        /// Corner, from 1.
        corner: u8,
        /// The phase.
        phase: Phase,
        /// What to change.
        advice: Advice,
        /// How much, to the digits of the line.
        size: Size,
        /// When it is told.
        told: Told,
    },
    /// A finished lap.
    Lap {
        /// Its number.
        lap: u16,
        /// Its time, milliseconds.
        time_ms: u32,
        /// Gap to the reference, milliseconds.
        gap_ms: Option<i32>,
        /// Whether it was driven whole.
        valid: bool,
    },
    /// A change of health.
    Health(HealthState, Why),
    /// The pace of a lap.
    Pace {
        /// Its number.
        lap: u16,
        /// Slower by so many tenths of a percent.
        permille: i32,
    },
}

/// Reads a line, with or without its end; `None` for anything that is not exactly one of ours.
pub fn parse(line: &str) -> Option<Said> {
    let line = line.strip_suffix('\n').unwrap_or(line);
    let line = line.strip_suffix('\r').unwrap_or(line);
    let said = match line.split_once(' ')? {
        ("LAP", rest) => parse_lap(rest),
        ("HEALTH", rest) => parse_health(rest),
        ("PACE", rest) => {
            let (lap, rest) = rest.split_once(' ')?;
            let permille = thousandths(rest.strip_suffix(" %")?)?;
            Some(Said::Pace {
                lap: lap.parse().ok()?,
                permille: permille.checked_div(100)?,
            })
        }
        (corner, rest) => parse_cue(corner, rest),
    }?;
    Some(said)
}

fn parse_cue(corner: &str, rest: &str) -> Option<Said> {
    let mut words = rest.split(' ');
    let phase = words.next()?;
    let phase = Phase::ALL
        .into_iter()
        .find(|p| phase_word(*p).eq_ignore_ascii_case(phase))?;
    let advice = words.next()?;
    let advice = Advice::ALL
        .into_iter()
        .find(|a| a.name().eq_ignore_ascii_case(advice))?;
    let value = thousandths(words.next()?)?;
    let value = u32::try_from(value).ok()? as f32 / 1000.0;
    let size = match words.next()? {
        "m" => Size::Metres(value),
        "m/s" => Size::Speed(value),
        "km/h" => Size::Speed(value / 3.6),
        "m/s2" => Size::Deceleration(value),
        "s" => Size::Seconds(value),
        _ => return None,
    };
    let told = match words.next() {
        None => Told::After,
        Some("NOW") => Told::Now,
        Some("AHEAD") => Told::Ahead,
        Some(_) => return None,
    };
    let corner = corner.parse().ok().filter(|c| *c >= 1)?;
    size.check().ok()?;
    words.next().is_none().then_some(Said::Cue {
        corner,
        phase,
        advice,
        size,
        told,
    })
}

fn parse_lap(rest: &str) -> Option<Said> {
    let mut words = rest.split(' ');
    let lap = words.next()?.parse().ok()?;
    let (minutes, seconds) = words.next()?.split_once(':')?;
    let minutes: u32 = minutes.parse().ok()?;
    let part = u32::try_from(thousandths(seconds)?).ok()?;
    let time_ms = minutes.checked_mul(60_000)?.checked_add(part)?;
    let mut next = words.next();
    let gap_ms = match next {
        Some(gap) if gap.starts_with(['+', '-']) => {
            next = words.next();
            Some(thousandths(gap)?)
        }
        _ => None,
    };
    let valid = match next {
        None => true,
        Some("INVALID") if words.next().is_none() => false,
        Some(_) => return None,
    };
    Some(Said::Lap {
        lap,
        time_ms,
        gap_ms,
        valid,
    })
}

fn parse_health(rest: &str) -> Option<Said> {
    let (state, why) = rest.split_once(' ').unwrap_or((rest, Why::Good.name()));
    let state = HealthState::ALL
        .into_iter()
        .find(|s| s.name().eq_ignore_ascii_case(state))?;
    let why = Why::ALL.into_iter().find(|w| w.name() == why)?;
    Some(Said::Health(state, why))
}

/// A decimal number with up to three places, in thousandths.
fn thousandths(text: &str) -> Option<i32> {
    let (negative, text) = match text.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    let (whole, part) = text.split_once('.').unwrap_or((text, "0"));
    let plain = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
    if !plain(whole) || !plain(part) {
        return None;
    }
    let scale = match part.len() {
        1 => 100,
        2 => 10,
        3 => 1,
        _ => return None,
    };
    let part = part.parse::<i32>().ok()?.checked_mul(scale)?;
    let sum = whole
        .parse::<i32>()
        .ok()?
        .checked_mul(1000)?
        .checked_add(part)?;
    Some(if negative { sum.checked_neg()? } else { sum })
}

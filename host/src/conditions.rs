//! The notes of a session: temperature, dry or damp, tyres, fuel. People write them in their own
//! words; what is understood of them is compared.
//!
//! `18 C air, 30 C track, dry, tyres 12 laps, fuel 40 l`

use std::fmt;

/// Temperatures this far apart change the grip, °C (common practice, no source).
const WARM_C: f64 = 5.0;
/// Tyres this many laps apart do, laps (common practice, no source).
const WORN_LAPS: f64 = 8.0;
/// Fuel this far apart does, litres or kilograms (common practice, no source).
const FUEL: f64 = 15.0;

/// What lies on the road.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Surface {
    /// Nothing.
    Dry,
    /// Moisture.
    Damp,
    /// Water.
    Wet,
}

impl fmt::Display for Surface {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Dry => "dry",
            Self::Damp => "damp",
            Self::Wet => "wet",
        })
    }
}

/// What is understood of a session's notes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Conditions {
    /// Of the air, °C.
    pub air_c: Option<f64>,
    /// Of the road, °C.
    pub track_c: Option<f64>,
    /// What lies on it.
    pub surface: Option<Surface>,
    /// Laps the tyres have driven.
    pub tyre_laps: Option<f64>,
    /// Fuel on board, litres or kilograms.
    pub fuel: Option<f64>,
}

/// Reads notes. What is not understood is left out.
pub fn parse(text: &str) -> Conditions {
    let mut out = Conditions::default();
    // What a computed reference was made from is not what it is for.
    let text = text
        .split("; from ")
        .next()
        .unwrap_or_default()
        .to_lowercase();
    for part in text.split([',', ';']) {
        let words: Vec<&str> = part
            .split(|c: char| c.is_whitespace() || c == '°')
            .map(|w| w.trim_end_matches('.'))
            .filter(|w| !w.is_empty())
            .collect();
        let has = |all: &[&str]| words.iter().any(|w| all.contains(w));
        let number = number(part);
        if has(&["damp", "moist", "drying", "greasy"]) {
            out.surface = Some(Surface::Damp);
        } else if has(&["wet", "rain"]) {
            out.surface = Some(Surface::Wet);
        } else if has(&["dry"]) {
            out.surface = Some(Surface::Dry);
        }
        if has(&["tyre", "tyres", "tire", "tires"]) {
            let new = has(&["new", "fresh"]).then_some(0.0);
            out.tyre_laps = number.or(new).or(out.tyre_laps);
        } else if has(&["fuel", "tank", "petrol"]) {
            out.fuel = number.or(out.fuel);
        } else if let Some(c) = number.and_then(|n| celsius(n, &words)) {
            if has(&["track", "road", "surface", "asphalt"]) {
                out.track_c = Some(c);
            } else {
                out.air_c = Some(c);
            }
        }
    }
    out
}

/// The first number of a text.
fn number(text: &str) -> Option<f64> {
    let begin = text.find(|c: char| c.is_ascii_digit())?;
    let minus = text[..begin].ends_with('-');
    let digits = &text[begin..];
    let end = digits
        .find(|c: char| !c.is_ascii_digit() && c != '.')
        .unwrap_or(digits.len());
    let value: f64 = digits[..end].trim_end_matches('.').parse().ok()?;
    Some(if minus { -value } else { value })
}

/// A temperature, when the words say that it is one.
fn celsius(value: f64, words: &[&str]) -> Option<f64> {
    let unit = |all: &[&str]| {
        let glued = |w: &str| {
            let (digits, unit) = w.split_at(w.trim_end_matches(char::is_alphabetic).len());
            !digits.is_empty() && all.contains(&unit)
        };
        words.iter().any(|w| all.contains(w) || glued(w))
    };
    if unit(&["c", "celsius", "degrees", "degree", "deg"]) {
        Some(value)
    } else if unit(&["f", "fahrenheit"]) {
        Some((value - 32.0) / 1.8)
    } else {
        None
    }
}

/// What differs between the day a reference was made and today, in words; only what both say.
pub fn differences(made: &Conditions, today: &Conditions) -> Vec<String> {
    let mut out = Vec::new();
    if let (Some(a), Some(b)) = (made.surface, today.surface)
        && a != b
    {
        out.push(format!("{a} then, {b} now"));
    }
    let apart = |a: Option<f64>, b: Option<f64>, most: f64| {
        let (a, b) = (a?, b?);
        ((a - b).abs() >= most).then_some((a, b))
    };
    for (what, a, b) in [
        ("air", made.air_c, today.air_c),
        ("track", made.track_c, today.track_c),
    ] {
        if let Some((a, b)) = apart(a, b, WARM_C) {
            out.push(format!("{what} {a:.0} °C then, {b:.0} °C now"));
        }
    }
    if let Some((a, b)) = apart(made.tyre_laps, today.tyre_laps, WORN_LAPS) {
        out.push(format!("tyres {a:.0} laps old then, {b:.0} now"));
    }
    if let Some((a, b)) = apart(made.fuel, today.fuel, FUEL) {
        out.push(format!("fuel {a:.0} then, {b:.0} now"));
    }
    out
}

/// The warning, when the conditions of a reference and of today differ.
pub fn warning(made: &str, today: &str) -> Option<String> {
    let differ = differences(&parse(made), &parse(today));
    (!differ.is_empty()).then(|| {
        format!(
            "The reference was made in other conditions: {}. What every corner loses alike is not the driver's; cuepost adapt can carry the reference over.",
            differ.join("; ")
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn notes_are_understood_as_people_write_them() {
        let all = parse("18 C air, 30°C track, dry, tyres 12 laps, fuel 40 l");
        let want = Conditions {
            air_c: Some(18.0),
            track_c: Some(30.0),
            surface: Some(Surface::Dry),
            tyre_laps: Some(12.0),
            fuel: Some(40.0),
        };
        assert_eq!(all, want);
        assert_eq!(parse("64 F; rain; new tires").surface, Some(Surface::Wet));
        assert!((parse("64 F").air_c.unwrap() - 17.8).abs() < 0.1);
        assert_eq!(parse("new tires").tyre_laps, Some(0.0));
        assert_eq!(parse("-3 degrees").air_c, Some(-3.0));
        assert_eq!(parse("track 18.5 C.").track_c, Some(18.5));
        assert_eq!(
            parse("session 4, half a tank, invented"),
            Conditions::default()
        );
        assert_eq!(parse("grip x0.75; from dry, 18 C"), Conditions::default());
        assert_eq!(parse(""), Conditions::default());
    }

    #[test]
    fn only_what_both_say_can_differ() {
        let warn = |a, b| warning(a, b).unwrap_or_default();
        assert_eq!(warn("dry, 18 C", ""), "");
        assert_eq!(warn("dry, 18 C", "dry, 21 C"), "");
        let text = warn(
            "dry, 18 C air, tyres 2 laps, fuel 20",
            "damp, 27 C, tyres 20 laps, fuel 60 l",
        );
        for words in [
            "dry then, damp now",
            "air 18 °C then, 27 °C now",
            "tyres 2 laps old then, 20 now",
            "fuel 20 then, 60 now",
        ] {
            assert!(text.contains(words), "{text}");
        }
    }
}

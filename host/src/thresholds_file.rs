//! Thresholds in a text file, for people to write.
//!
//! ```toml
//! brake_m = 5.0
//! focus = "one"
//!
//! [corner.3]
//! throttle_m = 12.0
//! ```
//!
//! What is not named keeps its built-in value; a corner's own thresholds begin from those of every
//! corner. [`write()`] gives the whole file with a comment on each. `docs/METHOD.md` says what the
//! judge does with them.

use crate::report::system::words;
use anyhow::anyhow;
use cuepost_engine::thresholds::{FILE_MAX, MAGIC};
use cuepost_engine::{Config, Focus, Thresholds};
use std::fmt::Write;
use std::path::Path;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// The thresholds by the phase they are about, and what each does.
pub const GROUPS: [(&str, &[(&str, &str)]); 5] = [
    (
        "Brake",
        &[
            (
                "brake_m",
                "brake onset sooner or later than the reference's, metres",
            ),
            (
                "decel_ratio",
                "mean deceleration, as a share of the reference's",
            ),
        ],
    ),
    (
        "Trail: on the brake while turning",
        &[("trail_m", "road covered on the brake while turning, metres")],
    ),
    (
        "Rotation: off the brake, turning",
        &[
            ("slowest_mps", "slowest speed, metres per second"),
            (
                "offset_m",
                "distance from the reference's line at the slowest point and the exit, metres",
            ),
        ],
    ),
    (
        "Throttle",
        &[
            ("throttle_m", "throttle onset later or sooner, metres"),
            ("full_m", "full throttle later, metres"),
            (
                "lift_s",
                "time lost by lifting once on the throttle, seconds",
            ),
            (
                "coast_s",
                "time on neither pedal beyond the reference's, seconds",
            ),
        ],
    ),
    (
        "Whole corner, the straight after it included",
        &[
            (
                "loss_s",
                "losing less than this is not worth a word, seconds",
            ),
            ("better_s", "winning this much is told as better, seconds"),
        ],
    ),
];

/// Reads a file, whether text or as a board keeps it. The error says what is wrong and where.
pub fn read(path: &Path) -> Result<Config, String> {
    let name = path.display();
    let bytes = std::fs::read(path).map_err(|e| format!("{name}: {}", words(&e)))?;
    if bytes.starts_with(&MAGIC) {
        let read = Config::decode(&bytes);
        return read
            .map(|(config, _)| config)
            .map_err(|e| format!("{name}: {e}"));
    }
    let text = String::from_utf8(bytes)
        .map_err(|_| format!("{name}: neither text nor a configuration for a board"))?;
    parse(&text).map_err(|e| format!("{name}: {e}"))
}

/// The file's configuration, or the built-in one where no file is named.
pub fn read_or_default(path: Option<&Path>) -> anyhow::Result<Config> {
    path.map_or_else(
        || Ok(Config::default()),
        |p| read(p).map_err(|e| anyhow!(e)),
    )
}

/// A configuration as a board keeps it.
pub fn to_bytes(config: &Config) -> Result<Vec<u8>, String> {
    let mut bytes = vec![0; FILE_MAX];
    let len = config.encode(&mut bytes).map_err(|e| e.to_string())?;
    bytes.truncate(len);
    Ok(bytes)
}

/// A configuration as text with a comment on each line; [`parse`] reads it back unchanged.
pub fn write(config: &Config) -> String {
    let mut text = String::from(
        "# Thresholds: a deviation from the reference is told when it is larger than these and\n\
         # than twice its own uncertainty. Units are in the names. A line left out keeps its\n\
         # built-in value.\n\n\
         # Which corners are spoken of: \"every\", or \"one\": only the costliest until it is mended.\n",
    );
    let focus = match config.focus {
        Focus::Every => "every",
        Focus::One => "one",
    };
    let _ = writeln!(text, "focus = \"{focus}\"");
    let ranges = config.thresholds.ranges();
    for (phase, fields) in GROUPS {
        let _ = writeln!(text, "\n# {phase}.");
        for (field, about) in fields {
            if let Some((_, value, least, most)) = ranges.iter().find(|r| r.0 == *field) {
                let line = format!("{field} = {value:?}");
                let _ = writeln!(text, "{line:<20} # {about}; {least} to {most}");
            }
        }
    }
    text.push_str(
        "\n# All thresholds of a phase together, by a factor:\n\
         # [phase.brake]\n# scale = 1.5\n\
         \n# A corner's own, by its number in the reference; what is not named is as above:\n\
         # [corner.3]\n# throttle_m = 12.0\n",
    );
    for (corner, own) in &config.overrides {
        let _ = writeln!(text, "\n[corner.{corner}]");
        for ((field, value, ..), (.., every, _, _)) in own.ranges().iter().zip(ranges) {
            if *value != every {
                let _ = writeln!(text, "{field} = {value:?}");
            }
        }
    }
    text
}

/// Reads the text. The error begins with the line it is about.
pub fn parse(text: &str) -> Result<Config, String> {
    parse_at(text).map_err(|(at, what)| {
        let line = text.bytes().take(at).filter(|b| *b == b'\n').count() + 1;
        format!("line {line}: {what}")
    })
}

type Fault = (usize, String);

fn parse_at(text: &str) -> Result<Config, Fault> {
    let table = DeTable::parse(text).map_err(|e| {
        (
            e.span().map_or(0, |span| span.start),
            e.message().to_owned(),
        )
    })?;
    let mut config = Config::default();
    for (key, value) in table.get_ref() {
        let at = key.span().start;
        match (key.get_ref().as_ref(), value.get_ref()) {
            ("corner", DeValue::Table(_)) => {}
            // Scaled once every threshold is known.
            ("phase", DeValue::Table(_)) => {}
            ("phase", _) => return Err((at, "a phase is a section: [phase.brake]".into())),
            ("corner", _) => return Err((at, "a corner is a section: [corner.3]".into())),
            ("focus", DeValue::String(word)) if word == "every" => config.focus = Focus::Every,
            ("focus", DeValue::String(word)) if word == "one" => config.focus = Focus::One,
            ("focus", _) => return Err((at, "focus is \"every\" or \"one\"".into())),
            (name, _) => set(&mut config.thresholds, name, value).map_err(|e| (at, e))?,
        }
    }
    if let Some(DeValue::Table(phases)) = table.get_ref().get("phase").map(Spanned::get_ref) {
        scale_phases(&mut config.thresholds, phases)?;
    }
    if let Some(DeValue::Table(corners)) = table.get_ref().get("corner").map(Spanned::get_ref) {
        for (number, own) in corners {
            let at = number.span().start;
            let within = |e: &str| format!("corner {}: {e}", number.get_ref());
            let corner: u8 = match number.get_ref().parse() {
                Ok(n) if n > 0 => n,
                _ => return Err((at, within("a corner is a number from 1 to 255"))),
            };
            if config.overrides.iter().any(|(c, _)| *c == corner) {
                return Err((at, within("is there twice")));
            }
            let DeValue::Table(own) = own.get_ref() else {
                return Err((at, within("must be a section of thresholds")));
            };
            let mut thresholds = config.thresholds;
            for (key, value) in own {
                set(&mut thresholds, key.get_ref(), value)
                    .map_err(|e| (key.span().start, within(&e)))?;
            }
            config.overrides.push((corner, thresholds)).map_err(|_| {
                let full = "there is room for 32 corners with thresholds of their own";
                (at, within(full))
            })?;
        }
    }
    // Every value was held to its range as it was set.
    config.validate().map_err(|e| (0, e.to_string()))?;
    Ok(config)
}

/// `[phase.brake] scale = 1.5`: every threshold of a phase, together.
fn scale_phases(t: &mut Thresholds, phases: &DeTable<'_>) -> Result<(), Fault> {
    for (phase, own) in phases {
        let name = phase.get_ref();
        let at = phase.span().start;
        // The last group is no phase: the whole corner.
        let group = GROUPS
            .iter()
            .take(4)
            .find(|(about, _)| about.to_lowercase().split(':').next() == Some(name.as_ref()));
        let Some((_, fields)) = group else {
            let there = "there are brake, trail, rotation, throttle";
            return Err((at, format!("there is no phase \"{name}\"; {there}")));
        };
        let DeValue::Table(own) = own.get_ref() else {
            return Err((at, format!("phase {name}: must be a section")));
        };
        for (key, value) in own {
            let at = key.span().start;
            let scale = match (key.get_ref().as_ref(), plain(value)) {
                ("scale", Some(scale)) if scale > 0.0 => scale,
                ("scale", _) => {
                    return Err((at, format!("phase {name}: scale must be a number above 0")));
                }
                (other, _) => {
                    return Err((at, format!("phase {name}: only scale, not \"{other}\"")));
                }
            };
            for (field_name, _) in *fields {
                if let Some(place) = field(t, field_name) {
                    *place *= scale;
                }
                check_range(t, field_name).map_err(|e| (at, format!("phase {name}: {e}")))?;
            }
        }
    }
    Ok(())
}

/// The threshold of a name.
pub fn field<'a>(t: &'a mut Thresholds, name: &str) -> Option<&'a mut f32> {
    Some(match name {
        "brake_m" => &mut t.brake_m,
        "decel_ratio" => &mut t.decel_ratio,
        "trail_m" => &mut t.trail_m,
        "slowest_mps" => &mut t.slowest_mps,
        "offset_m" => &mut t.offset_m,
        "throttle_m" => &mut t.throttle_m,
        "full_m" => &mut t.full_m,
        "lift_s" => &mut t.lift_s,
        "coast_s" => &mut t.coast_s,
        "loss_s" => &mut t.loss_s,
        "better_s" => &mut t.better_s,
        _ => return None,
    })
}

/// The names of all thresholds, comma-separated, for messages.
pub fn names() -> String {
    let ranges = Thresholds::DEFAULT.ranges();
    let names: Vec<&str> = ranges.iter().map(|r| r.0).collect();
    names.join(", ")
}

fn set(t: &mut Thresholds, key: &str, value: &Spanned<DeValue<'_>>) -> Result<(), String> {
    let number = plain(value);
    let Some(place) = field(t, key) else {
        return Err(format!(
            "there is no threshold \"{key}\"; there are {}",
            names()
        ));
    };
    *place = number.ok_or_else(|| format!("{key} must be a plain number, without its unit"))?;
    check_range(t, key)
}

/// A number without a unit.
fn plain(value: &Spanned<DeValue<'_>>) -> Option<f32> {
    match value.get_ref() {
        DeValue::Float(x) => x.as_str().replace('_', "").parse().ok(),
        DeValue::Integer(x) if x.radix() == 10 => x.as_str().replace('_', "").parse().ok(),
        _ => None,
    }
}

fn check_range(t: &Thresholds, key: &str) -> Result<(), String> {
    let ranges = t.ranges();
    match ranges.iter().find(|r| r.0 == key) {
        Some((_, x, least, most)) if !(x >= least && x <= most) => {
            Err(format!("{key} is {x}; it must be from {least} to {most}"))
        }
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests;

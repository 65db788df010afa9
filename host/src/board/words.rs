//! What a board says, in words.

use cuepost_engine::HealthState;
use cuepost_engine::wire::{Object, Refuse, Settings, Status};
use cuepost_firmware::settings::Key;

/// Why a board refused.
pub fn refusal(why: Refuse, expected: u32, got: u32) -> String {
    match why {
        Refuse::Version => format!("it speaks version {expected} of the wire format"),
        Refuse::Kind => format!("it does not take messages of kind {got:#04x}"),
        Refuse::Payload => "the message is not as its kind should be".into(),
        Refuse::Value => "a value in the message is out of range".into(),
        Refuse::Offset => format!("it wants byte {expected} next, byte {got} came"),
        Refuse::Transfer => "no such transfer is under way; send the file again".into(),
        Refuse::TooLarge => format!("there is room for {expected} bytes, the file has {got}"),
        Refuse::Whole => {
            format!("the file arrived damaged ({got:08X} instead of {expected:08X}); send it again")
        }
        Refuse::Content => content(expected, got),
        Refuse::Storage => {
            "its memory could not be written; what it had is still in use. Try again; if it stays so, the flash is worn out".into()
        }
        Refuse::Setting => match u8::try_from(expected).ok().and_then(Key::from_byte) {
            Some(key) => format!("{} cannot be {got}", key.name()),
            None => format!("it knows no setting {expected}"),
        },
        Refuse::Busy => {
            "the car is being driven; the memory is written at a standstill only".into()
        }
    }
}

/// What is wrong with a file, by the number the board gives it.
fn content(number: u32, at: u32) -> String {
    let what = match number {
        1 => "it is not such a file",
        2 => "it is of a layout this firmware does not read",
        3 => "its length is not the one it states",
        4 => "its checksum does not fit",
        5 => "it cannot be read",
        6 => "it is larger than the board has room for",
        7 => "a value in it is out of range",
        _ => "something is wrong with it",
    };
    format!("{what} (byte {at}); what the board had is still in use")
}

/// The name of what is sent.
pub const fn object(object: Object) -> &'static str {
    match object {
        Object::Reference => "reference",
        Object::Config => "thresholds",
    }
}

/// How a board is, one line a thing.
pub fn status(s: &Status) -> String {
    let id = |id: Option<u32>, none: &str| id.map_or(none.to_owned(), |id| format!("{id:08X}"));
    let (major, minor, patch) = s.firmware;
    let mut lines = vec![
        ("firmware", format!("{major}.{minor}.{patch}")),
        ("up", format!("{:.1} s", f64::from(s.uptime_ms) / 1e3)),
        ("reference", id(s.reference, "none: send one")),
        ("thresholds", id(s.config, "built in")),
        ("cues", cues(s)),
    ];
    if let Some(t) = &s.transfer {
        let words = format!("{}, {} of {} bytes", object(t.object), t.have, t.total);
        lines.push(("transfer", words));
    }
    let c = &s.counts;
    lines.push((
        "samples",
        format!("{} used{}", c.admitted, refused(&c.refused)),
    ));
    let bad: u64 = c.frames_refused.iter().map(|n| u64::from(*n)).sum();
    lines.push(("frames", format!("{} read, {bad} refused", c.frames)));
    lines.push((
        "receiver",
        format!(
            "{} messages read, {} refused",
            c.receiver, c.receiver_refused
        ),
    ));
    lines.push((
        "lost",
        format!("{} bytes in, {} messages out", c.lost_in, c.lost_out),
    ));
    lines.push((
        "queues",
        format!("at most {} bytes in, {} bytes out", c.fill_in, c.fill_out),
    ));
    if c.output_faults > 0 {
        lines.push(("outputs", format!("{} faults", c.output_faults)));
    }
    lines.iter().fold(String::new(), |text, (name, words)| {
        text + &format!("{name:<11} {words}\n")
    })
}

fn cues(s: &Status) -> String {
    match s.health {
        HealthState::Ok => "yes".into(),
        _ => format!("no: {}", s.why.name()),
    }
}

/// Why the gate refused samples, in the order of its counts.
const REFUSALS: [&str; cuepost_engine::gate::REFUSALS] = [
    "not finite or absurd",
    "without a fix",
    "older than the one before",
    "repeated",
    "leaps of position",
    "frozen",
    "too inaccurate",
    "more than are needed",
];

fn refused(counts: &[u32]) -> String {
    let named = REFUSALS.iter().zip(counts).filter(|(_, n)| **n > 0);
    let parts: Vec<String> = named.map(|(why, n)| format!("{n} {why}")).collect();
    if parts.is_empty() {
        String::new()
    } else {
        format!("; refused: {}", parts.join(", "))
    }
}

/// The settings, one line each.
pub fn settings(message: &Settings) -> String {
    let mut text = String::new();
    for (key, value) in &message.entries {
        let Some(key) = Key::from_byte(*key) else {
            text += &format!("{key:<17} {value}\n");
            continue;
        };
        let name = key.values().get(*value as usize);
        let value = name.map_or(value.to_string(), |name| (*name).to_owned());
        text += &format!("{:<17} {value}\n", key.name());
    }
    text
}

/// Reads `KEY=VALUE`.
pub fn setting(words: &str) -> Result<(u8, u32), String> {
    let names = || Key::ALL.map(Key::name).join(", ");
    let (name, value) = words
        .split_once('=')
        .ok_or_else(|| format!("\"{words}\" is not KEY=VALUE, as in lamp=off"))?;
    let key = Key::ALL
        .into_iter()
        .find(|key| key.name() == name)
        .ok_or_else(|| format!("there is no setting \"{name}\"; there are {}", names()))?;
    let named = key.values().iter().position(|known| *known == value);
    match (named, value.parse()) {
        (Some(at), _) => Ok((key as u8, at as u32)),
        (None, Ok(number)) if key.values().is_empty() => Ok((key as u8, number)),
        _ if key.values().is_empty() => Err(format!("{name} is a number, not \"{value}\"")),
        _ => Err(format!(
            "{name} is {}, not \"{value}\"",
            key.values().join(" or ")
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings_as_they_are_typed() {
        assert_eq!(setting("lamp=off"), Ok((4, 0)));
        assert_eq!(setting("source=computer"), Ok((1, 1)));
        assert_eq!(setting("strip-brightness=200"), Ok((6, 200)));
        assert_eq!(
            setting("display=2"),
            Err("display is off or text or frames, not \"2\"".into())
        );
        assert!(setting("lamp").is_err_and(|e| e.contains("KEY=VALUE")));
        assert!(setting("horn=on").is_err_and(|e| e.contains("there are source")));
    }

    #[test]
    fn every_refusal_has_words() {
        for why in [
            Refuse::Version,
            Refuse::Kind,
            Refuse::Payload,
            Refuse::Value,
            Refuse::Offset,
            Refuse::Transfer,
            Refuse::TooLarge,
            Refuse::Whole,
            Refuse::Content,
            Refuse::Storage,
            Refuse::Setting,
            Refuse::Busy,
        ] {
            assert!(refusal(why, 4, 2).len() > 15);
        }
        assert_eq!(refusal(Refuse::Setting, 4, 2), "lamp cannot be 2");
    }
}

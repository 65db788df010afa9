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
//! corner. `docs/METHOD.md` says what each of them does.

use cuepost_engine::thresholds::{FILE_MAX, MAGIC};
use cuepost_engine::{Config, Focus, Thresholds};
use std::path::Path;
use toml::{Table, Value};

/// Reads a file, whether text or as a board keeps it. The error says what is wrong and where.
pub fn read(path: &Path) -> Result<Config, String> {
    let name = path.display();
    let bytes = std::fs::read(path).map_err(|e| format!("{name}: {e}"))?;
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

/// A configuration as a board keeps it.
pub fn to_bytes(config: &Config) -> Result<Vec<u8>, String> {
    let mut bytes = vec![0; FILE_MAX];
    let len = config.encode(&mut bytes).map_err(|e| e.to_string())?;
    bytes.truncate(len);
    Ok(bytes)
}

/// Reads the text.
pub fn parse(text: &str) -> Result<Config, String> {
    let table: Table = text.parse().map_err(|e: toml::de::Error| {
        let at = e.span().map_or(0, |span| span.start);
        let line = text.bytes().take(at).filter(|b| *b == b'\n').count() + 1;
        format!("line {line}: {}", e.message())
    })?;
    let mut config = Config::default();
    for (key, value) in &table {
        match (key.as_str(), value) {
            ("corner", Value::Table(_)) => {}
            ("focus", Value::String(word)) if word == "every" => config.focus = Focus::Every,
            ("focus", Value::String(word)) if word == "one" => config.focus = Focus::One,
            ("focus", other) => return Err(format!("focus is \"every\" or \"one\", not {other}")),
            _ => set(&mut config.thresholds, key, value)?,
        }
    }
    if let Some(Value::Table(corners)) = table.get("corner") {
        for (number, own) in corners {
            let within = |e: String| format!("corner {number}: {e}");
            let corner = number
                .parse()
                .map_err(|_| within("a corner is a number from 1".into()))?;
            let thresholds = own_thresholds(config.thresholds, own).map_err(within)?;
            let full =
                |_| within("there is room for 32 corners with thresholds of their own".into());
            config.overrides.push((corner, thresholds)).map_err(full)?;
        }
    }
    config.validate().map_err(|e| e.to_string())?;
    Ok(config)
}

fn own_thresholds(mut thresholds: Thresholds, own: &Value) -> Result<Thresholds, String> {
    let table = own.as_table().ok_or("must be a table of thresholds")?;
    for (key, value) in table {
        set(&mut thresholds, key, value)?;
    }
    Ok(thresholds)
}

fn set(t: &mut Thresholds, key: &str, value: &Value) -> Result<(), String> {
    let place = match key {
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
        _ => {
            return Err(format!(
                "there is no threshold \"{key}\"; there are brake_m, decel_ratio, trail_m, slowest_mps, offset_m, throttle_m, full_m, lift_s, coast_s, loss_s, better_s"
            ));
        }
    };
    *place = match value {
        Value::Float(x) => *x as f32,
        Value::Integer(x) => *x as f32,
        other => return Err(format!("{key} is a number, not {other}")),
    };
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_named_is_set_and_the_rest_is_built_in() {
        let text = "brake_m = 5\nfocus = \"one\"\n[corner.3]\nthrottle_m = 12.5\n";
        let config = parse(text).unwrap();
        assert_eq!(config.focus, Focus::One);
        assert_eq!(config.thresholds.brake_m, 5.0);
        assert_eq!(config.thresholds.full_m, Thresholds::DEFAULT.full_m);
        assert_eq!(config.at(3).throttle_m, 12.5);
        assert_eq!(config.at(3).brake_m, 5.0);
        let (again, _) = Config::decode(&to_bytes(&config).unwrap()).unwrap();
        assert_eq!(again, config);
    }

    #[test]
    fn what_is_wrong_is_named() {
        let wrong = [
            ("brake_m = ", "line 1: "),
            ("a = 1\n\nbrake_m = [", "line 3: "),
            ("break_m = 3", "there is no threshold \"break_m\""),
            ("brake_m = \"far\"", "brake_m is a number, not \"far\""),
            (
                "brake_m = 0.1",
                "brake_m is 0.1; it must be from 0.5 to 200",
            ),
            ("focus = 3", "focus is \"every\" or \"one\", not 3"),
            ("[corner.x]\nbrake_m = 3", "corner x: a corner is a number"),
            ("[corner.2]\nbrake_m = 500", "corner 2: brake_m is 500"),
        ];
        for (text, says) in wrong {
            let error = parse(text).unwrap_err();
            assert!(error.contains(says), "{text:?}: {error}");
        }
    }
}

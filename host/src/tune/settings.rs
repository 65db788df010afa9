//! What is tried: thresholds varied one by one or in a grid.

use crate::thresholds_file::{field, names};
use cuepost_engine::{Config, Thresholds};
use std::str::FromStr;

/// More settings than this are a slip of the pen.
pub const SETTINGS_MAX: usize = 100_000;
/// The name under which every threshold is scaled together.
pub const ALL: &str = "all";

/// One threshold and the values it takes.
#[derive(Clone, Debug, PartialEq)]
pub struct Vary {
    /// The threshold, or [`ALL`].
    pub name: &'static str,
    /// Its values; factors of the thresholds begun from for [`ALL`].
    pub values: Vec<f32>,
}

impl Vary {
    /// Every threshold from half to two and a half times itself.
    pub fn all_together() -> Self {
        Self {
            name: ALL,
            values: (5..=25).map(|tenth| tenth as f32 / 10.0).collect(),
        }
    }
}

impl FromStr for Vary {
    type Err = String;

    /// `throttle_m=4:20:2` (from, to, step) or `throttle_m=4,6,12`; `all=0.5:2:0.1` scales.
    fn from_str(text: &str) -> Result<Self, String> {
        let form = "write NAME=FROM:TO:STEP or NAME=VALUE,VALUE, as in throttle_m=4:20:2";
        let (name, values) = text.split_once('=').ok_or(form)?;
        let number = |word: &str| -> Result<f32, String> {
            let parsed = word.trim().parse::<f32>().ok().filter(|v| v.is_finite());
            parsed.ok_or_else(|| format!("\"{word}\" is no number; {form}"))
        };
        let values = match values.split(':').collect::<Vec<_>>()[..] {
            [from, to, step] => stepped(number(from)?, number(to)?, number(step)?)?,
            [list] => list.split(',').map(number).collect::<Result<_, _>>()?,
            _ => return Err(form.into()),
        };
        let name = known_name(name.trim())?;
        for value in &values {
            within(name, *value)?;
        }
        Ok(Self { name, values })
    }
}

fn stepped(from: f32, to: f32, step: f32) -> Result<Vec<f32>, String> {
    if step <= 0.0 || to < from {
        return Err("FROM:TO:STEP must rise, and the step be above 0".into());
    }
    let count = ((f64::from(to) - f64::from(from)) / f64::from(step) + 1e-4).floor();
    if count >= SETTINGS_MAX as f64 {
        return Err(format!("more than {SETTINGS_MAX} values"));
    }
    let at = |k: usize| {
        // As decimal people write it: 0.1 steps give 0.3, not 0.30000001.
        let exact = f64::from(from) + k as f64 * f64::from(step);
        ((exact * 1e4).round() / 1e4) as f32
    };
    Ok((0..=count as usize).map(at).collect())
}

fn known_name(name: &str) -> Result<&'static str, String> {
    if name == ALL {
        return Ok(ALL);
    }
    let ranges = Thresholds::DEFAULT.ranges();
    let found = ranges.iter().find(|r| r.0 == name).map(|r| r.0);
    found.ok_or_else(|| {
        format!(
            "there is no threshold \"{name}\"; there are {ALL}, {}",
            names()
        )
    })
}

fn within(name: &str, value: f32) -> Result<(), String> {
    let ranges = Thresholds::DEFAULT.ranges();
    let (least, most) = match ranges.iter().find(|r| r.0 == name) {
        Some((.., least, most)) => (*least, *most),
        None => (0.01, 100.0),
    };
    if value >= least && value <= most {
        return Ok(());
    }
    Err(format!(
        "{name} is {value}; it must be from {least} to {most}"
    ))
}

/// One setting to be tried.
#[derive(Clone, Debug, PartialEq)]
pub struct Setting {
    /// What was varied, and to what.
    pub values: Vec<(&'static str, f32)>,
    /// The whole configuration.
    pub config: Config,
}

/// Every combination of the values.
pub fn grid(base: &Config, varied: &[Vary]) -> Result<Vec<Setting>, String> {
    let count = varied
        .iter()
        .try_fold(1usize, |n, v| n.checked_mul(v.values.len()));
    if count.is_none_or(|n| n > SETTINGS_MAX) {
        return Err(format!(
            "more than {SETTINGS_MAX} settings; vary fewer thresholds at once, or one at a time"
        ));
    }
    let mut all = vec![Setting {
        values: Vec::new(),
        config: base.clone(),
    }];
    for vary in varied {
        let wider = all.iter().flat_map(|setting| {
            let with = move |value: &f32| {
                let mut setting = setting.clone();
                setting.values.push((vary.name, *value));
                set(&mut setting.config, vary.name, *value);
                setting
            };
            vary.values.iter().map(with)
        });
        all = wider.collect();
    }
    Ok(all)
}

/// Each threshold on its own, the others as begun from.
pub fn one_at_a_time(base: &Config, varied: &[Vary]) -> Result<Vec<Setting>, String> {
    let mut all = Vec::new();
    for vary in varied {
        all.extend(grid(base, std::slice::from_ref(vary))?);
    }
    Ok(all)
}

/// Sets a threshold for every corner that has none of its own; `all` multiplies, within ranges.
pub fn set(config: &mut Config, name: &str, value: f32) {
    let before = config.thresholds;
    let own = config.overrides.iter_mut().map(|(_, t)| (t, false));
    let every = std::iter::once((&mut config.thresholds, true));
    for (thresholds, is_every) in own.chain(every) {
        for (known, was, least, most) in before.ranges() {
            let Some(place) = field(thresholds, known) else {
                continue;
            };
            if name == ALL {
                *place = (*place * value).clamp(least, most);
            } else if known == name && (is_every || *place == was) {
                *place = value;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_what_is_tried() {
        let vary: Vary = "throttle_m=4:8:2".parse().unwrap();
        assert_eq!(vary.values, [4.0, 6.0, 8.0]);
        let tenths: Vary = "all=0.1:0.5:0.1".parse().unwrap();
        assert_eq!(tenths.values, [0.1, 0.2, 0.3, 0.4, 0.5]);
        let list: Vary = "loss_s=0.05, 0.2".parse().unwrap();
        assert_eq!(list.values, [0.05, 0.2]);
        let all = grid(&Config::default(), &[vary.clone(), list.clone()]).unwrap();
        assert_eq!(all.len(), 6);
        let last = all.last().unwrap();
        assert_eq!(last.values, [("throttle_m", 8.0), ("loss_s", 0.2)]);
        assert_eq!(last.config.thresholds.throttle_m, 8.0);
        assert_eq!(last.config.thresholds.loss_s, 0.2);
        let each = one_at_a_time(&Config::default(), &[vary, list]).unwrap();
        assert_eq!(each.len(), 5);
        assert_eq!(
            each[4].config.thresholds.throttle_m,
            Thresholds::DEFAULT.throttle_m
        );
    }

    #[test]
    fn what_is_wrong_is_named() {
        for (text, says) in [
            ("throttle_m", "write NAME="),
            ("throttle_m=4:2:1", "must rise"),
            ("throttle_m=4:8:0", "above 0"),
            (
                "throttle_m=0:8:1",
                "throttle_m is 0; it must be from 0.5 to 200",
            ),
            ("throttle=4", "there is no threshold \"throttle\""),
            ("loss_s=a", "\"a\" is no number"),
            ("loss_s=nan", "\"nan\" is no number"),
            ("loss_s=1:2:3:4", "write NAME="),
            ("loss_s=0:5:0.00001", "more than 100000 values"),
        ] {
            let error = text.parse::<Vary>().unwrap_err();
            assert!(error.contains(says), "{text}: {error}");
        }
    }

    #[test]
    fn a_corner_keeps_what_is_its_own() {
        let mut config = crate::thresholds_file::parse("[corner.3]\nbrake_m = 9\n").unwrap();
        set(&mut config, "brake_m", 4.0);
        set(&mut config, "loss_s", 0.2);
        assert_eq!(config.at(3).brake_m, 9.0);
        assert_eq!((config.at(3).loss_s, config.at(2).loss_s), (0.2, 0.2));
        assert_eq!(config.at(2).brake_m, 4.0);
        set(&mut config, ALL, 2.0);
        assert_eq!((config.at(3).brake_m, config.at(2).brake_m), (18.0, 8.0));
        set(&mut config, ALL, 100.0);
        assert!(config.validate().is_ok(), "kept within its range");
    }
}

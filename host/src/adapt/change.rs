//! What is different on the other day or in the other car.

use std::fmt;

/// Standard gravity, m/s², exact by definition (CGPM 1901).
pub const G_MPS2: f64 = 9.806_65;

/// What a car is multiplied by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Friction of tyres and road.
    pub grip: f64,
    /// Mass.
    pub mass: f64,
    /// Engine power at every speed.
    pub power: f64,
    /// Aerodynamic drag.
    pub drag: f64,
    /// Downforce.
    pub downforce: f64,
}

impl Default for Change {
    fn default() -> Self {
        Self {
            grip: 1.0,
            mass: 1.0,
            power: 1.0,
            drag: 1.0,
            downforce: 1.0,
        }
    }
}

/// The least and the most that a car may be multiplied by: beyond it is another kind of car, and
/// the reference says nothing of it.
pub const RANGE: (f64, f64) = (0.4, 2.5);

impl Change {
    /// The factors by name.
    pub fn parts(&self) -> [(&'static str, f64); 5] {
        [
            ("grip", self.grip),
            ("mass", self.mass),
            ("power", self.power),
            ("drag", self.drag),
            ("downforce", self.downforce),
        ]
    }

    /// The first factor that is out of [`RANGE`].
    pub fn fault(&self) -> Option<String> {
        let (least, most) = RANGE;
        let bad = |x: f64| !(least..=most).contains(&x);
        let (name, x) = self.parts().into_iter().find(|(_, x)| bad(*x))?;
        Some(format!("{name} times {x}: from {least} to {most}"))
    }
}

impl fmt::Display for Change {
    /// `grip x0.95, mass x1.04`; `no change`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut first = true;
        for (name, x) in self.parts() {
            if x != 1.0 {
                let comma = if first { "" } else { ", " };
                write!(f, "{comma}{name} x{}", (x * 1e4).round() / 1e4)?;
                first = false;
            }
        }
        if first {
            f.write_str("no change")
        } else {
            Ok(())
        }
    }
}

/// A factor as people write it: `0.95`, `-5%`, `+10 %`.
pub fn factor(text: &str) -> Result<f64, String> {
    let wrong = || format!("`{text}`: write a factor as 0.95, or a percentage as -5%");
    let text = text.trim();
    let value = match text.strip_suffix('%') {
        Some(percent) => 1.0 + 0.01 * percent.trim().parse::<f64>().map_err(|_| wrong())?,
        None if text.starts_with(['+', '-']) => return Err(wrong()),
        None => text.parse().map_err(|_| wrong())?,
    };
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(wrong())
    }
}

/// A change of mass as people write it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MassChange {
    /// Times so much.
    Factor(f64),
    /// So many kilograms more.
    Kilograms(f64),
}

/// `+50` or `-30` kilograms, `+4%`, or `x1.04`.
pub fn mass(text: &str) -> Result<MassChange, String> {
    let text = text.trim();
    if text.ends_with('%') {
        return factor(text).map(MassChange::Factor);
    }
    if let Some(times) = text.strip_prefix('x') {
        return factor(times).map(MassChange::Factor);
    }
    let kilograms = text.strip_suffix("kg").unwrap_or(text).trim();
    match kilograms.parse::<f64>() {
        Ok(kg) if kg.is_finite() => Ok(MassChange::Kilograms(kg)),
        _ => Err(format!(
            "`{text}`: write kilograms as +50, or a percentage as +4%"
        )),
    }
}

impl MassChange {
    /// The factor, for a car of so many kilograms; `None` when kilograms change and it is not
    /// known of how many.
    pub fn of(self, car_kg: Option<f64>) -> Option<f64> {
        match self {
            Self::Factor(x) => Some(x),
            Self::Kilograms(0.0) => Some(1.0),
            Self::Kilograms(kg) => car_kg.map(|car| (car + kg) / car),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn factors_and_masses_as_people_write_them() {
        assert_eq!(factor("0.95"), Ok(0.95));
        assert_eq!(factor("-5%"), Ok(0.95));
        assert_eq!(factor(" +10 %"), Ok(1.1));
        for bad in ["-5", "+5", "0", "-100%", "nan", "inf", "grip", ""] {
            assert!(factor(bad).is_err(), "{bad}");
        }
        assert_eq!(mass("+50"), Ok(MassChange::Kilograms(50.0)));
        assert_eq!(mass("-30 kg"), Ok(MassChange::Kilograms(-30.0)));
        assert_eq!(mass("+4%"), Ok(MassChange::Factor(1.04)));
        assert_eq!(mass("x1.5"), Ok(MassChange::Factor(1.5)));
        assert!(mass("heavy").is_err());
        assert_eq!(MassChange::Kilograms(50.0).of(Some(1000.0)), Some(1.05));
        assert_eq!(MassChange::Kilograms(50.0).of(None), None);
        assert_eq!(MassChange::Kilograms(0.0).of(None), Some(1.0));
    }

    #[test]
    fn a_change_says_what_it_changes() {
        assert_eq!(Change::default().to_string(), "no change");
        let change = Change {
            grip: 0.95,
            mass: 1.04,
            ..Change::default()
        };
        assert_eq!(change.to_string(), "grip x0.95, mass x1.04");
        assert_eq!(change.fault(), None);
        let wild = Change {
            power: 3.0,
            ..change
        };
        assert!(wild.fault().unwrap().starts_with("power"));
    }
}

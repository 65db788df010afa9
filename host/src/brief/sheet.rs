//! What the sheet says, in sentences.

use crate::adapt::words::CAUTION;
use crate::report::units::{Units, lap_time};
use crate::report::{places, words};
use cuepost_engine::{Corner, CornerKind, Measured, ReferenceView};

/// Full throttle this soon behind the first touch is not told apart from it, metres.
const AT_ONCE_M: f32 = 3.0;
/// A shorter way to the next braking is no straight, metres.
const STRAIGHT_LEAST_M: f32 = 20.0;
/// A trail shorter than this is none, metres.
const TRAIL_LEAST_M: f32 = 2.0;

/// The whole sheet.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// Circuit and layout.
    pub title: String,
    /// Car, conditions, lap time, length.
    pub about: Vec<String>,
    /// What must be read first, when the reference was computed.
    pub caution: Option<&'static str>,
    /// The corners in the order driven.
    pub corners: Vec<CornerSheet>,
    /// The corners by what their exit is worth, most first.
    pub worth: Vec<Worth>,
    /// Landmarks: place, side, name.
    pub landmarks: Vec<(String, &'static str, String)>,
}

/// One corner.
#[derive(Clone, Debug)]
pub struct CornerSheet {
    /// Its number, from 1.
    pub number: u8,
    /// `Gantry, a right-hander`.
    pub heading: String,
    /// Its number and name: `Corner 6 (Horseshoe)`.
    pub name: String,
    /// What to do, one sentence each.
    pub sentences: Vec<String>,
    /// How far the reference laps scattered; empty with one lap.
    pub scatter: String,
    /// The coach's note, may be empty.
    pub note: String,
    /// Its place among the exits, from 1.
    pub rank: usize,
}

/// What an exit is worth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Worth {
    /// The corner, from 1.
    pub corner: u8,
    /// Metres of road on which the speed of the exit still counts.
    pub straight_m: f32,
    /// Seconds that a metre a second more at the exit is worth, at most.
    pub seconds_a_mps: f32,
}

/// Says what there is to say of a reference.
pub fn sheet(view: &ReferenceView<'_>, units: Units) -> Sheet {
    let mut ranked: Vec<Worth> = (0..view.corners.len()).map(|i| worth(view, i)).collect();
    // A bend that is flat has no exit to win: it belongs to the straight.
    ranked.retain(|w| {
        let corner = words::corner(view, w.corner);
        let slowed = corner.is_some_and(|c| c.kind != CornerKind::Flat);
        slowed && w.straight_m >= STRAIGHT_LEAST_M
    });
    ranked.sort_by(|a, b| b.seconds_a_mps.total_cmp(&a.seconds_a_mps));
    let corners = (view.corners.iter().zip(1_u8..=u8::MAX))
        .map(|(c, number)| {
            let rank = ranked.iter().position(|w| w.corner == number);
            corner(view, c, number, rank.map_or(0, |r| r + 1), units)
        })
        .collect();
    let landmarks = view.landmarks.iter().map(|l| {
        let at = units.length(f64::from(l.progress_m));
        (at, places::side(l.side), l.name.to_string())
    });
    Sheet {
        title: match view.session.name.as_str() {
            "" => "The circuit".to_owned(),
            name => name.to_owned(),
        },
        about: about(view, units),
        caution: view.session.computed.then_some(CAUTION),
        corners,
        worth: ranked,
        landmarks: landmarks.collect(),
    }
}

fn about(view: &ReferenceView<'_>, units: Units) -> Vec<String> {
    let s = view.session;
    let mut out = Vec::new();
    for (what, text) in [("car", &s.car[..]), ("conditions", &s.conditions[..])] {
        if !text.is_empty() {
            out.push(format!("{what}: {text}"));
        }
    }
    let made = if s.computed {
        "computed lap"
    } else {
        "reference lap"
    };
    out.push(format!("{made} {}", lap_time(s.lap_time_us)));
    let count = view.corners.len();
    let length = units.length(f64::from(view.length_m()));
    out.push(format!("{length} round, {count} corners"));
    out
}

/// Seconds that more speed at a corner's exit is worth until the next braking.
fn worth(view: &ReferenceView<'_>, index: usize) -> Worth {
    let corner = &view.corners[index];
    let straight_m = places::straight_m(view, index)
        + corner
            .facts
            .full_m
            .map_or(0.0, |full| view.ahead_m(corner.exit_m, full.value).max(0.0));
    let exit_mps = view.speed_mps(corner.exit_m).max(1.0);
    // What is won in energy stays: v dv is the same all along, so that the time it saves on a
    // metre is v0 dv0 / v³. Drag takes a part of it back: it is worth this at most.
    let step_m = 5.0;
    let steps = (straight_m / step_m).max(0.0) as usize;
    let sum: f32 = (0..steps)
        .map(|k| {
            let v = view.speed_mps(corner.exit_m + (k as f32 + 0.5) * step_m);
            step_m / v.max(1.0).powi(3)
        })
        .sum();
    Worth {
        corner: u8::try_from(index + 1).unwrap_or(u8::MAX),
        straight_m,
        seconds_a_mps: exit_mps * sum,
    }
}

fn corner(
    view: &ReferenceView<'_>,
    c: &Corner,
    number: u8,
    rank: usize,
    units: Units,
) -> CornerSheet {
    let left = c.turn > 0;
    let heading = match (c.name.as_str(), left) {
        ("", true) => "Left-hander".to_owned(),
        ("", false) => "Right-hander".to_owned(),
        (name, true) => format!("{name}, a left-hander"),
        (name, false) => format!("{name}, a right-hander"),
    };
    let mut sentences = Vec::new();
    match c.kind {
        CornerKind::Flat => sentences.push(format!(
            "Flat out, {} at the tightest place.",
            units.speed(view.speed_mps(c.apex_m).into())
        )),
        CornerKind::Braked | CornerKind::Lifted => {
            sentences.push(entry(view, c, units));
            sentences.extend(trail(view, c, units));
            sentences.push(middle(view, c, units));
            sentences.push(exit(view, c, units));
        }
    }
    CornerSheet {
        number,
        heading,
        name: words::corner_name(view, number),
        sentences,
        scatter: scatter(c, units),
        note: c.note.to_string(),
        rank,
    }
}

fn at(view: &ReferenceView<'_>, c: &Corner, place: Measured, units: Units) -> String {
    places::of_corner(view, c, place.value, units)
}

fn entry(view: &ReferenceView<'_>, c: &Corner, units: Units) -> String {
    let (verb, noun) = match c.kind {
        CornerKind::Lifted => ("Lift", "lift"),
        CornerKind::Braked | CornerKind::Flat => ("Brake", "brake point"),
    };
    let Some(brake) = c.facts.brake_m else {
        return format!("The {noun} was not measured.");
    };
    let place = at(view, c, brake, units);
    match c.facts.brake_mps {
        Some(v) => format!("{verb} {place}, from {}.", units.speed(v.value.into())),
        None => format!("{verb} {place}."),
    }
}

fn trail(view: &ReferenceView<'_>, c: &Corner, units: Units) -> Option<String> {
    let release = c.facts.release_m?;
    let off = places::by_bend(view, c, release.value, units);
    let trail = c.facts.trail_m.filter(|t| t.value >= TRAIL_LEAST_M);
    Some(match trail {
        Some(t) => format!(
            "Turning in, keep some brake for {}; off it {off}.",
            units.length(t.value.into())
        ),
        None => format!("Off the brake {off}."),
    })
}

fn middle(view: &ReferenceView<'_>, c: &Corner, units: Units) -> String {
    let slowest = c
        .facts
        .slowest_mps
        .map_or_else(|| view.speed_mps(c.apex_m), |m| m.value);
    let gear = match c.gear {
        Some(gear) if gear > 0 => format!(", in gear {gear}"),
        _ => String::new(),
    };
    format!("Slowest {}{gear}.", units.speed(slowest.into()))
}

fn exit(view: &ReferenceView<'_>, c: &Corner, units: Units) -> String {
    let exit = c
        .facts
        .exit_mps
        .map_or_else(|| view.speed_mps(c.exit_m), |m| m.value);
    let out = format!("out at {}.", units.speed(exit.into()));
    let Some(throttle) = c.facts.throttle_m else {
        return format!("Then {out}");
    };
    let place = at(view, c, throttle, units);
    let full = c.facts.full_m.map(|full| {
        let later_m = view.ahead_m(throttle.value, full.value);
        if later_m < AT_ONCE_M {
            ", full at once".to_owned()
        } else {
            format!(", full {} later", units.length(later_m.into()))
        }
    });
    format!("Throttle {place}{}, {out}", full.unwrap_or_default())
}

/// `Reference laps: brake ±1.3 m, slowest ±0.8 km/h` over the laps, one standard deviation.
fn scatter(c: &Corner, units: Units) -> String {
    let s = &c.spread;
    if s.laps < 2 {
        return String::new();
    }
    let metres = |m: f32| {
        let (by, unit) = (f64::from(m) * units.lengths_a_metre(), units.length_name());
        format!("±{by:.1} {unit}")
    };
    let speed = |v: f32| {
        let (by, unit) = (f64::from(v) * units.speeds_a_mps(), units.speed_name());
        format!("±{by:.1} {unit}")
    };
    let f = &c.facts;
    let mut parts = Vec::new();
    if f.brake_m.is_some() && s.brake_m > 0.0 {
        parts.push(format!("brake {}", metres(s.brake_m)));
    }
    if f.slowest_mps.is_some() {
        parts.push(format!("slowest {}", speed(s.slowest_mps)));
    }
    if f.throttle_m.is_some() && s.throttle_m > 0.0 {
        parts.push(format!("throttle {}", metres(s.throttle_m)));
    }
    parts.push(format!("exit {}", speed(s.exit_mps)));
    let laps = if c.unproven {
        "laps it was computed from agree"
    } else {
        "laps agree"
    };
    format!("{} {laps} to: {}", s.laps, parts.join(", "))
}

impl Worth {
    /// What is ranked, with the unit of the speed.
    pub fn heading(units: Units) -> String {
        format!(
            "Exits by what they are worth: {} more there, carried along the straight behind, at most",
            one(units).1
        )
    }

    /// What the exit is worth, without the corner: `0.042 s, 939 m of straight`.
    pub fn words(&self, units: Units) -> String {
        let straight = units.length(f64::from(self.straight_m));
        let seconds = f64::from(self.seconds_a_mps) * one(units).0;
        format!("{seconds:.3} s, {straight} of straight")
    }
}

/// One of the unit of speed: in m/s, and in words.
const fn one(units: Units) -> (f64, &'static str) {
    match units {
        Units::Metric => (1.0 / 3.6, "1 km/h"),
        Units::Imperial => (0.447_04, "1 mph"),
        Units::Si => (1.0, "1 m/s"),
    }
}

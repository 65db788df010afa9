//! The reference as the pages draw it.

use crate::report::Units;
use cuepost_engine::{Corner, Measured, ReferenceView};
use serde::Serialize;

/// Points of the line a page gets at most: finer than a screen.
const POINTS_MAX: usize = 800;

#[derive(Serialize)]
struct Reference<'a> {
    name: String,
    car: &'a str,
    length_m: f32,
    lap_time_s: f64,
    units: UnitsObject,
    line: Vec<[f32; 3]>,
    corners: Vec<CornerObject<'a>>,
}

/// What an SI value is multiplied by before it is shown.
#[derive(Serialize)]
struct UnitsObject {
    length: Unit,
    speed: Unit,
}

#[derive(Serialize)]
struct Unit {
    name: &'static str,
    per: f64,
}

#[derive(Serialize)]
struct CornerObject<'a> {
    number: usize,
    name: &'a str,
    kind: &'static str,
    turn_m: f32,
    exit_m: f32,
    apex: [f32; 2],
    brake_m: Option<f32>,
    slowest_mps: Option<f32>,
    throttle_m: Option<f32>,
    exit_mps: Option<f32>,
}

/// Its name, and that nobody drove it where it was computed.
fn named(view: &ReferenceView<'_>) -> String {
    let session = view.session;
    if session.computed {
        format!("{} (computed, never driven)", session.name)
    } else {
        session.name.to_string()
    }
}

/// The JSON of a reference.
pub fn json(view: &ReferenceView<'_>, units: Units) -> serde_json::Result<String> {
    let step = view.nodes.len().div_ceil(POINTS_MAX).max(1);
    let points = (0..view.nodes.len()).step_by(step);
    let object = Reference {
        name: named(view),
        car: &view.session.car,
        length_m: view.length_m(),
        lap_time_s: view.session.lap_time_us as f64 / 1e6,
        units: UnitsObject {
            length: Unit {
                name: units.length_name(),
                per: units.lengths_a_metre(),
            },
            speed: Unit {
                name: units.speed_name(),
                per: units.speeds_a_mps(),
            },
        },
        line: points
            .map(|i| {
                let [x, y] = node(view, i);
                [i as f32 * view.spacing_m, x, y]
            })
            .collect(),
        corners: (1..)
            .zip(view.corners)
            .map(|(number, c)| corner(view, number, c))
            .collect(),
    };
    serde_json::to_string(&object)
}

fn node(view: &ReferenceView<'_>, i: usize) -> [f32; 2] {
    view.nodes.get(i).map_or([0.0; 2], |n| {
        [n.east_mm as f32 * 1e-3, n.north_mm as f32 * 1e-3]
    })
}

fn corner<'a>(view: &ReferenceView<'_>, number: usize, c: &'a Corner) -> CornerObject<'a> {
    let value = |m: Option<Measured>| m.map(|m| m.value).filter(|v| v.is_finite());
    CornerObject {
        number,
        name: &c.name,
        kind: c.kind.name(),
        turn_m: c.turn_m,
        exit_m: c.exit_m,
        apex: node(view, (view.wrap_m(c.apex_m) / view.spacing_m) as usize),
        brake_m: value(c.facts.brake_m),
        slowest_mps: value(c.facts.slowest_mps),
        throttle_m: value(c.facts.throttle_m),
        exit_mps: value(c.facts.exit_mps),
    }
}

//! The circuit as a drawing: its line, where it is braked on, the corners' numbers.

use cuepost_engine::ReferenceView;
use std::fmt::Write;

/// The drawing's size in its own units.
const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 430.0;
/// Room around the line for the numbers.
const ROOM: f64 = 34.0;
/// A number stands this far from its corner.
const AWAY: f64 = 20.0;
/// Two numbers are at least this far apart.
const APART: f64 = 24.0;
/// Points drawn at most.
const POINTS: usize = 600;

/// The drawing as an SVG element, north up.
pub fn map(view: &ReferenceView<'_>) -> String {
    let plane = Plane::of(view);
    let length = f64::from(view.length_m());
    let mut out = format!(
        "<svg viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" aria-label=\"The circuit with the numbers of its corners\">"
    );
    let whole = plane.path(view, 0.0, length);
    let _ = write!(out, "<path class=\"road\" d=\"{whole}Z\"/>");
    let _ = write!(out, "<path class=\"line\" d=\"{whole}Z\"/>");
    for c in view.corners {
        let (Some(from), Some(to)) = (c.facts.brake_m, c.facts.release_m) else {
            continue;
        };
        let long = f64::from(view.wrap_m(to.value - from.value));
        if long < 0.5 * length {
            let from = f64::from(from.value);
            let path = plane.path(view, from, from + long);
            let _ = write!(out, "<path class=\"brake\" d=\"{path}\"/>");
        }
    }
    start(&mut out, view, &plane);
    for ((x, y), (number, c)) in numbers(view, &plane).iter().zip((1..).zip(view.corners)) {
        let (ax, ay) = plane.at(view, c.apex_m.into());
        let _ = write!(
            out,
            "<path class=\"lead\" d=\"M{ax:.1} {ay:.1}L{x:.1} {y:.1}\"/><circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"10\"/><text x=\"{x:.1}\" y=\"{y:.1}\">{number}</text>"
        );
    }
    out.push_str("</svg>");
    out
}

/// The start line and the direction of travel.
fn start(out: &mut String, view: &ReferenceView<'_>, plane: &Plane) {
    let ((x, y), (dx, dy)) = (plane.at(view, 0.0), plane.along(view, 0.0));
    let _ = write!(
        out,
        "<path class=\"start\" d=\"M{:.1} {:.1}L{:.1} {:.1}\"/>",
        x - 9.0 * dy,
        y + 9.0 * dx,
        x + 9.0 * dy,
        y - 9.0 * dx
    );
    // An arrow beside the line, to the right of it.
    let (bx, by) = (x - 14.0 * dy, y + 14.0 * dx);
    let (ex, ey) = (bx + 26.0 * dx, by + 26.0 * dy);
    let side = |s: f64| (ex - 7.0 * dx - s * 4.0 * dy, ey - 7.0 * dy + s * 4.0 * dx);
    let ((lx, ly), (rx, ry)) = (side(1.0), side(-1.0));
    let _ = write!(
        out,
        "<path class=\"way\" d=\"M{bx:.1} {by:.1}L{ex:.1} {ey:.1}M{lx:.1} {ly:.1}L{ex:.1} {ey:.1}L{rx:.1} {ry:.1}\"/>"
    );
}

/// Where the numbers stand: outside of their bends, then pushed apart and off the road.
fn numbers(view: &ReferenceView<'_>, plane: &Plane) -> Vec<(f64, f64)> {
    let mut at: Vec<(f64, f64)> = view
        .corners
        .iter()
        .map(|c| {
            let (x, y) = plane.at(view, c.apex_m.into());
            let (dx, dy) = plane.along(view, c.apex_m.into());
            // On the page y points down: the right of travel is (-dy, dx).
            let out = f64::from(c.turn);
            (x - out * dy * AWAY, y + out * dx * AWAY)
        })
        .collect();
    let road: Vec<(f64, f64)> = (0..POINTS)
        .map(|k| plane.at(view, f64::from(view.length_m()) * k as f64 / POINTS as f64))
        .collect();
    for _ in 0..80 {
        for i in 0..at.len() {
            let (x, y) = at[i];
            let (mut px, mut py) = (0.0, 0.0);
            let mut push = |ox: f64, oy: f64, least: f64| {
                let (dx, dy) = (x - ox, y - oy);
                let d = dx.hypot(dy).max(0.1);
                if d < least {
                    px += dx / d * (least - d) * 0.4;
                    py += dy / d * (least - d) * 0.4;
                }
            };
            for (j, other) in at.iter().enumerate() {
                if j != i {
                    push(other.0, other.1, APART);
                }
            }
            let nearest = road.iter().min_by(|a, b| {
                (a.0 - x)
                    .hypot(a.1 - y)
                    .total_cmp(&(b.0 - x).hypot(b.1 - y))
            });
            if let Some(near) = nearest {
                push(near.0, near.1, 16.0);
            }
            at[i] = (
                (x + px).clamp(12.0, WIDTH - 12.0),
                (y + py).clamp(12.0, HEIGHT - 12.0),
            );
        }
    }
    at
}

/// From the reference's plane to the page.
struct Plane {
    scale: f64,
    left_mm: f64,
    top_mm: f64,
}

impl Plane {
    fn of(view: &ReferenceView<'_>) -> Self {
        let mut low = (f64::INFINITY, f64::INFINITY);
        let mut high = (f64::NEG_INFINITY, f64::NEG_INFINITY);
        for n in view.nodes {
            let (e, n) = (f64::from(n.east_mm), f64::from(n.north_mm));
            low = (low.0.min(e), low.1.min(n));
            high = (high.0.max(e), high.1.max(n));
        }
        let (wide, tall) = ((high.0 - low.0).max(1.0), (high.1 - low.1).max(1.0));
        let scale = ((WIDTH - 2.0 * ROOM) / wide).min((HEIGHT - 2.0 * ROOM) / tall);
        Self {
            scale,
            left_mm: low.0 - 0.5 * (WIDTH / scale - wide),
            top_mm: high.1 + 0.5 * (HEIGHT / scale - tall),
        }
    }

    fn at(&self, view: &ReferenceView<'_>, progress_m: f64) -> (f64, f64) {
        let x = f64::from(view.wrap_m(progress_m as f32)) / f64::from(view.spacing_m);
        let i = x as usize;
        let part = x - i as f64;
        let node = |i: usize| view.nodes.get(i).or(view.nodes.first()).copied();
        let (a, b) = (node(i).unwrap_or_default(), node(i + 1).unwrap_or_default());
        let mix = |a: i32, b: i32| f64::from(a) + (f64::from(b) - f64::from(a)) * part;
        (
            (mix(a.east_mm, b.east_mm) - self.left_mm) * self.scale,
            (self.top_mm - mix(a.north_mm, b.north_mm)) * self.scale,
        )
    }

    /// The direction of travel on the page.
    fn along(&self, view: &ReferenceView<'_>, progress_m: f64) -> (f64, f64) {
        let (a, b) = (
            self.at(view, progress_m - 6.0),
            self.at(view, progress_m + 6.0),
        );
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let long = dx.hypot(dy).max(1e-9);
        (dx / long, dy / long)
    }

    fn path(&self, view: &ReferenceView<'_>, from_m: f64, to_m: f64) -> String {
        let share = (to_m - from_m) / f64::from(view.length_m());
        let steps = ((POINTS as f64 * share).ceil() as usize).max(3);
        let mut out = String::new();
        for k in 0..=steps {
            let (x, y) = self.at(view, from_m + (to_m - from_m) * k as f64 / steps as f64);
            let letter = if k == 0 { 'M' } else { 'L' };
            let _ = write!(out, "{letter}{x:.1} {y:.1}");
        }
        out
    }
}

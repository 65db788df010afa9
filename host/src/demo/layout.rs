//! From a list of straights and bends to a line that closes.
//!
//! A bend is a clothoid in, an arc, a clothoid out. The straights say about how long they should
//! be; they are lengthened or shortened by the least change (in proportion to their lengths) that
//! brings the end of the lap to its beginning.

use super::circuit::{Bend, BendKind, Circuit, Node, SPACING_M};
use super::pieces::{Piece, Shape, Stretch, displacement, stretches};

/// Why pieces do not make a circuit.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum LayoutError {
    /// The bends do not add up to one turn.
    #[error("the bends turn {0:.3} degrees in all; a lap turns 360 or -360")]
    Turning(f64),
    /// No choice of straights closes the lap.
    #[error("the lap does not close: {0:.1} m are left however long the straights are")]
    Open(f64),
    /// Two parts of the road come too near to one another.
    #[error("the road comes within {0:.1} m of itself")]
    Crowded(f64),
}

/// Straights are never closed up below this share of what was asked for.
const SHRINK_MIN: f64 = 0.4;
/// Nearer than this two different parts of the road may not come, metres.
const CLEARANCE_M: f64 = 40.0;

/// Lays the pieces end to end, closes the lap and samples the line.
///
/// The first piece begins on the start line, at the origin, heading `heading_rad` (radians
/// counter-clockwise from east).
pub fn lay(name: &str, pieces: &[Piece], heading_rad: f64) -> Result<Circuit, LayoutError> {
    let turning: f64 = pieces.iter().map(Piece::turn_deg).sum();
    if (turning.abs() - 360.0).abs() > 1e-6 {
        return Err(LayoutError::Turning(turning));
    }
    let mut stretches = stretches(pieces);
    close(&mut stretches, pieces, heading_rad)?;
    let circuit = sample(name, &stretches, pieces, heading_rad);
    let near = clearance(&circuit);
    if near < CLEARANCE_M {
        return Err(LayoutError::Crowded(near));
    }
    Ok(circuit)
}

/// Changes the straights by the least (weighted by their lengths) that closes the lap.
fn close(stretches: &mut [Stretch], pieces: &[Piece], heading_rad: f64) -> Result<(), LayoutError> {
    let asked: Vec<f64> = stretches.iter().map(|s| s.length_m).collect();
    let mut free: Vec<bool> = stretches
        .iter()
        .map(|s| matches!(pieces[s.piece].shape, Shape::Straight { .. }))
        .collect();
    for _ in 0..stretches.len() {
        let (mut rest, mut heading) = ((0.0, 0.0), heading_rad);
        let mut m = [[0.0f64; 2]; 2];
        let mut directions = vec![(0.0, 0.0); stretches.len()];
        for (i, s) in stretches.iter().enumerate() {
            let d = displacement(s, heading);
            rest = (rest.0 + d.0, rest.1 + d.1);
            if free[i] {
                let (sin, cos) = heading.sin_cos();
                directions[i] = (cos, sin);
                let w = asked[i] * asked[i];
                m[0][0] += w * cos * cos;
                m[0][1] += w * cos * sin;
                m[1][1] += w * sin * sin;
            }
            heading += s.turning(s.length_m);
        }
        if rest.0.hypot(rest.1) < 1e-6 {
            return Ok(());
        }
        let det = m[0][0] * m[1][1] - m[0][1] * m[0][1];
        if det.abs() < 1e-6 {
            return Err(LayoutError::Open(rest.0.hypot(rest.1)));
        }
        let l = (
            (m[1][1] * rest.0 - m[0][1] * rest.1) / det,
            (m[0][0] * rest.1 - m[0][1] * rest.0) / det,
        );
        for (i, s) in stretches.iter_mut().enumerate().filter(|(i, _)| free[*i]) {
            let change = -asked[i] * asked[i] * (directions[i].0 * l.0 + directions[i].1 * l.1);
            s.length_m += change;
        }
        // A straight that would become too short is held at its least and the rest solved again.
        for (i, s) in stretches.iter_mut().enumerate() {
            if free[i] && s.length_m < SHRINK_MIN * asked[i] {
                s.length_m = SHRINK_MIN * asked[i];
                free[i] = false;
            }
        }
    }
    Err(LayoutError::Open(f64::INFINITY))
}

fn sample(name: &str, stretches: &[Stretch], pieces: &[Piece], heading_rad: f64) -> Circuit {
    let length: f64 = stretches.iter().map(|s| s.length_m).sum();
    let count = (length / SPACING_M).round() as usize;
    let spacing_m = length / count as f64;
    let slopes = slopes(stretches, pieces, length);
    let mut nodes = Vec::with_capacity(count);
    let (mut at, mut begin, mut heading) = ((0.0, 0.0), 0.0, heading_rad);
    for s in stretches {
        let mut done = 0.0;
        let mut advance = |to: f64, at: &mut (f64, f64), heading: &mut f64| {
            if to > done {
                let part = Stretch {
                    length_m: to - done,
                    from_pm: s.curvature(done),
                    to_pm: s.curvature(to),
                    ..*s
                };
                let d = displacement(&part, *heading);
                *at = (at.0 + d.0, at.1 + d.1);
                *heading += part.turning(part.length_m);
                done = to;
            }
        };
        while nodes.len() < count && nodes.len() as f64 * spacing_m < begin + s.length_m {
            let x = nodes.len() as f64 * spacing_m - begin;
            advance(x, &mut at, &mut heading);
            nodes.push(Node {
                east_m: at.0,
                north_m: at.1,
                heading_rad: heading,
                curvature_pm: s.curvature(x),
                slope: slope_at(&slopes, begin + x, length),
            });
        }
        advance(s.length_m, &mut at, &mut heading);
        begin += s.length_m;
    }
    Circuit {
        name: name.to_owned(),
        spacing_m,
        nodes,
        bends: bends(stretches, pieces),
        marks: Vec::new(),
    }
}

/// Middle of every piece and its slope, with the mean over the lap taken out.
fn slopes(stretches: &[Stretch], pieces: &[Piece], length: f64) -> Vec<(f64, f64)> {
    let mut begin = 0.0;
    let mut spans = vec![(f64::MAX, 0.0f64); pieces.len()];
    for s in stretches {
        let span = &mut spans[s.piece];
        span.0 = span.0.min(begin);
        begin += s.length_m;
        span.1 = begin;
    }
    let mut knots: Vec<(f64, f64)> = spans
        .iter()
        .zip(pieces)
        .filter(|(span, _)| span.1 > span.0)
        .map(|(span, p)| ((span.0 + span.1) / 2.0, p.slope))
        .collect();
    let n = knots.len();
    let rise: f64 = (0..n)
        .map(|i| {
            let (a, b) = (knots[i], knots[(i + 1) % n]);
            (b.0 - a.0).rem_euclid(length) * (a.1 + b.1) / 2.0
        })
        .sum();
    knots.iter_mut().for_each(|k| k.1 -= rise / length);
    knots
}

fn slope_at(knots: &[(f64, f64)], s: f64, length: f64) -> f64 {
    let n = knots.len();
    let next = knots.iter().position(|k| k.0 > s).unwrap_or(0);
    let (a, b) = (knots[(next + n - 1) % n], knots[next]);
    let span = (b.0 - a.0).rem_euclid(length).max(1e-9);
    a.1 + (b.1 - a.1) * (s - a.0).rem_euclid(length) / span
}

fn bends(stretches: &[Stretch], pieces: &[Piece]) -> Vec<Bend> {
    let mut out: Vec<Bend> = Vec::new();
    let mut begin = 0.0;
    let mut rising = false;
    for s in stretches {
        let kind = match pieces[s.piece].shape {
            Shape::Bend { kind, .. } => Some(kind),
            Shape::Double { .. } => Some(BendKind::DoubleApex),
            Shape::Straight { .. } | Shape::Fixed { .. } => None,
        };
        let end = begin + s.length_m;
        if let Some(kind) = kind {
            let tightens = s.to_pm.abs() > s.from_pm.abs();
            if tightens || !rising {
                out.push(Bend {
                    kind,
                    begin_m: begin,
                    apex_m: if tightens { end } else { (begin + end) / 2.0 },
                    end_m: end,
                    curvature_pm: s.to_pm,
                });
                rising = true;
            } else if let Some(bend) = out.last_mut().filter(|_| rising) {
                if s.to_pm == s.from_pm {
                    bend.apex_m = (begin + end) / 2.0;
                }
                bend.end_m = end;
            }
        } else {
            rising = false;
        }
        begin = end;
    }
    out
}

/// A hairpin comes near to itself over a short stretch of road: that is no crowding.
const APART_M: f64 = 260.0;

/// The least distance between two places of the road that are far apart along it, as far as it is
/// of interest: anything above [`CLEARANCE_M`] may come out too large.
fn clearance(circuit: &Circuit) -> f64 {
    let every = (8.0 / circuit.spacing_m) as usize;
    let step_m = every as f64 * circuit.spacing_m;
    let places: Vec<(f64, f64)> = circuit
        .nodes
        .iter()
        .step_by(every)
        .map(|n| (n.east_m, n.north_m))
        .collect();
    let apart = (APART_M / step_m) as usize;
    let mut least = f64::MAX;
    for (i, a) in places.iter().enumerate() {
        let end = places.len().min((i + places.len()).saturating_sub(apart));
        let mut j = i + apart;
        while j < end {
            let b = places[j];
            let away = ((a.0 - b.0).powi(2) + (a.1 - b.1).powi(2)).sqrt();
            least = least.min(away);
            // The road cannot come nearer faster than it is long.
            j += 1 + ((away - CLEARANCE_M).max(0.0) / step_m) as usize;
        }
    }
    least
}

//! Circuits nobody has seen: the usual kinds of corners in any order, on slopes.

use super::super::circuit::{BendKind, Circuit};
use super::super::layout::lay;
use super::super::pieces::Piece;
use rand::RngExt;
use rand_pcg::Pcg64;

/// No circuit is longer, metres.
const LENGTH_MAX_M: f64 = 6500.0;

/// One thing to lay between two straights.
#[derive(Clone, Copy, Debug)]
enum Element {
    /// A bend with one apex: kind, turn in degrees, radius, ease.
    One(BendKind, f64, f64, f64),
    /// Two bends in quick succession, one to each side.
    Chicane(f64, f64, f64),
    /// Two apexes.
    Double(f64, f64, f64),
}

impl Element {
    fn turn_deg(self) -> f64 {
        match self {
            Self::One(_, turn, _, _) | Self::Double(turn, _, _) => turn,
            Self::Chicane(turn, _, _) => -0.15 * turn,
        }
    }

    fn scaled(self, f: f64) -> Self {
        match self {
            Self::One(kind, turn, r, ease) => Self::One(kind, turn * f, r, ease),
            Self::Double(turn, a, b) => Self::Double(turn * f, a, b),
            Self::Chicane(..) => self,
        }
    }

    fn lay(self, slope: f64, out: &mut Vec<Piece>) {
        match self {
            Self::One(kind, turn, r, ease) => {
                out.push(Piece::bend(kind, turn, r, ease).sloping(slope));
            }
            Self::Double(turn, a, b) => out.push(Piece::double(turn, a, b).sloping(slope)),
            Self::Chicane(turn, a, b) => {
                out.push(Piece::bend(BendKind::Chicane, turn, a, 0.9).sloping(slope));
                out.push(Piece::fixed(12.0).sloping(slope));
                out.push(Piece::bend(BendKind::Chicane, -1.15 * turn, b, 0.9).sloping(slope));
            }
        }
    }
}

/// A circuit of its own for each state of the generator. Tries until the pieces close without
/// crowding; a few dozen tries are usual and cheap.
pub fn circuit(rng: &mut Pcg64) -> Circuit {
    loop {
        if let Some(circuit) = attempt(rng) {
            return circuit;
        }
    }
}

fn attempt(rng: &mut Pcg64) -> Option<Circuit> {
    let count = rng.random_range(6..=9);
    let mut elements: Vec<Element> = (0..count).map(|_| element(rng)).collect();
    let (mut with, mut against) = (0.0, 0.0);
    for turn in elements.iter().map(|e| e.turn_deg()) {
        if turn > 0.0 {
            with += turn
        } else {
            against -= turn
        }
    }
    let f = (360.0 + against) / with;
    if !(0.75..1.3).contains(&f) {
        return None;
    }
    for e in &mut elements {
        if e.turn_deg() > 0.0 {
            *e = e.scaled(f);
        }
    }
    // Half of the circuits run clockwise.
    let mirror = if rng.random_bool(0.5) { -1.0 } else { 1.0 };
    let mut pieces = vec![Piece::straight(rng.random_range(250.0..450.0))];
    for e in &elements {
        let e = match *e {
            Element::Chicane(turn, a, b) => Element::Chicane(mirror * turn, a, b),
            other => other.scaled(mirror),
        };
        e.lay(rng.random_range(-0.05..0.05), &mut pieces);
        let long = rng.random_bool(0.3);
        let length_m = if long {
            rng.random_range(500.0..900.0)
        } else {
            rng.random_range(180.0..380.0)
        };
        pieces.push(Piece::straight(length_m).sloping(rng.random_range(-0.05..0.05)));
    }
    let turned: f64 = pieces.iter().map(Piece::turn_deg).sum();
    let last = pieces.iter_mut().rev().find(|p| p.turn_deg() != 0.0)?;
    last.turn_by(mirror * 360.0 - turned);
    let circuit = lay(
        "campaign",
        &pieces,
        rng.random_range(0.0..std::f64::consts::TAU),
    )
    .ok()?;
    (circuit.length_m() < LENGTH_MAX_M).then_some(circuit)
}

fn element(rng: &mut Pcg64) -> Element {
    let sign = if rng.random_bool(0.72) { 1.0 } else { -1.0 };
    let mut within = |a: f64, b: f64| rng.random_range(a..b);
    let (pick, turn, size) = (within(0.0, 1.0), within(0.0, 1.0), within(0.0, 1.0));
    let from = |a: f64, b: f64, x: f64| a + (b - a) * x;
    let ease = within(0.75, 0.92);
    match pick {
        p if p < 0.15 => {
            let turn = sign * from(135.0, 165.0, turn);
            Element::One(BendKind::Hairpin, turn, from(13.0, 19.0, size), ease)
        }
        p if p < 0.42 => {
            let turn = sign * from(55.0, 115.0, turn);
            Element::One(BendKind::Single, turn, from(26.0, 65.0, size), ease)
        }
        p if p < 0.60 => {
            let turn = sign * from(45.0, 80.0, turn);
            Element::One(BendKind::Sweeper, turn, from(85.0, 230.0, size), 0.9 * ease)
        }
        p if p < 0.71 => {
            let first = from(28.0, 45.0, size);
            Element::Chicane(
                sign * from(42.0, 62.0, turn),
                first,
                first * from(0.8, 1.0, turn),
            )
        }
        p if p < 0.82 => {
            let first = from(50.0, 75.0, size);
            Element::Double(
                sign * from(110.0, 150.0, turn),
                first,
                first * from(0.65, 0.75, turn),
            )
        }
        _ => {
            let turn = sign * from(14.0, 34.0, turn);
            Element::One(BendKind::Kink, turn, from(150.0, 500.0, size), 0.8 * ease)
        }
    }
}

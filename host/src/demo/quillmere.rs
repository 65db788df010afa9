//! Quillmere Ring: the invented circuit of the demonstration.

use super::circuit::{BendKind, Circuit, Mark};
use super::layout::{LayoutError, lay};
use super::pieces::Piece;

/// What its corners are called, in the order met (the bend with two apexes is one corner).
pub const NAMES: [&str; 10] = [
    "Gantry",
    "Sluice",
    "Long Right",
    "Mill In",
    "Mill Out",
    "Horseshoe",
    "Footbridge",
    "Barn Left",
    "Twin",
    "Weir",
];

/// Lays out Quillmere Ring: clockwise, with a hairpin, sweepers, a chicane, a double apex, a flat
/// kink and a long straight, over a hill.
///
/// # Errors
/// None with the pieces below; a test holds it.
pub fn circuit() -> Result<Circuit, LayoutError> {
    let pieces = [
        Piece::straight(420.0).sloping(0.010),
        Piece::bend(BendKind::Single, -96.0, 30.0, 0.85).sloping(0.015),
        Piece::straight(230.0).sloping(0.030),
        Piece::bend(BendKind::Single, 58.0, 62.0, 0.80).sloping(0.030),
        Piece::straight(210.0).sloping(0.020),
        Piece::bend(BendKind::Sweeper, -64.0, 192.0, 0.70).sloping(0.0),
        Piece::straight(230.0).sloping(-0.020),
        Piece::bend(BendKind::Chicane, 52.0, 34.0, 0.90).sloping(-0.045),
        Piece::fixed(14.0).sloping(-0.045),
        Piece::bend(BendKind::Chicane, -60.0, 30.0, 0.90).sloping(-0.045),
        Piece::straight(260.0).sloping(-0.03),
        Piece::bend(BendKind::Hairpin, -158.0, 15.5, 0.85).sloping(-0.010),
        Piece::straight(330.0).sloping(0.0),
        Piece::bend(BendKind::Kink, 20.0, 420.0, 0.60).sloping(0.0),
        Piece::straight(260.0).sloping(0.0),
        Piece::bend(BendKind::Single, 88.0, 42.0, 0.80).sloping(0.040),
        Piece::straight(240.0).sloping(0.020),
        Piece::double(-138.0, 64.0, 44.0).sloping(-0.010),
        Piece::straight(300.0).sloping(-0.040),
        Piece::bend(BendKind::Sweeper, -62.0, 88.0, 0.75).sloping(-0.030),
        Piece::straight(520.0).sloping(0.0),
    ];
    let mut circuit = lay("Quillmere Ring", &pieces, 0.0)?;
    circuit.marks = marks(&circuit);
    Ok(circuit)
}

/// Boards before the heavy braking, counted to where the bend begins, and a few things that stand
/// about.
fn marks(circuit: &Circuit) -> Vec<Mark> {
    let bend = |i: usize| circuit.bends.get(i).map_or(0.0, |b| b.begin_m);
    let mark = |progress_m: f64, side: i8, name: &str| Mark {
        progress_m: circuit.wrap_m(progress_m),
        side,
        name: name.to_owned(),
    };
    let mut marks = vec![
        mark(12.0, 0, "gantry"),
        mark(bend(2) - 40.0, -1, "water tower"),
        mark(bend(6) + 90.0, 0, "footbridge"),
        mark(bend(8) - 75.0, 1, "old barn"),
        mark(bend(10) - 60.0, -1, "marshal post 9"),
    ];
    for i in [0, 3, 5, 7] {
        for metres in [150.0, 100.0, 50.0] {
            marks.push(mark(bend(i) - metres, -1, &format!("{metres:.0} board")));
        }
    }
    marks.sort_by(|a, b| a.progress_m.total_cmp(&b.progress_m));
    marks
}

//! Circuits close, in the plane and in height, and say the same thing in every form.

use cuepost_host::demo::circuit::{BendKind, Circuit};
use cuepost_host::demo::layout::{LayoutError, lay};
use cuepost_host::demo::pieces::Piece;
use cuepost_host::demo::quillmere;

fn closes(c: &Circuit) {
    let length = c.length_m();
    let (e0, n0, h0) = c.pose(0.0);
    let (e1, n1, h1) = c.pose(length - 1e-6);
    assert!(
        (e1 - e0).hypot(n1 - n0) < 0.01,
        "open by {} m",
        (e1 - e0).hypot(n1 - n0)
    );
    assert!((h1 - h0 - c.turning_rad()).abs() < 1e-3);
    let rise: f64 = c.nodes.iter().map(|n| n.slope * c.spacing_m).sum();
    assert!(
        rise.abs() < 0.05,
        "the lap ends {rise} m higher than it began"
    );
}

#[test]
fn quillmere_closes_and_turns_once() {
    let c = quillmere::circuit().expect("the pieces fit");
    closes(&c);
    assert!((c.turning_rad().abs() - std::f64::consts::TAU).abs() < 1e-9);
    assert!(
        (10..=14).contains(&c.bends.len()),
        "{} bends",
        c.bends.len()
    );
    let steepest = c.nodes.iter().map(|n| n.slope.abs()).fold(0.0, f64::max);
    assert!((0.02..0.12).contains(&steepest), "steepest {steepest}");
}

/// Positions, directions and curvatures agree: differences of one are the other.
#[test]
fn pose_and_curvature_agree() {
    let c = quillmere::circuit().expect("the pieces fit");
    let mut s = 0.0;
    while s < c.length_m() - 2.0 {
        let (e0, n0, h0) = c.pose(s);
        let (e1, n1, h1) = c.pose(s + 1.0);
        let chord = (e1 - e0).hypot(n1 - n0);
        assert!((chord - 1.0).abs() < 1e-3, "at {s} m: a metre is {chord} m");
        let turned = h1 - h0;
        let mean = c.curvature_pm(s + 0.5);
        assert!(
            (turned - mean).abs() < 1.5e-3,
            "at {s} m: {turned} rad, {mean} 1/m"
        );
        s += 0.73;
    }
}

/// Curvature of a circle: radius 50 m is 0.02 1/m, and 180 degrees are pi R of road.
#[test]
fn a_half_circle_is_as_long_as_it_should_be() {
    let pieces = [
        Piece::straight(200.0),
        Piece::bend(BendKind::Single, 180.0, 50.0, 0.0),
        Piece::straight(400.0),
        Piece::bend(BendKind::Single, 180.0, 50.0, 0.0),
        Piece::straight(200.0),
    ];
    let c = lay("stadium", &pieces, 0.3).expect("closes");
    assert!((c.length_m() - (800.0 + std::f64::consts::TAU * 50.0)).abs() < 1e-3);
    assert!((c.curvature_pm(c.bends[0].apex_m) - 0.02).abs() < 1e-12);
    closes(&c);
}

#[test]
fn pieces_that_make_no_circuit_are_refused_with_the_reason() {
    let half = [
        Piece::straight(100.0),
        Piece::bend(BendKind::Single, 180.0, 50.0, 0.5),
    ];
    assert_eq!(
        lay("half", &half, 0.0).err(),
        Some(LayoutError::Turning(180.0))
    );
    let parallel = [
        Piece::straight(100.0),
        Piece::bend(BendKind::Single, 180.0, 50.0, 0.0),
        Piece::straight(100.0),
        Piece::bend(BendKind::Single, 180.0, 80.0, 0.0),
    ];
    // All straights run the same way: nothing can make up for the two radii.
    assert!(matches!(
        lay("odd", &parallel, 0.0),
        Err(LayoutError::Open(_))
    ));
}

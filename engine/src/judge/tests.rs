//! Every row of the decision table (docs/METHOD.md), as a coach would tell it.

mod causes;
mod evidence;
mod limits;

use super::*;
use crate::facts::Measured;
use crate::reference::{CarCurves, Frame, Node, ReferenceView, Session};

fn m(value: f32) -> Option<Measured> {
    Some(Measured::new(value, 0.05))
}

/// What the reference driver does: a left-hander after a straight.
fn good() -> Facts {
    Facts {
        lap: 2,
        corner: 1,
        kind: CornerKind::Braked,
        usable: true,
        brake_m: m(100.0),
        brake_mps: m(60.0),
        peak_decel_mps2: m(12.0),
        mean_decel_mps2: m(10.0),
        turn_in_m: m(170.0),
        release_m: m(195.0),
        trail_m: m(25.0),
        slowest_m: m(200.0),
        slowest_mps: m(25.0),
        slowed_mps: m(25.0),
        throttle_m: m(205.0),
        full_m: m(230.0),
        lifts: 0,
        lift_s: m(0.0),
        dip_mps: m(0.0),
        missing_m: m(0.0),
        coast_s: m(0.2),
        offset_begin_m: m(0.0),
        offset_slowest_m: m(0.0),
        offset_exit_m: m(0.0),
        exit_mps: m(34.0),
        loss_entry_s: m(0.0),
        loss_middle_s: m(0.0),
        loss_exit_s: m(0.0),
    }
}

fn told_in(kind: CornerKind, change: impl FnOnce(&mut Facts)) -> Option<(Phase, Advice)> {
    let corner = Corner {
        kind,
        turn: 1,
        facts: Facts { kind, ..good() },
        ..Corner::default()
    };
    with_reference(&corner, |reference| {
        let mut facts = Facts { kind, ..good() };
        change(&mut facts);
        judge(
            reference,
            &corner,
            &facts,
            &Thresholds::DEFAULT,
            Allowance::default(),
        )
        .map(|v| (v.phase, v.advice))
    })
}

/// Two kilometres at 25 m/s with one corner.
fn with_reference<R>(corner: &Corner, f: impl FnOnce(&ReferenceView<'_>) -> R) -> R {
    let nodes: [Node; 400] = core::array::from_fn(|i| Node {
        speed_cmps: 2500,
        time_ms: 200 * i as u32,
        ..Node::default()
    });
    let (car, session) = (CarCurves::default(), Session::default());
    let reference = ReferenceView {
        frame: Frame::Local {
            east_mm: 0,
            north_mm: 0,
        },
        spacing_m: 5.0,
        nodes: &nodes,
        corners: core::slice::from_ref(corner),
        landmarks: &[],
        car: &car,
        session: &session,
    };
    f(&reference)
}

fn told(change: impl FnOnce(&mut Facts)) -> Option<(Phase, Advice)> {
    told_in(CornerKind::Braked, change)
}

fn lose(f: &mut Facts, entry: f32, middle: f32, exit: f32) {
    let part = |s| Some(Measured::new(s, 0.005));
    f.loss_entry_s = part(entry);
    f.loss_middle_s = part(middle);
    f.loss_exit_s = part(exit);
}

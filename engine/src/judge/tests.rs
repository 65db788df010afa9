//! Every row of the decision table (docs/METHOD.md), as a coach would tell it.

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
    let nodes = [Node {
        speed_cmps: 2500,
        ..Node::default()
    }; 400];
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

#[test]
fn as_good_as_the_reference_is_silence() {
    assert_eq!(told(|_| {}), None);
}

#[test]
fn different_but_not_slower_is_silence() {
    assert_eq!(told(|f| f.brake_m = m(80.0)), None);
}

#[test]
fn slower_without_a_cause_is_silence() {
    assert_eq!(told(|f| lose(f, 0.1, 0.1, 0.1)), None);
}

#[test]
fn too_deep_wide_and_late_on_the_throttle_is_the_brakes_fault() {
    let cue = told(|f| {
        f.brake_m = m(112.0);
        f.offset_slowest_m = m(-2.5);
        f.slowest_mps = m(23.0);
        f.throttle_m = m(225.0);
        lose(f, -0.05, 0.1, 0.3);
    });
    assert_eq!(cue, Some((Phase::Brake, Advice::Sooner)));
}

#[test]
fn too_fast_in_and_late_on_the_throttle_is_rotation_slower() {
    let cue = told(|f| {
        f.slowest_mps = m(27.0);
        f.slowed_mps = m(27.5);
        f.offset_exit_m = m(-2.5);
        f.throttle_m = m(225.0);
        lose(f, -0.02, -0.02, 0.3);
    });
    assert_eq!(cue, Some((Phase::Rotation, Advice::Slower)));
}

#[test]
fn over_slowed_with_a_good_exit_is_rotation_faster() {
    let cue = told(|f| {
        f.slowest_mps = m(22.5);
        f.slowed_mps = m(22.6);
        f.brake_m = m(93.0);
        lose(f, 0.06, 0.12, 0.02);
    });
    assert_eq!(cue, Some((Phase::Rotation, Advice::Faster)));
}

#[test]
fn on_the_brake_for_too_long_is_rotation_faster() {
    let cue = told(|f| {
        f.release_m = m(204.0);
        f.slowest_m = m(206.0);
        f.slowest_mps = m(21.5);
        f.throttle_m = m(214.0);
        lose(f, 0.0, 0.05, 0.3);
    });
    assert_eq!(cue, Some((Phase::Rotation, Advice::Faster)));
}

#[test]
fn stabbed_early_then_coasted_is_brake_later() {
    let cue = told(|f| {
        f.brake_m = m(75.0);
        f.mean_decel_mps2 = m(7.0);
        f.peak_decel_mps2 = m(12.5);
        lose(f, 0.3, 0.02, 0.0);
    });
    assert_eq!(cue, Some((Phase::Brake, Advice::Later)));
}

#[test]
fn early_at_equal_deceleration_is_brake_later() {
    let cue = told(|f| {
        f.brake_m = m(85.0);
        lose(f, 0.2, 0.02, 0.0);
    });
    assert_eq!(cue, Some((Phase::Brake, Advice::Later)));
}

#[test]
fn early_and_soft_is_brake_harder() {
    let cue = told(|f| {
        f.brake_m = m(80.0);
        f.mean_decel_mps2 = m(8.0);
        f.peak_decel_mps2 = m(9.5);
        lose(f, 0.25, 0.02, 0.0);
    });
    assert_eq!(cue, Some((Phase::Brake, Advice::Harder)));
}

/// Who stabs and rolls brakes softly in the mean only.
#[test]
fn a_stab_nearly_early_and_rolling_behind_it_is_brake_later() {
    let stab = |brake_m: f32| {
        told(move |f| {
            f.brake_m = m(brake_m);
            f.mean_decel_mps2 = m(8.0);
            f.coast_s = m(0.6);
            lose(f, 0.15, 0.02, 0.0);
        })
    };
    assert_eq!(stab(95.5), Some((Phase::Brake, Advice::Later)));
    assert_eq!(stab(99.0), None);
}

/// Who brakes later and loses time on the way in all the same had lifted before it.
#[test]
fn a_lift_before_a_late_brake_is_not_brake_sooner() {
    let cue = told(|f| {
        f.brake_m = m(115.0);
        lose(f, 0.15, 0.0, 0.0);
    });
    assert_eq!(cue, None);
}

/// Off both pedals, a car slows as well: that is not the brake held for too long.
#[test]
fn rolling_until_a_late_throttle_is_not_over_slowing() {
    let rolled = |throttle_m: f32, release_m: f32| {
        told(move |f| {
            f.throttle_m = m(throttle_m);
            f.release_m = m(release_m);
            f.coast_s = m(0.7);
            (f.slowest_mps, f.slowed_mps) = (m(22.8), m(24.8));
            lose(f, 0.0, 0.05, 0.3);
        })
    };
    assert_eq!(
        rolled(221.0, 201.0),
        Some((Phase::Throttle, Advice::Sooner))
    );
    // Nearly late.
    assert_eq!(
        rolled(212.0, 195.0),
        Some((Phase::Throttle, Advice::Sooner))
    );
    // Not late at all.
    assert_eq!(
        rolled(206.0, 195.0),
        Some((Phase::Rotation, Advice::Faster))
    );
}

#[test]
fn hard_without_need_is_brake_softer() {
    let cue = told(|f| {
        f.mean_decel_mps2 = m(12.0);
        lose(f, 0.15, 0.02, 0.0);
    });
    assert_eq!(cue, Some((Phase::Brake, Advice::Softer)));
}

#[test]
fn trail_too_long_or_too_short_is_told_by_the_middle() {
    let long = told(|f| {
        (f.trail_m, f.release_m) = (m(38.0), m(208.0));
        lose(f, 0.0, 0.15, 0.02);
    });
    let short = told(|f| {
        (f.trail_m, f.release_m) = (m(12.0), m(182.0));
        lose(f, 0.0, 0.15, 0.02);
    });
    // Only the bend was begun later.
    let turned = told(|f| {
        (f.turn_in_m, f.trail_m) = (m(182.0), m(13.0));
        lose(f, 0.0, 0.15, 0.02);
    });
    assert_eq!(turned, None);
    assert_eq!(long, Some((Phase::Trail, Advice::Shorter)));
    assert_eq!(short, Some((Phase::Trail, Advice::Longer)));
}

#[test]
fn the_line_in_the_middle() {
    // A left-hander: its outside is to the right, negative.
    let wide = told(|f| {
        f.offset_slowest_m = m(-2.5);
        lose(f, 0.0, 0.12, 0.02);
    });
    let tight = told(|f| {
        f.offset_slowest_m = m(2.5);
        lose(f, 0.0, 0.12, 0.02);
    });
    assert_eq!(wide, Some((Phase::Rotation, Advice::Tighter)));
    assert_eq!(tight, Some((Phase::Rotation, Advice::Wider)));
}

#[test]
fn late_throttle_alone_is_throttle_sooner() {
    let cue = told(|f| {
        f.throttle_m = m(220.0);
        f.slowest_mps = m(23.5);
        f.slowest_m = m(214.0);
        f.slowed_mps = m(24.8);
        lose(f, 0.0, 0.02, 0.2);
    });
    assert_eq!(cue, Some((Phase::Throttle, Advice::Sooner)));
}

#[test]
fn early_throttle_that_runs_wide_is_throttle_later() {
    let cue = told(|f| {
        f.throttle_m = m(192.0);
        f.offset_exit_m = m(-2.5);
        f.exit_mps = m(32.0);
        lose(f, 0.0, 0.0, 0.2);
    });
    assert_eq!(cue, Some((Phase::Throttle, Advice::Later)));
}

#[test]
fn a_lift_once_on_the_throttle_is_steady() {
    let cue = told(|f| {
        f.lifts = 1;
        f.lift_s = m(0.15);
        lose(f, 0.0, 0.0, 0.2);
    });
    assert_eq!(cue, Some((Phase::Throttle, Advice::Steady)));
}

#[test]
fn slow_to_full_throttle_is_fuller() {
    let cue = told(|f| {
        f.full_m = m(265.0);
        f.missing_m = m(9.0);
        lose(f, 0.0, 0.0, 0.2);
    });
    assert_eq!(cue, Some((Phase::Throttle, Advice::Fuller)));
    // A throttle taken up late lacks a little behind its onset as well.
    let late = told(|f| {
        f.throttle_m = m(214.0);
        f.full_m = m(245.0);
        f.missing_m = m(5.0);
        lose(f, 0.0, 0.0, 0.2);
    });
    assert_eq!(late, Some((Phase::Throttle, Advice::Sooner)));
}

#[test]
fn a_brake_held_too_long_is_trail_shorter() {
    let cue = told(|f| {
        f.release_m = m(f.release_m.map_or(0.0, |r| r.value) + 14.0);
        f.trail_m = m(f.trail_m.map_or(0.0, |t| t.value) + 14.0);
        f.throttle_m = None;
        f.full_m = None;
        lose(f, 0.0, 0.0, 0.2);
    });
    assert_eq!(cue, Some((Phase::Trail, Advice::Shorter)));
}

#[test]
fn road_left_at_the_exit_is_more_road() {
    let cue = told(|f| {
        f.offset_exit_m = m(2.5);
        lose(f, 0.0, 0.0, 0.15);
    });
    assert_eq!(cue, Some((Phase::Throttle, Advice::MoreRoad)));
}

/// A car that waits for the throttle on the inside is slowest late, off the line already: that is
/// not why it waits.
#[test]
fn road_left_over_is_why_the_slowest_point_is_inside_too() {
    let cue = told(|f| {
        (f.offset_slowest_m, f.offset_exit_m) = (m(2.6), m(5.5));
        (f.throttle_m, f.slowest_mps) = (m(224.0), m(23.8));
        lose(f, 0.02, 0.02, 0.3);
    });
    assert_eq!(cue, Some((Phase::Throttle, Advice::MoreRoad)));
}

/// With an unsure common offset the way out to a wide line and back is known.
#[test]
fn a_wide_line_is_told_by_what_the_car_moved() {
    let unsure = |begin_m: f32, slowest_m: f32, exit_m: f32| {
        told(move |f| {
            let about = |value| Some(Measured::new(value, 1.5));
            f.offset_begin_m = about(begin_m);
            f.offset_slowest_m = about(slowest_m);
            f.offset_exit_m = about(exit_m);
            lose(f, 0.02, 0.15, 0.02);
        })
    };
    let tighter = Some((Phase::Rotation, Advice::Tighter));
    assert_eq!(unsure(0.2, -2.6, 0.1), tighter);
    // Half of it seen on the way in, all of it on the way back.
    assert_eq!(unsure(-1.2, -2.6, 0.4), tighter);
    assert_eq!(unsure(-2.4, -2.6, -2.4), None);
}

/// Whose line is elsewhere all day, or not well known, is judged by what it moved in the corner.
#[test]
fn road_left_is_told_by_what_the_line_moved_when_the_day_s_offset_is_not_known() {
    let unsure = |slowest_m: f32| {
        told(move |f| {
            let on_the_line = f.offset_slowest_m.map_or(0.0, |o| o.value);
            f.offset_begin_m = Some(Measured::new(on_the_line + slowest_m, 1.5));
            f.offset_slowest_m = Some(Measured::new(on_the_line + slowest_m, 1.5));
            f.offset_exit_m = Some(Measured::new(2.6, 1.5));
            lose(f, 0.0, 0.0, 0.15);
        })
    };
    assert_eq!(unsure(0.0), Some((Phase::Throttle, Advice::MoreRoad)));
    assert_eq!(unsure(2.4), None);
}

#[test]
fn rolling_into_the_corner_is_named_by_what_began_it() {
    let braked_too_soon = told(|f| {
        f.brake_m = m(95.0);
        f.release_m = m(185.0);
        f.coast_s = m(0.9);
        lose(f, 0.2, 0.02, 0.0);
    });
    let let_go_too_soon = told(|f| {
        f.release_m = m(180.0);
        f.coast_s = m(0.9);
        lose(f, 0.2, 0.02, 0.0);
    });
    assert_eq!(braked_too_soon, Some((Phase::Brake, Advice::Later)));
    assert_eq!(let_go_too_soon, Some((Phase::Trail, Advice::Longer)));
}

#[test]
fn faster_than_the_reference_is_better_whatever_differs() {
    let cue = told(|f| {
        f.brake_m = m(112.0);
        lose(f, -0.15, 0.0, 0.0);
    });
    assert_eq!(cue, Some((Phase::Straight, Advice::Better)));
}

#[test]
fn lifted_and_flat_corners_know_only_a_larger_lift() {
    let larger = |f: &mut Facts| {
        f.kind = CornerKind::Lifted;
        f.slowest_mps = m(22.0);
        f.slowed_mps = m(22.0);
        f.brake_m = m(70.0);
        f.dip_mps = m(3.0);
        lose(f, 0.1, 0.1, 0.0);
    };
    let want = Some((Phase::Brake, Advice::SmallerLift));
    assert_eq!(told_in(CornerKind::Lifted, larger), want);
    assert_eq!(told_in(CornerKind::Flat, larger), want);
    let line_only = |f: &mut Facts| {
        f.offset_exit_m = m(3.0);
        lose(f, 0.0, 0.1, 0.1);
    };
    assert_eq!(told_in(CornerKind::Flat, line_only), None);
    let on_the_way_out = |f: &mut Facts| {
        f.lift_s = m(0.15);
        lose(f, 0.0, 0.0, 0.2);
    };
    let want = Some((Phase::Throttle, Advice::Steady));
    assert_eq!(told_in(CornerKind::Lifted, on_the_way_out), want);
}

#[test]
fn a_spoilt_corner_is_not_judged() {
    let cue = told(|f| {
        f.usable = false;
        f.brake_m = m(85.0);
        lose(f, 0.3, 0.0, 0.0);
    });
    assert_eq!(cue, None);
}

#[test]
fn a_difference_within_its_own_uncertainty_does_not_count() {
    let cue = told(|f| {
        f.brake_m = Some(Measured::new(85.0, 8.0));
        lose(f, 0.2, 0.0, 0.0);
    });
    assert_eq!(cue, None);
}

#[test]
fn a_computed_corner_asks_for_no_more_than_was_driven() {
    let corner = Corner {
        turn: 1,
        facts: good(),
        unproven: true,
        ..Corner::default()
    };
    let judged = |unproven: bool, change: fn(&mut Facts)| {
        with_reference(&corner, |reference| {
            let mut facts = good();
            change(&mut facts);
            let allowance = Allowance {
                unproven,
                ..Allowance::default()
            };
            judge(reference, &corner, &facts, &Thresholds::DEFAULT, allowance)
                .map(|v| (v.phase, v.advice))
        })
    };
    let early: fn(&mut Facts) = |f| {
        f.brake_m = m(85.0);
        lose(f, 0.2, 0.02, 0.0);
    };
    assert_eq!(judged(false, early), Some((Phase::Brake, Advice::Later)));
    assert_eq!(judged(true, early), None);
    let slow: fn(&mut Facts) = |f| {
        f.slowest_mps = m(22.5);
        f.slowed_mps = m(22.6);
        lose(f, 0.06, 0.12, 0.02);
    };
    assert_eq!(judged(false, slow), Some((Phase::Rotation, Advice::Faster)));
    assert_eq!(judged(true, slow), None);
    // What makes it safer is told all the same.
    let deep: fn(&mut Facts) = |f| {
        f.brake_m = m(112.0);
        f.throttle_m = m(225.0);
        lose(f, -0.05, 0.1, 0.3);
    };
    assert_eq!(judged(true, deep), Some((Phase::Brake, Advice::Sooner)));
}

#[test]
fn every_advice_that_is_quicker_or_later_asks_for_more() {
    for phase in Phase::ALL {
        for advice in Advice::ALL {
            let calm = match advice {
                Advice::Sooner => phase != Phase::Throttle,
                Advice::Later => {
                    matches!(phase, Phase::Throttle | Phase::Rotation | Phase::Straight)
                }
                Advice::Softer | Advice::Shorter => !matches!(phase, Phase::Brake | Phase::Trail),
                Advice::Longer
                | Advice::Slower
                | Advice::Wider
                | Advice::Tighter
                | Advice::Better => true,
                _ => false,
            };
            assert_eq!(advice.asks_for_more(phase), !calm, "{phase:?} {advice:?}");
        }
    }
}

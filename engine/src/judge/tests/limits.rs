//! When nothing is told, or less.

use super::*;

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

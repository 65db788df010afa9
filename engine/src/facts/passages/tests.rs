//! Which corner a braking between two of them belongs to, and what was lost there.

use super::*;
use crate::facts::Measured;
use crate::reference::{CarCurves, Corner, Frame, Node, Session};

/// Two kilometres at 25 m/s; the second corner begins at 300 m, 60 m behind the first one's exit.
fn with_chicane(f: impl FnOnce(&ReferenceView<'_>)) {
    let nodes: [Node; 400] = core::array::from_fn(|k| Node {
        time_ms: k as u32 * 200,
        speed_cmps: 2500,
        ..Node::default()
    });
    let corner = |begin_m: f32| {
        let mut corner = Corner {
            kind: CornerKind::Braked,
            turn: 1,
            begin_m,
            turn_m: begin_m + 80.0,
            middle_begin_m: begin_m + 90.0,
            apex_m: begin_m + 100.0,
            middle_end_m: begin_m + 110.0,
            exit_m: begin_m + 140.0,
            ..Corner::default()
        };
        corner.facts.brake_m = Some(Measured::new(begin_m + 30.0, 0.1));
        corner
    };
    let corners = [corner(100.0), corner(300.0)];
    let car = CarCurves::default();
    let session = Session {
        lap_time_us: 80_000_000,
        ..Session::default()
    };
    f(&ReferenceView {
        frame: Frame::Local {
            east_mm: 0,
            north_mm: 0,
        },
        spacing_m: 5.0,
        nodes: &nodes,
        corners: &corners,
        landmarks: &[],
        car: &car,
        session: &session,
    });
}

fn at(progress_m: f32) -> Instant {
    Instant {
        time_us: (progress_m * 40_000.0) as u64,
        progress_m,
        speed_mps: 25.0,
        lap: 1,
        sd_s: 0.01,
    }
}

/// Drives at 25 m/s from one place to another.
fn drive(passages: &mut Passages, reference: &ReferenceView<'_>, from_m: u16, to_m: u16) {
    let trace = Trace::default();
    for metre in from_m..to_m {
        let there = at(f32::from(metre));
        passages.advance(reference, &trace, &moment(&there), &VAGUE);
    }
}

/// Well known.
const VAGUE: Vague = Vague {
    offset_sd_m: 0.1,
    sway_m: 0.0,
    surge_m: 0.0,
};

fn moment(at: &Instant) -> Moment {
    Moment {
        number: at.progress_m as u32,
        time_us: at.time_us,
        dt_s: 0.04,
        progress_m: at.progress_m,
        offset_m: 0.0,
        speed_mps: at.speed_mps,
        acc_mps2: 0.0,
        spread_s2: 1.0,
        since_s: 0.0,
        since_mps: 0.0,
        coast_mps2: -1.0,
        full_mps2: 4.0,
        foot_mps2: 10.0,
        lat_mps2: None,
        braking: 0.0,
        drive: 0.2,
        lap: 1,
        noise_mps: 0.05,
        noise: crate::noise::Learned::default(),
    }
}

/// Through the first corner and on the brake again 15 m before the second; what was said of that.
fn braked_too_soon(passages: &mut Passages, reference: &ReferenceView<'_>) -> Option<PhaseEvent> {
    drive(passages, reference, 95, 291);
    for change in [
        Change::Brake(at(150.0)),
        Change::Release(at(195.0)),
        Change::Throttle(at(215.0)),
    ] {
        let said = passages.take(reference, &change).expect("news");
        assert_eq!(said.corner, 1);
    }
    passages.take(reference, &Change::Brake(at(285.0)))
}

#[test]
fn a_braking_just_before_the_next_corner_is_that_one_s() {
    with_chicane(|reference| {
        let mut passages = Passages::default();
        let said = braked_too_soon(&mut passages, reference).expect("news");
        assert_eq!((said.corner, said.phase), (2, Phase::Brake));
        drive(&mut passages, reference, 291, 310);
        let second = passages.current().expect("under way");
        let brake = second.brake().expect("braked for");
        assert_eq!((second.corner(), brake.progress_m), (2, 285.0));
    });
}

/// Else a car that leapt or turned round would be told to brake later by the whole way between.
#[test]
fn it_does_not_outlive_a_leap() {
    with_chicane(|reference| {
        let mut passages = Passages::default();
        braked_too_soon(&mut passages, reference);
        passages.spoil();
        drive(&mut passages, reference, 291, 310);
        let second = passages.current().expect("under way");
        assert_eq!((second.corner(), second.brake()), (2, None));
    });
}

/// At 24 m/s, a metre a second slower than the reference, from the first corner's exit on. The way from the second corner's begin
/// to its braking is 30 m, which costs `E L / v³ = 24.5 * 30 / 25³` seconds.
#[test]
fn what_being_slower_costs_before_the_next_braking_is_the_corner_before_s() {
    with_chicane(|reference| {
        let (mut passages, trace) = (Passages::default(), Trace::default());
        let mut finished = None;
        drive(&mut passages, reference, 95, 250);
        for metre in 250..400u16 {
            let progress_m = f32::from(metre);
            let there = Instant {
                time_us: ((10.0 + (progress_m - 250.0) / 24.0) * 1e6) as u64,
                speed_mps: 24.0,
                ..at(progress_m)
            };
            let done = passages.advance(reference, &trace, &moment(&there), &VAGUE);
            finished = finished.or(done);
        }
        let second = passages.current().expect("under way").complete(reference);
        let first = finished.expect("waited for no longer");
        let run_in_s = 24.5 * 30.0 / 25.0f32.powi(3);
        let slower_s = |metres: f32| metres / 24.0 - metres / 25.0;
        let near = |m: Option<Measured>, s: f32| (m.expect("known").value - s).abs() < 0.003;
        assert!(
            near(first.loss_exit_s, slower_s(50.0) + run_in_s),
            "{first:?}"
        );
        assert!(
            near(second.loss_entry_s, slower_s(90.0) - run_in_s),
            "{second:?}"
        );
    });
}

/// Braked too soon, it is not slower for the corner before.
#[test]
fn who_braked_for_it_already_brought_nothing_along() {
    with_chicane(|reference| {
        let (mut passages, trace) = (Passages::default(), Trace::default());
        braked_too_soon(&mut passages, reference);
        let slow = Instant {
            speed_mps: 20.0,
            ..at(301.0)
        };
        passages.advance(reference, &trace, &moment(&slow), &VAGUE);
        let first = passages.left.as_ref().expect("left").complete(reference);
        let second = passages.current().expect("under way");
        assert_eq!(second.corner(), 2);
        let exit_s = first.loss_exit_s.expect("known").value;
        assert!(exit_s.abs() < 0.003, "{exit_s}");
    });
}

/// Brakes for the first corner, takes up the throttle and drives on into the second one, off the
/// throttle on some metres and losing so much speed on each: the first corner's facts, and the
/// seconds lost by 330 m.
fn driven_on(
    lifting: core::ops::Range<u16>,
    loses_mps: impl Fn(u16, f32) -> f32,
) -> (Option<Facts>, f32) {
    let (mut facts, mut lost_s) = (None, 0.0);
    with_chicane(|reference| {
        let mut passages = Passages::default();
        drive(&mut passages, reference, 95, 216);
        for change in [
            Change::Brake(at(150.0)),
            Change::Release(at(195.0)),
            Change::Throttle(at(215.0)),
        ] {
            let _ = passages.take(reference, &change);
        }
        let trace = Trace::default();
        let (mut time_us, mut speed_mps) = (at(216.0).time_us, 25.0_f32);
        for metre in 216_u16..420 {
            let mut now = moment(&Instant {
                time_us,
                speed_mps,
                ..at(f32::from(metre))
            });
            let drive = if lifting.contains(&metre) { 0.0 } else { 1.0 };
            (now.coast_mps2, now.drive) = (-3.0, drive);
            let finished = passages.advance(reference, &trace, &now, &VAGUE);
            facts = facts.or(finished.filter(|f| f.corner == 1));
            time_us += (1e6 / speed_mps) as u64;
            if metre < 330 {
                lost_s += 1.0 / speed_mps - 0.04;
            }
            speed_mps -= loses_mps(metre, speed_mps);
        }
    });
    (facts, lost_s)
}

/// A lift that begins on one corner's road and ends on the way to the next one's braking, 30 m
/// behind its begin: all it costs until there is the first corner's.
#[test]
fn a_lift_across_the_begin_of_the_next_corner_is_of_the_corner_before() {
    let (facts, lost_s) = driven_on(292..312, |metre, speed_mps| {
        if (292..312).contains(&metre) {
            3.0 / speed_mps
        } else {
            0.0
        }
    });
    let facts = facts.expect("the first corner's");
    let (exit_s, lift) = (facts.loss_exit_s.expect("known"), facts.lift_s);
    assert!(lost_s > 0.07, "{lost_s}");
    assert!(
        (exit_s.value - lost_s).abs() < 0.005,
        "{exit_s:?}, {lost_s}"
    );
    assert_eq!(facts.lifts, 1);
    assert!(lift.is_some_and(|l| l.value > 0.5 * lost_s), "{lift:?}");
}

/// Off the throttle for 0.2 s, losing so much speed a second, then a foot that comes down slowly,
/// losing so much over 15 m: the lifts that are counted.
fn lifts_of(off_mps2: f32, slow_mps: f32) -> Option<u8> {
    let (facts, _) = driven_on(235..240, |metre, speed_mps| match metre {
        235..240 => off_mps2 / speed_mps,
        240..255 => slow_mps / 15.0,
        _ => 0.0,
    });
    facts.map(|f| f.lifts)
}

#[test]
fn a_change_of_gear_while_the_foot_comes_down_slowly_is_no_lift() {
    assert_eq!(lifts_of(3.0, 0.8), Some(0));
    assert_eq!(lifts_of(3.0, 0.0), Some(0));
    assert_eq!(lifts_of(8.0, 0.0), Some(1));
}

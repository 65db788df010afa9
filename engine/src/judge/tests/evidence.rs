//! What bears a cause out, and what explains a difference away.

use super::*;

/// Who stabs and rolls brakes softly in the mean only. What is told has a size that counts.
#[test]
fn a_stab_nearly_early_and_rolling_behind_it_is_not_told_by_its_metres() {
    let stab = |brake_m: f32| {
        told(move |f| {
            f.brake_m = m(brake_m);
            f.mean_decel_mps2 = m(8.0);
            (f.coast_s, f.dip_mps) = (m(0.6), m(2.0));
            lose(f, 0.15, 0.02, 0.0);
        })
    };
    assert_eq!(stab(93.5), Some((Phase::Brake, Advice::Later)));
    assert_eq!(stab(95.5), None);
}

/// A place that was dated wrong leaves no trace in the speed, and costs little.
#[test]
fn what_does_not_show_in_the_speed_is_not_told() {
    let short = |dip_mps: f32, slowest_mps: f32, middle_s: f32| {
        told(move |f| {
            (f.trail_m, f.release_m) = (m(12.0), m(182.0));
            (f.dip_mps, f.slowest_mps) = (m(dip_mps), m(slowest_mps));
            lose(f, 0.0, middle_s, 0.02);
        })
    };
    let longer = Some((Phase::Trail, Advice::Longer));
    assert_eq!(short(0.3, 25.0, 0.12), None);
    assert_eq!(short(1.5, 25.0, 0.12), longer);
    assert_eq!(short(0.3, 24.2, 0.12), longer);
    assert_eq!(short(0.3, 25.0, 0.25), longer);
}

/// Only an early brake loses so much on the way in, however little its place is known.
#[test]
fn much_lost_on_the_way_in_is_an_early_brake() {
    let early = |brake_m: f32, brake_mps: f32, entry_s: f32| {
        told(move |f| {
            f.brake_m = Some(Measured::new(brake_m, 2.0));
            f.brake_mps = m(brake_mps);
            f.slowest_mps = m(26.0);
            lose(f, entry_s, 0.0, 0.0);
        })
    };
    let later = Some((Phase::Brake, Advice::Later));
    assert_eq!(early(96.0, 60.0, 0.22), later);
    // Rolled to it; hardly early; half as much.
    assert_eq!(early(96.0, 23.0, 0.22), None);
    assert_eq!(early(98.0, 60.0, 0.22), None);
    assert_eq!(early(96.0, 60.0, 0.08), None);
}

/// Let go much sooner and braked a little sooner: the trail is the cause, unless the braking is far
/// too early by itself.
#[test]
fn a_braking_a_little_early_is_not_why_it_was_let_go_far_sooner() {
    let cut = |brake_m: f32, release_m: f32| {
        told(move |f| {
            (f.brake_m, f.release_m) = (m(brake_m), m(release_m));
            (f.trail_m, f.coast_s, f.dip_mps) = (m(release_m - 170.0), m(0.8), m(2.0));
            lose(f, 0.12, 0.02, 0.0);
        })
    };
    assert_eq!(cut(91.0, 174.0), Some((Phase::Trail, Advice::Longer)));
    assert_eq!(cut(91.0, 180.0), Some((Phase::Brake, Advice::Later)));
    assert_eq!(cut(83.0, 157.0), Some((Phase::Brake, Advice::Later)));
}

/// Who comes slower to the same place has less to slow down for: that is no soft braking.
#[test]
fn soft_for_having_rolled_to_the_same_brake_point_is_not_brake_harder() {
    let came = |brake_mps: f32| {
        told(move |f| {
            f.brake_mps = m(brake_mps);
            f.mean_decel_mps2 = m(8.0);
            f.peak_decel_mps2 = m(9.5);
            lose(f, 0.15, 0.02, 0.0);
        })
    };
    assert_eq!(came(25.0), Some((Phase::Brake, Advice::Harder)));
    assert_eq!(came(22.0), None);
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
fn a_late_throttle_that_cost_nothing_was_a_part_throttle_unseen() {
    let late = |loss_s: f32| {
        told(|f| {
            f.throttle_m = m(255.0);
            f.slowest_mps = m(21.0);
            f.slowed_mps = m(21.0);
            f.exit_mps = m(32.0);
            f.slowest_m = m(250.0);
            f.coast_s = m(2.4);
            lose(f, 0.0, 0.0, loss_s);
        })
    };
    // 50 m at 21 instead of 25 m/s take 0.38 s longer.
    assert_ne!(late(0.15), Some((Phase::Throttle, Advice::Sooner)));
    assert_ne!(late(0.15), late(0.35));
}

#[test]
fn who_comes_slower_may_brake_later() {
    let deep = |speed_mps: f32| {
        told(|f| {
            f.brake_m = m(112.0);
            f.brake_mps = m(speed_mps);
            f.throttle_m = m(216.0);
            lose(f, 0.02, 0.1, 0.2);
        })
    };
    assert_eq!(deep(60.0), Some((Phase::Brake, Advice::Sooner)));
    // (60² - 58.8²) / (2 · 6 m/s²) = 11.9 m are spared.
    assert_ne!(deep(58.8), Some((Phase::Brake, Advice::Sooner)));
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

//! What is told of a corner that lost time, and why.

use super::*;

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

/// Who brakes later and loses time on the way in all the same had lifted before it.
#[test]
fn a_lift_before_a_late_brake_is_throttle_steady() {
    let late = |lost_s: f32| {
        told(move |f| {
            f.brake_m = m(115.0);
            lose(f, lost_s, 0.0, 0.0);
        })
    };
    assert_eq!(late(0.15), Some((Phase::Throttle, Advice::Steady)));
    assert_eq!(late(0.02), None);
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
        (f.trail_m, f.release_m, f.dip_mps) = (m(38.0), m(208.0), m(1.5));
        lose(f, 0.0, 0.15, 0.02);
    });
    let short = told(|f| {
        (f.trail_m, f.release_m, f.dip_mps) = (m(12.0), m(182.0), m(1.5));
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
        (f.throttle_m, f.dip_mps) = (m(214.0), m(2.0));
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
        f.dip_mps = m(2.0);
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
fn let_go_far_sooner_than_taken_sooner_is_trail_longer() {
    let let_go = |release_m: f32| {
        told(|f| {
            f.brake_m = m(91.0);
            f.release_m = m(release_m);
            (f.coast_s, f.dip_mps) = (m(0.7), m(2.0));
            lose(f, 0.1, 0.01, 0.02);
        })
    };
    assert_eq!(let_go(169.0), Some((Phase::Trail, Advice::Longer)));
    // All of the braking moved.
    assert_eq!(let_go(184.0), Some((Phase::Brake, Advice::Later)));
}

/// The end of a soft braking is seen badly: it has to have moved with the onset to be a stab.
#[test]
fn early_and_soft_is_brake_harder_though_it_seems_to_end_a_little_sooner() {
    let soft = |release_m: f32| {
        told(|f| {
            f.brake_m = m(68.0);
            f.mean_decel_mps2 = m(7.3);
            f.peak_decel_mps2 = m(9.0);
            f.release_m = m(release_m);
            (f.coast_s, f.dip_mps) = (m(0.56), m(2.0));
            lose(f, 0.12, 0.0, 0.0);
        })
    };
    assert_eq!(soft(184.0), Some((Phase::Brake, Advice::Harder)));
    assert_eq!(soft(170.0), Some((Phase::Brake, Advice::Later)));
}

#[test]
fn on_the_throttle_so_soon_that_it_cannot_be_held_down_is_throttle_later() {
    let cue = told(|f| {
        f.release_m = m(180.0);
        f.mean_decel_mps2 = m(12.5);
        f.throttle_m = m(185.0);
        f.missing_m = m(18.0);
        f.exit_mps = m(31.0);
        lose(f, 0.1, -0.08, 0.3);
    });
    assert_eq!(cue, Some((Phase::Throttle, Advice::Later)));
    // Nor is it braking too hard where most was lost at the entry: nothing there says so.
    let cue = told(|f| {
        f.release_m = m(180.0);
        f.mean_decel_mps2 = m(12.5);
        f.throttle_m = m(185.0);
        f.missing_m = m(11.0);
        lose(f, 0.13, -0.05, 0.08);
    });
    assert_eq!(cue, Some((Phase::Throttle, Advice::Later)));
}

#[test]
fn slow_out_for_no_other_reason_is_throttle_fuller() {
    let out = |missing_m: f32, exit_mps: f32| {
        told(|f| {
            f.missing_m = m(missing_m);
            f.exit_mps = m(exit_mps);
            lose(f, 0.0, 0.0, 0.1);
        })
    };
    assert_eq!(out(2.3, 32.4), Some((Phase::Throttle, Advice::Fuller)));
    assert_eq!(out(0.5, 32.4), None);
    assert_eq!(out(2.3, 33.8), None);
}

#[test]
fn a_line_too_tight_is_told_by_what_it_costs_at_the_exit() {
    let tight = |offset_m: f32| {
        told(|f| {
            f.offset_slowest_m = m(offset_m);
            f.slowest_mps = m(23.7);
            f.slowed_mps = m(23.7);
            lose(f, 0.03, -0.02, 0.14);
        })
    };
    assert_eq!(tight(5.0), Some((Phase::Rotation, Advice::Wider)));
    assert_eq!(tight(0.5), Some((Phase::Rotation, Advice::Faster)));
}

/// Road is left over by who lifts, too, and a receiver's offset wanders: the lift is the cause.
#[test]
fn a_lift_on_the_way_out_comes_before_the_road_left_over() {
    let out = |lift_s: f32| {
        told(|f| {
            f.offset_exit_m = m(2.9);
            f.lifts = 1;
            f.lift_s = m(lift_s);
            f.exit_mps = m(31.0);
            lose(f, 0.04, -0.03, 0.49);
        })
    };
    assert_eq!(out(0.2), Some((Phase::Throttle, Advice::Steady)));
    assert_eq!(out(0.0), Some((Phase::Throttle, Advice::MoreRoad)));
}

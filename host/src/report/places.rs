//! Where something is beside the road, in words a driver can see: the only owner of them.

use super::units::Units;
use cuepost_engine::{Corner, CornerKind, ReferenceView};

/// A landmark farther away than this says nothing about a place, metres.
const LANDMARK_REACH_M: f32 = 60.0;
/// Nearer than this one is at the landmark, metres.
const LANDMARK_AT_M: f32 = 1.0;

/// A place by the nearest landmark: `6 m past the second board`; `None` when there is none near.
pub fn near(reference: &ReferenceView<'_>, progress_m: f32, units: Units) -> Option<String> {
    let (past_m, landmark) = reference
        .landmarks
        .iter()
        .map(|l| (reference.ahead_m(l.progress_m, progress_m), l))
        .filter(|(d, l)| d.abs() <= LANDMARK_REACH_M && !l.name.is_empty())
        .min_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))?;
    let name = called(&landmark.name);
    let distance = units.length(f64::from(past_m.abs()));
    Some(if past_m.abs() < LANDMARK_AT_M {
        format!("at {name}")
    } else if past_m > 0.0 {
        format!("{distance} past {name}")
    } else {
        format!("{distance} before {name}")
    })
}

/// A landmark's name within a sentence: `the second board`; no second article for `the old oak`,
/// and none for what has a number, `marshal post 9`.
fn called(name: &str) -> String {
    let has_article = ["the ", "a ", "an "]
        .iter()
        .any(|a| name.to_lowercase().starts_with(a));
    let numbered = name.ends_with(|c: char| c.is_ascii_digit());
    if has_article || numbered {
        name.to_owned()
    } else {
        format!("the {name}")
    }
}

/// A place of a corner: by a landmark, or by the corner's own bend where none is near.
pub fn of_corner(
    reference: &ReferenceView<'_>,
    corner: &Corner,
    progress_m: f32,
    units: Units,
) -> String {
    near(reference, progress_m, units)
        .unwrap_or_else(|| by_bend(reference, corner, progress_m, units))
}

/// A place by the corner's bend: `12 m before the bend begins`.
pub fn by_bend(
    reference: &ReferenceView<'_>,
    corner: &Corner,
    progress_m: f32,
    units: Units,
) -> String {
    let past_m = reference.ahead_m(corner.turn_m, progress_m);
    let to_exit_m = reference.ahead_m(progress_m, corner.exit_m);
    let distance = |m: f32| units.length(f64::from(m.abs()));
    if past_m.abs() < LANDMARK_AT_M {
        "where the bend begins".to_owned()
    } else if past_m < 0.0 {
        format!("{} before the bend begins", distance(past_m))
    } else if to_exit_m.abs() < LANDMARK_AT_M {
        "where the bend ends".to_owned()
    } else if to_exit_m < 0.0 {
        format!("{} after the bend has ended", distance(to_exit_m))
    } else if to_exit_m < past_m {
        format!("{} before the bend ends", distance(to_exit_m))
    } else {
        format!("{} after the bend begins", distance(past_m))
    }
}

/// The side of the road something stands on.
pub const fn side(side: i8) -> &'static str {
    match side {
        1 => "left",
        -1 => "right",
        _ => "across",
    }
}

/// From a corner's full throttle (its exit where that is not known) to the next braking or lift,
/// metres. Corners taken flat belong to the straight.
pub fn straight_m(reference: &ReferenceView<'_>, index: usize) -> f32 {
    let count = reference.corners.len();
    let Some(own) = reference.corners.get(index) else {
        return 0.0;
    };
    let from_m = own.facts.full_m.map_or(own.exit_m, |m| m.value);
    let next = (1..=count)
        .filter_map(|k| reference.corners.get((index + k) % count))
        .find(|c| c.kind != CornerKind::Flat);
    next.map_or(0.0, |next| {
        let to_m = next.facts.brake_m.map_or(next.turn_m, |m| m.value);
        reference.wrap_m(to_m - from_m)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::test_reference::with_reference;

    #[test]
    fn a_place_is_told_by_the_nearest_landmark() {
        with_reference(|r| {
            let at = |m| near(r, m, Units::Metric);
            assert_eq!(at(394.5).as_deref(), Some("at the second board"));
            assert_eq!(at(400.0).as_deref(), Some("6 m past the second board"));
            assert_eq!(at(384.0).as_deref(), Some("10 m before the second board"));
            assert_eq!(at(600.0), None);
        });
    }

    #[test]
    fn landmarks_are_found_across_the_start_line() {
        with_reference(|r| {
            // The bridge stands at 990 m of a 1000 m lap.
            let place = near(r, 4.0, Units::Metric);
            assert_eq!(place.as_deref(), Some("14 m past the bridge"));
        });
    }

    #[test]
    fn without_a_landmark_the_bend_itself_says_where() {
        with_reference(|r| {
            let corner = Corner {
                turn_m: 700.0,
                exit_m: 800.0,
                ..Corner::default()
            };
            for (at, words) in [
                (660.0, "40 m before the bend begins"),
                (700.4, "where the bend begins"),
                (720.0, "20 m after the bend begins"),
                (785.0, "15 m before the bend ends"),
                (812.0, "12 m after the bend has ended"),
            ] {
                assert_eq!(by_bend(r, &corner, at, Units::Metric), words);
            }
        });
    }

    #[test]
    fn an_article_is_not_said_twice() {
        assert_eq!(called("the old oak"), "the old oak");
        assert_eq!(called("second board"), "the second board");
        assert_eq!(called("antenna"), "the antenna");
        assert_eq!(called("marshal post 9"), "marshal post 9");
        assert_eq!(called("100 board"), "the 100 board");
    }
}

//! The driver's own best parts put together: a bound that nobody drove.

use super::findings::CornerFinding;
use cuepost_engine::{LapEvent, ReferenceView};

/// What the best parts would add up to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Composite {
    /// The best entry, middle and exit of every corner, seconds a lap. No lap can be driven so:
    /// a fast entry is often paid for in the middle.
    pub parts_s: f64,
    /// The best passage of every corner, seconds a lap. Nearer to what can be driven.
    pub corners_s: f64,
    /// The best whole lap, seconds, where there is one.
    pub best_lap_s: Option<f64>,
}

/// Adds up the best; `None` unless every corner was measured at least once.
pub fn composite(
    reference: &ReferenceView<'_>,
    corners: &[CornerFinding],
    laps: &[LapEvent],
) -> Option<Composite> {
    let lap_s = reference.session.lap_time_us as f64 * 1e-6;
    if lap_s <= 0.0 || corners.is_empty() {
        return None;
    }
    let (mut parts_s, mut corners_s) = (lap_s, lap_s);
    for corner in corners {
        parts_s += corner.best_s?.iter().map(|s| f64::from(*s)).sum::<f64>();
        corners_s += f64::from(corner.best_whole_s?);
    }
    let whole = laps.iter().filter(|l| l.valid).map(|l| l.time_us).min();
    Some(Composite {
        parts_s,
        corners_s,
        best_lap_s: whole.map(|us| us as f64 * 1e-6),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::test_reference::with_reference;

    fn corner(best_s: Option<[f32; 3]>, whole_s: f32) -> CornerFinding {
        CornerFinding {
            corner: 1,
            measured: 1,
            counted: 1,
            passages: 1,
            lost_s: [0.0; 4],
            best_s,
            best_whole_s: Some(whole_s),
            worst_lap: None,
            straight_m: 0.0,
            habits: Vec::new(),
            spreads: Vec::new(),
        }
    }

    #[test]
    fn it_adds_up_and_needs_every_corner() {
        with_reference(|r| {
            let mut session = r.session.clone();
            session.lap_time_us = 80_000_000;
            let r = ReferenceView {
                session: &session,
                ..*r
            };
            let lap = |time_us, valid| LapEvent {
                lap: 1,
                time_us,
                end_us: 0,
                valid,
                gap_s: None,
            };
            let corners = [
                corner(Some([0.125, -0.25, 0.5]), 0.5),
                corner(Some([0.0, 0.25, 0.0]), 0.25),
            ];
            let laps = [lap(79_000_000, false), lap(81_500_000, true)];
            let c = composite(&r, &corners, &laps).unwrap();
            assert_eq!((c.parts_s, c.corners_s), (80.625, 80.75));
            assert_eq!(c.best_lap_s, Some(81.5));
            let corners = [corners[0].clone(), corner(None, 0.0)];
            assert_eq!(composite(&r, &corners, &laps), None);
        });
    }
}

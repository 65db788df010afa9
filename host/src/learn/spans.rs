//! The road of each corner and the places on it: where it begins, turns, is slowest, ends.

use super::corners::Found;
use super::curves::Curves;
use super::round::Round;
use cuepost_engine::{Corner, CornerKind};

/// A corner's road reaches at least this far before its braking: earlier braking is still its own.
const REACH_M: f64 = 90.0;
/// And at least this long.
const REACH_S: f64 = 1.5;
/// The same before the turn-in of a corner without braking.
const REACH_FLAT_S: f64 = 1.5;
/// Where a corner follows the one before at once, its own road begins this far before its braking.
const ROOM_M: f64 = 45.0;
/// Or with this share of the road since the throttle was taken up, when that is less.
const ROOM_SHARE: f64 = 0.6;
/// A middle lasts at least this long to either side of the slowest point, seconds.
pub const MIDDLE_S: f64 = 0.3;
/// Lays the spans of the corners end to end around the lap.
pub fn spans(round: &Round, curves: &Curves, found: &[Found]) -> Vec<Corner> {
    let n = found.len();
    let pieces: Vec<Piece> = (0..n)
        .map(|k| {
            let to = found.get(k + 1).map_or(round.entries() - 1, |c| c.onset);
            Piece::new(round, curves, &found[k], to)
        })
        .collect();
    let begins: Vec<f64> = (0..n)
        .map(|k| {
            let lap = if k == 0 { round.length_m } else { 0.0 };
            let before = &pieces[(k + n - 1) % n];
            begin_m(round, &found[k], before, lap)
        })
        .collect();
    (0..n)
        .map(|k| {
            let (c, piece) = (&found[k], &pieces[k]);
            let lap = if k + 1 == n { round.length_m } else { 0.0 };
            let begin = begins[k];
            let mut corner = Corner {
                kind: c.kind,
                begin_m: round.progress_m(begin),
                turn: round.turn(c),
                gear: round.gear.as_ref().map(|g| g[c.apex]),
                ..Corner::default()
            };
            let turn_m = c.bend.map_or(piece.apex_m, |b| round.at_m(b.begin));
            let places = Places {
                turn_m: turn_m.min(piece.apex_m) - begin,
                middle_begin_m: piece.middle_begin_m - begin,
                apex_m: piece.apex_m - begin,
                middle_end_m: piece.middle_end_m - begin,
                exit_m: piece.exit_m - begin,
            };
            places
                .in_order(begins[(k + 1) % n] + lap - begin)
                .store(&mut corner, round.length_m);
            corner
        })
        .collect()
}

/// Progress within a lap, in single precision: what would round up to the lap's length is 0.
pub fn on_lap_m(progress_m: f64, length_m: f64) -> f32 {
    let s = progress_m.rem_euclid(length_m);
    if s < length_m - 2e-3 { s as f32 } else { 0.0 }
}

/// The places of a corner as distances from its begin, metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Places {
    /// The bend begins.
    pub turn_m: f64,
    /// The middle begins.
    pub middle_begin_m: f64,
    /// The slowest or tightest point.
    pub apex_m: f64,
    /// The middle ends.
    pub middle_end_m: f64,
    /// The bend ends.
    pub exit_m: f64,
}

impl Places {
    /// The places in driving order within a span, whatever they were.
    pub fn in_order(self, span_m: f64) -> Self {
        // A metre of its own for each part, as far as there is room.
        let least = (0.1 * span_m).min(1.0);
        let apex_m = self.apex_m.clamp(2.0 * least, span_m - 3.0 * least);
        let middle_end_m = self.middle_end_m.clamp(apex_m, span_m - 2.0 * least);
        let exit_m = self.exit_m.clamp(middle_end_m, span_m - least);
        Self {
            turn_m: self.turn_m.clamp(0.0, exit_m),
            middle_begin_m: self.middle_begin_m.clamp(least, apex_m),
            apex_m,
            middle_end_m,
            exit_m,
        }
    }

    /// Puts the places into a corner whose begin is known.
    pub fn store(&self, corner: &mut Corner, length_m: f64) {
        let begin = f64::from(corner.begin_m);
        let at = |m: f64| on_lap_m(begin + m, length_m);
        corner.turn_m = at(self.turn_m);
        corner.middle_begin_m = at(self.middle_begin_m);
        corner.apex_m = at(self.apex_m);
        corner.middle_end_m = at(self.middle_end_m);
        corner.exit_m = at(self.exit_m);
    }
}

/// Where a corner's road begins: far enough before its braking for one that is much too early, but
/// behind the corner before. `lap` is what to take off the places of the corner before.
fn begin_m(round: &Round, c: &Found, before: &Piece, lap: f64) -> f64 {
    let v = round.speed[c.onset];
    let reach = match c.kind {
        CornerKind::Braked => REACH_M.max(REACH_S * v),
        CornerKind::Lifted => REACH_S * v,
        CornerKind::Flat => REACH_FLAT_S * v,
    };
    let onset = round.at_m(c.onset);
    let clear = before.exit_m.max(before.full_m) + 10.0 - lap;
    // Where corners follow at once the road between them is shared.
    let room = onset - (before.middle_end_m - lap);
    (onset - reach)
        .max(clear)
        .min(onset - (ROOM_SHARE * room).min(ROOM_M))
}

/// Places of a corner, metres of the round.
struct Piece {
    middle_begin_m: f64,
    apex_m: f64,
    middle_end_m: f64,
    exit_m: f64,
    /// Where full throttle is reached.
    full_m: f64,
}

impl Piece {
    /// `to` is where the next corner's slowing down begins.
    fn new(round: &Round, curves: &Curves, c: &Found, to: usize) -> Self {
        // Where the next braking follows without any drive, the slowest point is not on the way
        // out but at that braking: the first third of the road between stands for it.
        let chained = round.speed[to] < round.speed[c.apex] + 0.5;
        let apex = if chained && c.kind == CornerKind::Braked {
            c.apex.min(c.release + to.saturating_sub(c.release) / 3)
        } else {
            c.apex
        };
        let t = round.time[apex];
        let before = round.time.partition_point(|x| *x < t - MIDDLE_S);
        let behind = round.time.partition_point(|x| *x < t + MIDDLE_S);
        let drive = |share: f64| {
            (apex..to).find(|&i| {
                let full = Curves::at(&curves.full, round.speed[i]);
                round.accel[i] > share * full.max(0.5)
            })
        };
        let flat = c.kind == CornerKind::Flat;
        let middle_end = match drive(0.35) {
            Some(i) if !flat => i.max(behind),
            _ => behind,
        };
        let latest = if chained {
            apex + to.saturating_sub(apex) / 4
        } else {
            (apex + to) / 2 + 1
        };
        let middle_end = middle_end.min(latest).max(apex);
        let release = if c.kind == CornerKind::Braked {
            c.release.min(before)
        } else {
            before
        };
        let full = drive(0.8).unwrap_or(middle_end);
        let bend_end = c.bend.map_or(middle_end, |b| b.end);
        Self {
            middle_begin_m: round.at_m(release.min(apex)),
            apex_m: round.at_m(apex),
            middle_end_m: round.at_m(middle_end),
            exit_m: round.at_m(bend_end.max(middle_end)),
            full_m: if flat { 0.0 } else { round.at_m(full) },
        }
    }
}

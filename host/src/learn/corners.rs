//! Finds the corners of a lap: where it was braked, lifted or driven flat through a bend.

use super::bends::{Bend, bends};
use super::curves::Curves;
use super::profile::Profile;
use super::round::Round;
use cuepost_engine::{Corner, CornerKind};

/// Less loss of speed than this is no corner of its own, m/s.
pub const DROP_MPS: f64 = 2.5;
/// A rise of speed that ends a slow point, m/s.
const RISE_MPS: f64 = 1.5;
/// Brakings closer than this are one, seconds.
const JOIN_S: f64 = 0.6;
/// Slowing down beyond coasting by this share of the car's braking is braking.
const BRAKE_SHARE: f64 = 0.15;
/// And this share must be reached for it not to be a lift.
const BRAKE_SURE: f64 = 0.3;
/// The share of the lateral acceleration that slows a car at its limit: the sine of a slip angle
/// of some ten degrees (common practice, no source).
const SCRUB_SHARE: f64 = 0.2;
/// Brake pedal that counts as on, where the source has it.
const PEDAL_ON: f64 = 0.05;
/// Brake pedal that must be reached for a braking.
const PEDAL_SURE: f64 = 0.15;
/// A corner's road reaches at least this far before its braking: earlier braking is still its own.
const REACH_M: f64 = 90.0;
/// And at least this long.
const REACH_S: f64 = 1.5;
/// The same before the turn-in of a corner without braking.
const REACH_FLAT_S: f64 = 0.8;
/// A middle lasts at least this long to either side of the slowest point, seconds.
pub const MIDDLE_S: f64 = 0.3;
/// Road belongs to a slow corner's bend when it is this share as tight as its tightest place.
const BEND_SHARE: f64 = 0.25;
/// Two tight places this close belong to one bend, seconds.
const DOUBLE_S: f64 = 0.8;
/// A bend taken flat counts when its load is this share of the car's grip at least.
const FLAT_LOAD: f64 = 0.4;
/// A bend taken flat counts when it turns at least this much, degrees.
const FLAT_TURN_DEG: f64 = 15.0;

/// A corner under construction, in entries of the [`Round`].
#[derive(Clone, Copy, Debug)]
pub struct Found {
    /// Braked, lifted or flat.
    pub kind: CornerKind,
    /// Where the speed begins to fall; of a flat corner where the bend begins.
    pub onset: usize,
    /// Where the braking ends; of other corners the onset.
    pub release: usize,
    /// Slowest or tightest entry.
    pub apex: usize,
    /// Its bend, when there is one.
    pub bend: Option<Bend>,
}

/// The corners of a lap in the order met after the start line.
pub fn corners(lap: &Profile, curves: &Curves) -> Vec<Corner> {
    let round = Round::new(lap, curves);
    let bends = bends(&round, curves);
    let mut found = braked(&round, curves);
    lifted(&round, curves, &mut found);
    found.sort_by_key(|c| c.apex);
    for k in 0..found.len() {
        let from = if k == 0 { 0 } else { found[k - 1].apex };
        let to = found.get(k + 1).map_or(round.entries(), |c| c.onset);
        found[k].bend = own_bend(&round, from, &found[k], to);
    }
    flat(&round, &bends, &mut found);
    found.sort_by_key(|c| c.apex);
    let mut corners = spans(&round, curves, &found);
    corners.sort_by(|a, b| a.apex_m.total_cmp(&b.apex_m));
    corners
}

/// How far beyond coasting the car slows down at an entry, as a share of the braking it can do.
///
/// Tyres at a slip angle slow the car as well: a share of the lateral load is not braking.
fn beyond_coasting(round: &Round, curves: &Curves, i: usize) -> f64 {
    let v = round.speed[i];
    let coast = Curves::at(&curves.coast, v) - SCRUB_SHARE * round.lateral(i).abs();
    (coast - round.accel[i]) / Curves::at(&curves.brake, v).max(1.0)
}

/// Whether the car brakes at an entry, and whether so hard that it is no mere touch.
fn braking(round: &Round, curves: &Curves, i: usize) -> (bool, bool) {
    match &round.brake {
        Some(brake) => (brake[i] > PEDAL_ON, brake[i] > PEDAL_SURE),
        None => {
            let beyond = beyond_coasting(round, curves, i);
            (beyond > BRAKE_SHARE, beyond > BRAKE_SURE)
        }
    }
}

fn braked(round: &Round, curves: &Curves) -> Vec<Found> {
    let n = round.entries();
    let mut zones: Vec<Zone> = Vec::new();
    for i in 0..n {
        let (on, sure) = braking(round, curves, i);
        if !on {
            continue;
        }
        match zones.last_mut() {
            Some(z) if round.time[i] - round.time[z.end] < JOIN_S => {
                z.end = i;
                z.sure |= sure;
            }
            _ => zones.push(Zone {
                begin: i,
                end: i,
                sure,
            }),
        }
    }
    zones.retain(|z| z.sure);
    let mut found: Vec<Found> = Vec::new();
    for (k, zone) in zones.iter().enumerate() {
        let until = zones.get(k + 1).map_or(n, |z| z.begin);
        let before = k.checked_sub(1).map_or(0, |k| zones[k].end + 1);
        let apex = slowest(round, zone.begin, zone.end, until);
        if round.speed[zone.begin] - round.speed[apex] < DROP_MPS {
            continue;
        }
        found.push(Found {
            kind: CornerKind::Braked,
            onset: onset(round, curves, zone.begin, before),
            release: zone.end.min(apex),
            apex,
            bend: None,
        });
    }
    found
}

/// Braking without a longer break.
struct Zone {
    begin: usize,
    end: usize,
    sure: bool,
}

/// The first slow point behind a braking: the lowest speed until it has risen again.
fn slowest(round: &Round, begin: usize, end: usize, until: usize) -> usize {
    let mut low = begin;
    for i in begin..until {
        if round.speed[i] <= round.speed[low] {
            low = i;
        } else if i > end && round.speed[i] > round.speed[low] + RISE_MPS {
            break;
        }
    }
    low
}

/// Where the deceleration that reaches the threshold at `begin` set in: back to where the car
/// coasts or drives, not into the braking before.
fn onset(round: &Round, curves: &Curves, begin: usize, least: usize) -> usize {
    let mut i = begin;
    while i > least
        && round.accel[i - 1] < Curves::at(&curves.coast, round.speed[i - 1])
        && round.time[begin] - round.time[i - 1] < 0.4
    {
        i -= 1;
    }
    i
}

/// Speed minima between brakings whose loss of speed is a corner's.
fn lifted(round: &Round, curves: &Curves, found: &mut Vec<Found>) {
    let mut gaps: Vec<(usize, usize)> = Vec::new();
    let mut from = 0;
    for c in found.iter() {
        gaps.push((from, c.onset));
        from = c.apex;
    }
    gaps.push((from, round.entries()));
    for (from, to) in gaps {
        let (mut high, mut low) = (from, from);
        for i in from..to {
            let v = round.speed[i];
            if v < round.speed[low] {
                low = i;
            }
            let risen = v > round.speed[low] + RISE_MPS;
            if round.speed[high] - round.speed[low] >= DROP_MPS && risen {
                found.push(lift(round, curves, high, low));
                (high, low) = (i, i);
            } else if v >= round.speed[high] || risen && v > round.speed[high] - DROP_MPS {
                // A new peak, or a dip too small to count.
                if v >= round.speed[high] {
                    (high, low) = (i, i);
                }
            }
        }
    }
}

fn lift(round: &Round, curves: &Curves, high: usize, apex: usize) -> Found {
    // From the peak on, the lift begins where the drive has half gone.
    let half = |i: usize| {
        let v = round.speed[i];
        0.5 * (Curves::at(&curves.full, v) + Curves::at(&curves.coast, v))
    };
    let onset = (high..apex)
        .find(|&i| round.accel[i] < half(i))
        .unwrap_or(high);
    Found {
        kind: CornerKind::Lifted,
        onset,
        release: onset,
        apex,
        bend: None,
    }
}

/// The bend of a slow point: the road around it that is at least a share as tight as the tightest
/// place near it, to the same side. A short straighter piece in it (a double apex) is part of it.
fn own_bend(round: &Round, from: usize, corner: &Found, to: usize) -> Option<Bend> {
    let t = round.time[corner.apex];
    let near = |i: usize| (round.time[i] - t).abs() < 1.5;
    let peak = (from.max(corner.onset)..to)
        .filter(|&i| near(i) || i <= corner.apex && i >= corner.release)
        .max_by(|&i, &j| {
            round.curvature[i]
                .abs()
                .total_cmp(&round.curvature[j].abs())
        })?;
    let tightest = round.curvature[peak];
    let share = |i: usize| round.curvature[i] / tightest;
    let walk = |ahead: bool| {
        let mut last = peak;
        let mut i = peak;
        while i > from && i + 1 < to && (round.time[i] - round.time[last]).abs() < DOUBLE_S {
            i = if ahead { i + 1 } else { i - 1 };
            // Across a straighter piece it must become a bend again, not only bend a little.
            let needed = if i.abs_diff(last) > 1 {
                2.0 * BEND_SHARE
            } else {
                BEND_SHARE
            };
            if share(i) >= needed {
                last = i;
            }
        }
        last
    };
    let (begin, end) = (walk(false), walk(true));
    Some(Bend {
        begin,
        end,
        peak,
        load: 0.0,
        turned_deg: round.turned_deg(begin, end),
    })
}

/// Bends that no slow point belongs to.
fn flat(round: &Round, bends: &[Bend], found: &mut Vec<Found>) {
    let slow = found.clone();
    let counts = |b: &&Bend| b.turned_deg.abs() >= FLAT_TURN_DEG && b.load >= FLAT_LOAD;
    let mut last: Option<Bend> = None;
    for bend in bends.iter().filter(|b| counts(b)) {
        let owned = slow.iter().any(|c| {
            let (from, to) = match c.bend {
                Some(own) => (c.onset.min(own.begin), c.apex.max(own.end)),
                None => (c.onset, c.apex),
            };
            // Bends that follow a slow corner at once are its way out, those before its way in.
            let before = round.time[bend.begin] - round.time[to];
            let behind = round.time[from] - round.time[bend.end];
            before < 1.0 && behind < 0.3
        });
        if owned {
            continue;
        }
        // Flat bends that follow one another at once are one corner.
        if let (Some(before), Some(corner)) = (last, found.last_mut())
            && corner.kind == CornerKind::Flat
            && round.time[bend.begin] - round.time[before.end] < 1.0
        {
            let whole = corner.bend.map_or(*bend, |b| b.joined(bend));
            if bend.load > before.load {
                corner.apex = bend.peak;
            }
            corner.bend = Some(whole);
            last = Some(whole);
            continue;
        }
        last = Some(*bend);
        found.push(Found {
            kind: CornerKind::Flat,
            onset: bend.begin,
            release: bend.begin,
            apex: bend.peak,
            bend: Some(*bend),
        });
    }
}

/// Lays the spans of the corners end to end around the lap.
fn spans(round: &Round, curves: &Curves, found: &[Found]) -> Vec<Corner> {
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
        let at = |m: f64| {
            let s = (begin + m).rem_euclid(length_m) as f32;
            // The last step before the line may round up to it.
            if f64::from(s) < length_m { s } else { 0.0 }
        };
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
        .min(onset - (0.5 * room).min(20.0))
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
        // out but at that braking: the middle of the road between stands for it.
        let chained = round.speed[to] < round.speed[c.apex] + 0.5;
        let apex = if chained && c.kind == CornerKind::Braked {
            c.apex.min((c.release + to) / 2)
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
        }
        .min((apex + to) / 2 + 1)
        .max(apex);
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

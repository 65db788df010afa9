//! Finds the corners of a lap: where it was braked, lifted or driven flat through a bend.

use super::bends::{Bend, bends};
use super::curves::Curves;
use super::profile::Profile;
use super::round::Round;
use super::spans::spans;
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
/// Road belongs to a slow corner's bend when it is this share as tight as its tightest place.
const BEND_SHARE: f64 = 0.25;
/// Two tight places this close belong to one bend, seconds.
const DOUBLE_S: f64 = 0.8;
/// A bend taken flat counts when its load is this share of the car's grip at least.
const FLAT_LOAD: f64 = 0.28;
/// And when it ends this long before the next slowing down, else it is that corner's approach:
/// early braking must not seem to be in the bend's own road, seconds.
const BEND_CLEAR_S: f64 = 1.0;
/// A bend taken flat counts when it turns at least this much, degrees.
const FLAT_TURN_DEG: f64 = 11.0;

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
            before < 1.0 && behind < BEND_CLEAR_S
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

//! How one passage of a braking zone really differed from the reference lap.

use super::pedals::{Times, Zone, off_s};
use super::road::{Moment, Trace};
use crate::csv::Table;
use cuepost_engine::reference::{Corner, ReferenceView};

/// The reference lap as its pedals tell it.
pub struct Base {
    /// The recording that holds it.
    pub trace: Trace,
    /// Where the lap begins on it, metres.
    pub begin_m: f64,
    /// Its zones, by number from 1.
    pub zones: Vec<Option<Zone>>,
    /// The engine's corner of each zone.
    pub corners: Vec<Option<usize>>,
}

/// A row of the table of truth, or several that are one passage.
#[derive(Clone, Debug)]
pub struct Row {
    /// Lap.
    pub lap: u32,
    /// Zone, from 1.
    pub zone: usize,
    /// What was ordered.
    pub planned: String,
    /// When.
    pub times: Times,
    /// The table's own differences to the reference lap: brake onset and throttle onset in metres,
    /// slowest speed in m/s.
    pub table: [Option<f64>; 3],
}

/// Live minus reference. Where the table of truth has a figure it counts.
#[derive(Clone, Copy, Debug, Default)]
pub struct Differs {
    /// The table cuts the braking in another way than the pedals do here: its figures are of two
    /// different things.
    pub disputed: bool,
    /// The table's three figures as measured here.
    pub own: [Option<f64>; 3],
    /// Foot off the throttle before the braking, metres later.
    pub off_throttle_m: Option<f64>,
    /// First touch of the brake, metres later.
    pub brake_m: f64,
    /// Release, metres later.
    pub release_m: f64,
    /// Mean deceleration, share of the reference's: 0.2 is a fifth harder.
    pub decel_ratio: f64,
    /// Throttle taken up, metres later.
    pub throttle_m: Option<f64>,
    /// The reference takes it up, and this lap never did before the next braking.
    pub no_throttle: bool,
    /// From there to full throttle, metres longer.
    pub to_full_m: Option<f64>,
    /// Slowest speed, m/s faster.
    pub slowest_mps: f64,
    /// Speed where the reference is slowest or takes up throttle, m/s faster.
    pub slowed_mps: f64,
    /// Speed at the exit, m/s faster.
    pub exit_mps: f64,
    /// Outward at the slowest point, metres.
    pub slowest_out_m: f64,
    /// Outward at the exit, metres.
    pub exit_out_m: f64,
    /// Off the throttle on the way out where the reference drives, seconds, less what the reference
    /// is where this lap drives: a foot that pumps in both laps is no lift.
    pub lift_s: f64,
    /// The same on the way to the brake.
    pub rolled_s: f64,
    /// First touch of the throttle, metres later.
    pub touched_m: Option<f64>,
    /// Without either pedal, seconds longer.
    pub coast_s: f64,
    /// Speed at the corner's begin, share of the reference's.
    pub arrived_ratio: f64,
    /// Lost from the corner's begin to its middle, in it, and from there to the next corner's
    /// begin, seconds. What a car loses between a corner's begin and the first foot off the
    /// throttle there, the reference's or its own, it was slow for before: that is the exit's of
    /// the corner before.
    pub loss_s: [f64; 3],
}

impl Differs {
    /// Lost altogether, seconds.
    pub fn whole_s(&self) -> f64 {
        self.loss_s.iter().sum()
    }
}

/// How long before the brake a lift counts as the approach's, seconds.
const APPROACH_S: f64 = 3.0;

/// The rows of a table of truth that belong to zones of the reference lap, a passage each: what
/// was braked twice for one zone is one passage, and so is a braking without a number shortly
/// before that zone's own.
pub fn rows(table: &Table) -> Vec<Row> {
    const BEFORE_M: f64 = 60.0;
    let number = |i: usize, c: &str| table.number(i, c);
    let mut rows: Vec<Row> = Vec::new();
    let mut begun: Option<(f64, f64)> = None;
    let mut begins: Vec<f64> = Vec::new();
    for i in 0..table.len() {
        let need = |c: &str| number(i, c).unwrap_or(f64::NAN);
        let (on_s, place_m) = (need("t_brake_on"), need("d_brake_on"));
        begins.push(on_s);
        let Some(zone) = number(i, "corner") else {
            begun = Some((on_s, place_m));
            continue;
        };
        let mut row = Row {
            lap: need("lap") as u32,
            zone: zone as usize,
            planned: table.text(i, "planned").unwrap_or("-").to_owned(),
            times: Times {
                on_s,
                off_s: need("t_brake_off"),
                throttle_s: number(i, "t_throttle_on"),
                next_s: f64::MAX,
            },
            table: ["dd_brake_on", "dd_throttle_on", "dvmin"].map(|c| number(i, c)),
        };
        let own_m = place_m - row.table[0].unwrap_or(0.0);
        if let Some((s, m)) = begun
            .take()
            .filter(|b| (0.0..BEFORE_M).contains(&(own_m - b.1)))
        {
            row.times.on_s = s;
            row.table[0] = Some(m - own_m);
        }
        match rows.last_mut() {
            Some(last) if (last.lap, last.zone) == (row.lap, row.zone) => {
                last.times.off_s = row.times.off_s;
                last.times.throttle_s = row.times.throttle_s;
                last.table[1] = row.table[1];
                last.table[2] = [last.table[2], row.table[2]]
                    .into_iter()
                    .flatten()
                    .reduce(f64::min);
            }
            _ => rows.push(row),
        }
    }
    for row in &mut rows {
        let after = begins.iter().find(|s| **s > row.times.off_s);
        row.times.next_s = after.copied().unwrap_or(f64::MAX);
    }
    rows
}

/// Where the road of a corner of the reference lies that a drive passes at a place: its begin, the
/// ends of entry and middle, its exit, and where the next corner's begins.
fn road(reference: &ReferenceView<'_>, corner: &Corner, inside_m: f64) -> Option<[f64; 5]> {
    let length_m = f64::from(reference.length_m());
    let begin_m = inside_m - (inside_m - f64::from(corner.begin_m)).rem_euclid(length_m);
    let ahead = |to_m: f32| begin_m + (f64::from(to_m) - begin_m).rem_euclid(length_m);
    let next = next_corner(reference, corner)?;
    Some([
        begin_m,
        ahead(corner.middle_begin_m),
        ahead(corner.middle_end_m),
        ahead(corner.exit_m),
        ahead(next.begin_m),
    ])
}

/// What a bend without a braking zone of the table lost, seconds, and for how long a pedal was
/// behind the reference's there.
pub fn bend(
    reference: &ReferenceView<'_>,
    base: &Base,
    driven: &Trace,
    corner: &Corner,
    at_s: f64,
) -> Option<(f64, f64)> {
    let places = road(reference, corner, driven.at_time(at_s)?.along_m)?;
    let length_m = driven.length_m;
    let shift_m = ((places[0] - base.begin_m) / length_m).floor() * length_m;
    let there = |m: f64| Some((driven.at_along(m)?, base.trace.at_along(m - shift_m)?));
    let ((a, c), (b, d)) = (there(places[0])?, there(places[4])?);
    let lost_s = (b.time_s - a.time_s) - (d.time_s - c.time_s);
    let behind = |m: &Moment| {
        there(m.along_m)
            .is_some_and(|(_, x)| m.throttle < x.throttle - 0.3 || m.brake > x.brake + 0.1)
    };
    let span = driven.span(a.time_s, b.time_s);
    let behind_s: f64 = span
        .windows(2)
        .filter(|w| behind(&w[1]))
        .map(|w| w[1].time_s - w[0].time_s)
        .sum();
    Some((lost_s, behind_s))
}

/// Measures a passage against the reference lap.
pub fn differs(
    reference: &ReferenceView<'_>,
    base: &Base,
    driven: &Trace,
    row: &Row,
) -> Option<Differs> {
    let want = (*base.zones.get(row.zone - 1)?)?;
    let corner = reference.corners.get((*base.corners.get(row.zone - 1)?)?)?;
    let live = Zone::of(driven, &row.times)?;
    // From the reference lap's places to this lap's.
    let length_m = driven.length_m;
    let laps = ((live.slowest.along_m - want.slowest.along_m) / length_m).round();
    let shift_m = laps * length_m;
    let later = |a: f64, b: f64| a - b - shift_m;
    let there = |m: f64| Some((driven.at_along(m + shift_m)?, base.trace.at_along(m)?));
    let apex_m = want.slowest.along_m;
    let [begin_m, entry_m, middle_m, exit_m, road_end_m] = road(reference, corner, apex_m)?;
    // As far as both were recorded.
    let (last, base_last) = (driven.moments.last()?, base.trace.moments.last()?);
    let end_m = (last.along_m - shift_m)
        .min(base_last.along_m)
        .min(road_end_m + 1.0)
        - 1.0;
    let mut loss_s = [0.0; 3];
    for (loss, w) in loss_s
        .iter_mut()
        .zip([begin_m, entry_m, middle_m, end_m].windows(2))
    {
        let ((a, c), (b, d)) = (there(w[0])?, there(w[1])?);
        *loss = (b.time_s - a.time_s) - (d.time_s - c.time_s);
    }
    loss_s[0] -= run_in_s(driven, base, shift_m, begin_m);
    if end_m > road_end_m - 1.5 {
        loss_s[2] += run_in_s(driven, base, shift_m, road_end_m);
    }
    let out = -f64::from(corner.turn);
    let (arrived, usual) = there(begin_m)?;
    let (gone, left) = there(exit_m)?;
    let slowed_m = want.throttle.map_or(apex_m, |t| t.along_m.min(apex_m));
    let (slowed, wanted) = there(slowed_m)?;
    let end_s = there(end_m)?.0.time_s;
    let own_throttle_m = live
        .throttle
        .zip(want.throttle)
        .map(|(a, b)| later(a.along_m, b.along_m));
    let own_slowest_mps = live.slowest.speed_mps - want.slowest.speed_mps;
    let apart = |a: Option<f64>, b: Option<f64>, most: f64| {
        a.zip(b)
            .is_some_and(|(a, b)| (a - b).abs() > most.max(0.3 * a.abs()))
    };
    let approach_s = row.times.on_s - APPROACH_S;
    let full = |z: &Zone| Some(z.full?.along_m - z.throttle?.along_m);
    Some(Differs {
        off_throttle_m: live
            .off_throttle
            .zip(want.off_throttle)
            .map(|(a, b)| later(a.along_m, b.along_m)),
        own: [
            Some(later(live.brake.along_m, want.brake.along_m)),
            own_throttle_m,
            Some(own_slowest_mps),
        ],
        brake_m: row.table[0].unwrap_or_else(|| later(live.brake.along_m, want.brake.along_m)),
        release_m: later(live.release.along_m, want.release.along_m),
        decel_ratio: live.decel_mps2 / want.decel_mps2 - 1.0,
        throttle_m: row.table[1].or(own_throttle_m),
        no_throttle: live.throttle.is_none() && want.throttle.is_some(),
        to_full_m: full(&live).zip(full(&want)).map(|(a, b)| a - b),
        slowest_mps: row.table[2].unwrap_or(own_slowest_mps),
        // Without a throttle the slowest point is a question of how long one looks.
        disputed: want.throttle.is_none()
            || apart(
                row.table[0],
                Some(later(live.brake.along_m, want.brake.along_m)),
                15.0,
            )
            || apart(row.table[1], own_throttle_m, 10.0)
            || apart(row.table[2], Some(own_slowest_mps), 2.0),
        slowed_mps: slowed.speed_mps - wanted.speed_mps,
        exit_mps: gone.speed_mps - left.speed_mps,
        slowest_out_m: out * (live.slowest.left_m - want.slowest.left_m),
        exit_out_m: out * (gone.left_m - left.left_m),
        lift_s: row
            .times
            .throttle_s
            .map_or(0.0, |from_s| lifted_s(driven, base, shift_m, from_s, end_s)),
        rolled_s: lifted_s(driven, base, shift_m, approach_s, row.times.on_s),
        touched_m: live
            .touched
            .zip(want.throttle)
            .map(|(a, b)| later(a.along_m, b.along_m)),
        coast_s: live.coast_s - want.coast_s,
        arrived_ratio: arrived.speed_mps / usual.speed_mps,
        loss_s,
    })
}

/// Off it for longer than a change of gear takes, seconds.
const SHIFT_S: f64 = 0.2;

/// Seconds lost from a corner's begin to where the first of the two laps leaves the throttle.
fn run_in_s(driven: &Trace, base: &Base, shift_m: f64, begin_m: f64) -> f64 {
    let Some((own, theirs)) = driven
        .at_along(begin_m + shift_m)
        .zip(base.trace.at_along(begin_m))
    else {
        return 0.0;
    };
    let (mut lost_s, mut off_s) = (0.0, 0.0);
    for w in driven.span(own.time_s, own.time_s + 60.0).windows(2) {
        let Some(there) = base.trace.at_along(w[1].along_m - shift_m) else {
            break;
        };
        if w[1].throttle > DRIVES && there.throttle > DRIVES {
            off_s = 0.0;
            lost_s = (w[1].time_s - own.time_s) - (there.time_s - theirs.time_s);
        } else {
            off_s += w[1].time_s - w[0].time_s;
        }
        if off_s > SHIFT_S || w[1].brake > 0.05 || there.brake > 0.05 {
            break;
        }
    }
    lost_s
}

/// Throttle above this drives.
const DRIVES: f64 = 0.6;

/// Seconds between two times that this lap is off the throttle and the reference drives, less those
/// of the other way round.
fn lifted_s(driven: &Trace, base: &Base, shift_m: f64, from_s: f64, to_s: f64) -> f64 {
    let on = |m: Option<Moment>| m.is_some_and(|m| m.throttle > DRIVES);
    let own = off_s(driven, from_s, to_s, |m| {
        on(base.trace.at_along(m - shift_m))
    });
    let then = |time_s: f64| {
        let there = driven.at_time(time_s).map(|m| m.along_m - shift_m);
        there.and_then(|m| base.trace.at_along(m)).map(|m| m.time_s)
    };
    let theirs = then(from_s).zip(then(to_s)).map_or(0.0, |(a, b)| {
        off_s(&base.trace, a, b, |m| on(driven.at_along(m + shift_m)))
    });
    own - theirs
}

fn next_corner<'a>(reference: &ReferenceView<'a>, corner: &Corner) -> Option<&'a Corner> {
    let corners = reference.corners;
    let after = corners.iter().find(|c| c.begin_m > corner.begin_m);
    after.or(corners.first())
}

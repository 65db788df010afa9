//! What the car can do against speed, learned from its laps.

use super::profile::Profile;
use super::track::quantile;
use cuepost_engine::CarCurves;
use cuepost_engine::reference::{CURVE_POINTS, CURVE_STEP_MPS};

/// Drag over mass of a closed car without big wings, 1/m (common practice, no source).
const DRAG_PRIOR_PM: f64 = 4.5e-4;
/// Drag over mass of anything that drives on a circuit, 1/m.
const DRAG_RANGE_PM: std::ops::RangeInclusive<f64> = 1.5e-4..=1.5e-3;
/// Rolling and engine drag in the middle gears, m/s² (common practice, no source).
const ENGINE_PRIOR_MPS2: f64 = 1.0;
/// Rolling resistance alone, m/s²: 1.5 % of the weight (common practice, no source).
const ROLLING_MPS2: f64 = 0.15;
/// What engine and rolling may take while a car is left to roll, m/s².
const ROLLING_RANGE_MPS2: std::ops::RangeInclusive<f64> = 0.2..=3.0;
/// A car is left to roll when this lasts, seconds, longer than a gear change.
const ROLL_S: f64 = 0.5;
/// Within this much, m/s².
const EVEN_MPS2: f64 = 0.5;
/// Pedals below are off, above one less this are flat.
const PEDAL_OFF: f64 = 0.02;
/// Entries a speed bin needs.
const BIN_MIN: usize = 12;

/// One entry of a profile with what the car did there.
#[derive(Clone, Copy)]
struct Moment {
    speed: f64,
    accel: f64,
    lateral: f64,
    pedals: Pedals,
}

#[derive(Clone, Copy, PartialEq)]
enum Pedals {
    Unknown,
    Off,
    Flat,
    Other,
}

/// Tables over speed in m/s², with as many entries as the engine's.
pub type Table = [f64; CURVE_POINTS];

/// The curves before they are rounded for the reference.
#[derive(Clone, Debug, PartialEq)]
pub struct Curves {
    /// Acceleration off both pedals, negative.
    pub coast: Table,
    /// Acceleration at full throttle.
    pub full: Table,
    /// Largest sustained deceleration, positive.
    pub brake: Table,
    /// Largest sustained lateral acceleration, positive.
    pub lateral: Table,
}

impl Curves {
    /// Learns the curves from laps.
    pub fn learn(laps: &[Profile]) -> Self {
        let moments: Vec<Moment> = laps.iter().flat_map(moments).collect();
        let lateral = lateral(&moments);
        let full = full(&moments, &lateral);
        let coast = coast(laps, &moments, &full, &lateral);
        let brake = brake(&moments);
        let mut full: Table = std::array::from_fn(|i| full.at(speed_of(i)));
        for (f, c) in full.iter_mut().zip(&coast) {
            *f = f.max(c + 0.3);
        }
        Self {
            coast,
            full,
            brake,
            lateral,
        }
    }

    /// A table's value at a speed.
    pub fn at(table: &Table, speed_mps: f64) -> f64 {
        let x = (speed_mps / f64::from(CURVE_STEP_MPS)).clamp(0.0, (CURVE_POINTS - 1) as f64);
        let i = (x as usize).min(CURVE_POINTS - 2);
        table[i] + (table[i + 1] - table[i]) * (x - i as f64)
    }

    /// As the reference keeps them.
    pub fn rounded(&self) -> CarCurves {
        let round = |t: &Table| t.map(|a| (a * 100.0).round().clamp(-32_000.0, 32_000.0) as i16);
        CarCurves {
            coast_cmps2: round(&self.coast),
            full_cmps2: round(&self.full),
            brake_cmps2: round(&self.brake),
            lateral_cmps2: round(&self.lateral),
        }
    }
}

fn speed_of(i: usize) -> f64 {
    i as f64 * f64::from(CURVE_STEP_MPS)
}

fn moments(lap: &Profile) -> Vec<Moment> {
    let pedals: Vec<Pedals> = match (&lap.brake, &lap.throttle) {
        (Some(brake), Some(throttle)) => brake
            .iter()
            .zip(throttle)
            .map(|(b, t)| match (*b < PEDAL_OFF, *t) {
                (true, t) if t < PEDAL_OFF => Pedals::Off,
                (true, t) if t > 1.0 - PEDAL_OFF => Pedals::Flat,
                _ => Pedals::Other,
            })
            .collect(),
        _ => vec![Pedals::Unknown; lap.entries()],
    };
    (0..lap.entries())
        .map(|i| {
            // A pedal state counts once it has lasted: the acceleration is smoothed over as long.
            let lasting = |back_s: f64| {
                let since = lap.time_s[i] - back_s;
                let from = lap.time_s[..i].partition_point(|t| *t < since);
                pedals[from..=i].iter().all(|p| *p == pedals[i])
                    && lap.time_s[..i].first().is_some_and(|t| *t <= since)
            };
            let ahead = |ahead_s: f64| {
                let until = lap.time_s[i] + ahead_s;
                pedals[i..]
                    .iter()
                    .zip(&lap.time_s[i..])
                    .take_while(|(_, t)| **t <= until)
                    .all(|(p, _)| *p == pedals[i])
            };
            let settled = match pedals[i] {
                Pedals::Off | Pedals::Flat => lasting(0.2) && ahead(0.12),
                _ => true,
            };
            Moment {
                speed: lap.speed_mps[i],
                accel: lap.accel_mps2[i],
                lateral: lap.lateral_mps2(i).abs(),
                pedals: if settled { pedals[i] } else { Pedals::Other },
            }
        })
        .collect()
}

/// A share of the values in the bin around each table entry, `None` where too few are.
fn binned(
    moments: &[Moment],
    share: f64,
    keep: impl Fn(&Moment) -> bool,
    value: impl Fn(&Moment) -> f64,
) -> [Option<f64>; CURVE_POINTS] {
    let mut bins: Vec<Vec<f64>> = vec![Vec::new(); CURVE_POINTS];
    for m in moments.iter().filter(|m| keep(m)) {
        let i = (m.speed / f64::from(CURVE_STEP_MPS)).round() as usize;
        if let Some(bin) = bins.get_mut(i) {
            bin.push(value(m));
        }
    }
    std::array::from_fn(|i| {
        (bins[i].len() >= BIN_MIN)
            .then(|| quantile(&mut bins[i], share))
            .flatten()
    })
}

/// Fills what was not seen from the nearest seen entries.
fn filled(seen: &[Option<f64>; CURVE_POINTS], nothing: f64) -> Table {
    let known: Vec<(usize, f64)> = seen
        .iter()
        .enumerate()
        .filter_map(|(i, v)| v.map(|v| (i, v)))
        .collect();
    std::array::from_fn(|i| {
        let above = known.iter().find(|(k, _)| *k >= i);
        let below = known.iter().rev().find(|(k, _)| *k <= i);
        match (below, above) {
            (Some((a, v)), Some((b, w))) if a != b => v + (w - v) * (i - a) as f64 / (b - a) as f64,
            (Some((_, v)), _) | (None, Some((_, v))) => *v,
            (None, None) => nothing,
        }
    })
}

/// Grip never falls with speed here: a fast bin in which nobody cornered hard says nothing.
fn lateral(moments: &[Moment]) -> Table {
    let seen = binned(moments, 0.95, |_| true, |m| m.lateral);
    let mut best = 0.0_f64;
    let mut table = filled(&seen, 0.0).map(|v| {
        best = best.max(v);
        best
    });
    // Below the slowest bend nothing is known but the grip in it.
    let first = seen.iter().position(|v| v.is_some_and(|v| v > 0.5 * best));
    if let Some(first) = first {
        for i in 0..first {
            table[i] = table[first].min(table[i].max(0.8 * table[first]));
        }
    }
    table
}

fn brake(moments: &[Moment]) -> Table {
    let mut seen = binned(moments, 0.98, |m| m.accel < 0.0, |m| -m.accel);
    let most = seen.iter().flatten().copied().fold(0.0, f64::max);
    // A speed at which nobody braked hard says nothing either.
    for v in &mut seen {
        *v = v.filter(|v| *v > 0.5 * most);
    }
    filled(&seen, 8.0)
}

/// Drive against speed: bins where they were seen, power over speed less drag beyond.
struct Full {
    table: Table,
    top: f64,
    power: f64,
    drag: f64,
}

impl Full {
    fn at(&self, speed: f64) -> f64 {
        if speed <= self.top {
            return Curves::at(&self.table, speed);
        }
        let at_top = Curves::at(&self.table, self.top);
        let model = |v: f64| self.power / v.max(1.0) - self.drag * v * v;
        at_top + model(speed) - model(self.top)
    }
}

fn full(moments: &[Moment], lateral: &Table) -> Full {
    let straight = |m: &Moment| m.lateral < 0.3 * Curves::at(lateral, m.speed).max(1.0);
    let known = moments.iter().any(|m| m.pedals == Pedals::Flat);
    let seen = if known {
        binned(
            moments,
            0.6,
            |m| m.pedals == Pedals::Flat && straight(m),
            |m| m.accel,
        )
    } else {
        binned(moments, 0.75, |m| m.accel > 0.0 && straight(m), |m| m.accel)
    };
    let top = seen.iter().rposition(Option::is_some).unwrap_or(0);
    let table = falling(&filled(&seen, 3.0), &seen);
    // Power and drag over mass from the faster half, drawn to what cars have.
    let (mut a, mut b, mut c, mut p, mut q) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (i, value) in seen.iter().enumerate() {
        let v = speed_of(i);
        if let Some(accel) = value
            && i * 2 >= top
            && v > 0.0
        {
            let (x, y, z) = (1.0 / v, -v * v, accel + ROLLING_MPS2);
            (a, b, c) = (a + x * x, b + x * y, c + y * y);
            (p, q) = (p + x * z, q + y * z);
        }
    }
    // The prior counts as much as 0.3 m/s² of acceleration at 50 m/s in one bin.
    let weight = (2500.0_f64 / 0.3).powi(2) * 0.09;
    (c, q) = (c + weight, q - weight * -DRAG_PRIOR_PM);
    let whole = a * c - b * b;
    let drag = if whole.abs() > 1e-9 {
        (a * q - b * p) / whole
    } else {
        DRAG_PRIOR_PM
    };
    let drag = drag.clamp(*DRAG_RANGE_PM.start(), *DRAG_RANGE_PM.end());
    let power = if a > 0.0 { (p - b * drag) / a } else { 0.0 };
    Full {
        table,
        top: speed_of(top),
        power: power.max(0.0),
        drag,
    }
}

/// Nearest table that never rises with speed, bins that were seen counting more.
fn falling(table: &Table, seen: &[Option<f64>; CURVE_POINTS]) -> Table {
    let mut blocks: Vec<(f64, f64, usize)> = Vec::new();
    for (value, seen) in table.iter().zip(seen) {
        let weight = if seen.is_some() { 1.0 } else { 0.01 };
        blocks.push((*value, weight, 1));
        while let [.., a, b] = blocks[..]
            && b.0 > a.0
        {
            blocks.truncate(blocks.len() - 2);
            let weight = a.1 + b.1;
            blocks.push(((a.0 * a.1 + b.0 * b.1) / weight, weight, a.2 + b.2));
        }
    }
    let mut values = blocks
        .into_iter()
        .flat_map(|(value, _, count)| std::iter::repeat_n(value, count));
    std::array::from_fn(|_| values.next().unwrap_or(0.0))
}

/// Drag from the full-throttle curve, and what engine and rolling take besides: measured where
/// both pedals are known to be off or where the car was surely left to roll, else taken for a
/// car's usual.
fn coast(laps: &[Profile], moments: &[Moment], full: &Full, lateral: &Table) -> Table {
    let mut besides: Vec<f64> = moments
        .iter()
        .filter(|m| m.pedals == Pedals::Off)
        .filter(|m| m.lateral < 0.4 * Curves::at(lateral, m.speed).max(1.0))
        .map(|m| -m.accel - full.drag * m.speed * m.speed)
        .collect();
    if !moments.iter().any(|m| m.pedals != Pedals::Unknown) {
        besides = laps.iter().flat_map(|l| rolled(l, full, lateral)).collect();
    }
    let engine = if besides.len() >= 2 * BIN_MIN {
        quantile(&mut besides, 0.5).unwrap_or(ENGINE_PRIOR_MPS2)
    } else {
        ENGINE_PRIOR_MPS2
    };
    let engine = engine.clamp(0.2, 4.0);
    std::array::from_fn(|i| -(engine + full.drag * speed_of(i).powi(2)))
}

/// Deceleration beyond drag while the car was left to roll, without pedals to tell: straight on,
/// slowing down by less than any braking, evenly for longer than a gear change takes. Nobody
/// drives so on part throttle.
fn rolled(lap: &Profile, full: &Full, lateral: &Table) -> Vec<f64> {
    let value = |i: usize| -lap.accel_mps2[i] - full.drag * lap.speed_mps[i].powi(2);
    let rolls = |i: usize| {
        let grip = Curves::at(lateral, lap.speed_mps[i]).max(1.0);
        ROLLING_RANGE_MPS2.contains(&value(i)) && lap.lateral_mps2(i).abs() < 0.3 * grip
    };
    let mut out = Vec::new();
    let mut from = 0;
    for i in 0..=lap.entries() {
        let even = i < lap.entries() && rolls(i) && (value(i) - value(from)).abs() < EVEN_MPS2;
        if even {
            continue;
        }
        if i > from && lap.time_s[i - 1] - lap.time_s[from] > ROLL_S {
            out.extend((from..i).map(value));
        }
        from = i;
    }
    out
}

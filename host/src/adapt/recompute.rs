//! Moves the facts of a reference by what the computation says the change does.

use super::change::Change;
use super::driven::Driven;
use super::limits::Limits;
use super::manner::{Manner, Way};
use super::qss::{Onset, Solution, solve};
use crate::reference_file::HostReference;
use cuepost_engine::{Corner, CornerKind, Measured, ReferenceView};

/// What is computed may be wrong by this share of what it moved (common practice, no source).
const DOUBT_SHARE: f32 = 0.25;
/// A corner that was flat is lifted or braked for when it costs this much speed, m/s.
const SLOWED_MPS: f64 = 1.0;
/// An onset that was not measured but computed is only known to this, metres (common practice,
/// no source).
const COMPUTED_SD_M: f32 = 5.0;
/// Slowing down by this much more than coasting is braking, m/s².
const LIFT_MPS2: f64 = 0.3;

/// A reference computed for a change.
#[derive(Clone, Debug)]
pub struct Adapted {
    /// The new reference.
    pub reference: Box<HostReference>,
    /// How far the computation is from the lap that was driven where nothing changes, m/s:
    /// root mean square over the lap.
    pub residual_mps: f64,
    /// The largest such difference, m/s.
    pub residual_most_mps: f64,
}

/// Computes a reference for a change. `proven` says that the coach vouches for it: then it may ask
/// for more than was driven.
pub fn adapt(
    reference: &HostReference,
    change: Change,
    proven: bool,
) -> Result<Adapted, &'static str> {
    let view = reference.view();
    let base_limits = Limits::new(view.car, driven_speeds(&view));
    let manner = Manner::of(&view, &base_limits).ok_or("its line has too few nodes")?;
    let limits = base_limits.changed(change);
    let run = |limits: Limits| {
        let car = manner.car(&base_limits, limits);
        let solution = solve(&car, manner.speed_mps.len(), manner.step_m)?;
        Some(Run { car, solution })
    };
    let unusable = "its line cannot be driven in the computation";
    let base = run(base_limits.clone()).ok_or(unusable)?;
    let new = run(limits.clone()).ok_or(unusable)?;
    let mut out = Box::new(reference.clone());
    move_nodes(&mut out, &manner, &base.solution, &new.solution);
    for (index, corner) in out.corners.iter_mut().enumerate() {
        let way = |f: fn(&Way) -> usize| manner.ways.iter().find(|w| f(w) == index);
        let both = Both {
            view: &view,
            manner: &manner,
            base: &base,
            new: &new,
            into: way(|w| w.into),
            out_of: way(|w| w.from),
        };
        both.move_corner(corner);
        corner.unproven = !proven;
    }
    make_room(&mut out, &view);
    out.car = limits.curves(view.car);
    out.session.computed = true;
    let apart: Vec<f64> = (manner.speed_mps.iter())
        .zip(&base.solution.speed_mps)
        .map(|(a, b)| (a - b).abs())
        .collect();
    let squares: f64 = apart.iter().map(|d| d * d).sum();
    cuepost_engine::reference::check(&out.view())
        .map_err(|_| "what came of it is no valid reference; try a smaller change")?;
    Ok(Adapted {
        reference: out,
        residual_mps: (squares / apart.len().max(1) as f64).sqrt(),
        residual_most_mps: apart.into_iter().fold(0.0, f64::max),
    })
}

/// The slowest and fastest speed of the reference lap, m/s.
pub fn driven_speeds(view: &ReferenceView<'_>) -> (f64, f64) {
    let speeds = || view.nodes.iter().map(|n| f64::from(n.speed_cmps) * 0.01);
    (
        speeds().fold(f64::INFINITY, f64::min),
        speeds().fold(0.0, f64::max),
    )
}

/// The car around the line.
struct Run<'a> {
    car: Driven<'a>,
    solution: Solution,
}

/// Times and speeds of the nodes, moved by the difference of the two solutions.
fn move_nodes(out: &mut HostReference, manner: &Manner, base: &Solution, new: &Solution) {
    let n = manner.speed_mps.len();
    let cut = n / out.nodes.len().max(1);
    let mut moved_s = 0.0;
    let mut last_ms: Option<u32> = None;
    for (k, node) in out.nodes.iter_mut().enumerate() {
        let i = k * cut;
        let by_mps = new.speed_mps[i] - base.speed_mps[i];
        let speed = (f64::from(node.speed_cmps) + by_mps * 100.0).round();
        node.speed_cmps = speed.clamp(50.0, 19_900.0) as u16;
        let time = (f64::from(node.time_ms) + moved_s * 1e3).round().max(0.0) as u32;
        // Times rise whatever rounding does.
        node.time_ms = last_ms.map_or(0, |last| time.max(last + 1));
        last_ms = Some(node.time_ms);
        for j in i..i + cut {
            moved_s += new.segment_s(j) - base.segment_s(j);
        }
    }
    let lap_us = out.session.lap_time_us as f64 + moved_s * 1e6;
    let least_us = f64::from(last_ms.unwrap_or(0)) * 1e3 + 1e3;
    out.session.lap_time_us = lap_us.round().max(least_us) as u64;
}

/// One corner before and after.
struct Both<'a> {
    view: &'a ReferenceView<'a>,
    manner: &'a Manner,
    base: &'a Run<'a>,
    new: &'a Run<'a>,
    into: Option<&'a Way>,
    out_of: Option<&'a Way>,
}

impl Both<'_> {
    fn move_corner(&self, corner: &mut Corner) {
        if corner.kind == CornerKind::Flat {
            self.slow_flat(corner);
            return;
        }
        let Some(way) = self.into else {
            self.move_speeds(corner);
            return;
        };
        let nodes = self.manner.speed_mps.len();
        let last = way.first + way.segments;
        let onset = |run: &Run<'_>| {
            let node = last % nodes;
            run.solution.onset_before(&run.car, node, way.segments)
        };
        let (before, after) = (onset(self.base), onset(self.new));
        if after.is_none()
            && !self
                .new
                .car
                .is_held(last % nodes, &self.new.solution.speed_mps)
        {
            self.move_speeds(corner);
            make_flat(corner);
            return;
        }
        let mut moved_m = before
            .zip(after)
            .map_or(0.0, |(a, b)| a.before_m - b.before_m);
        // A weaker tyre never brakes later, whatever the corners before it made of the speed.
        if after.is_some_and(|o| self.new.car.limits.grip(o.speed_mps) < 1.0) {
            moved_m = moved_m.min(0.0);
        }
        self.move_entry(corner, moved_m, before.zip(after));
        if self.new.car.braked.contains(&way.into) {
            corner.kind = CornerKind::Braked;
            corner.facts.kind = CornerKind::Braked;
        }
        self.move_speeds(corner);
        self.move_exit(corner);
    }

    fn move_entry(&self, corner: &mut Corner, moved_m: f64, onsets: Option<(Onset, Onset)>) {
        let facts = &mut corner.facts;
        let turn_in = facts.turn_in_m.map(|m| m.value);
        if let (Some(trail), Some(brake), Some(turn)) = (facts.trail_m, facts.brake_m, turn_in) {
            // Braking that begins in the bend leaves less road to trail it over.
            let over = |brake_m: f32| self.view.ahead_m(turn, brake_m).max(0.0);
            let less = over(brake.value + moved_m as f32) - over(brake.value);
            facts.trail_m = Some(Measured::new((trail.value - less).max(0.0), trail.sd));
        }
        facts.brake_m = facts.brake_m.map(|m| self.place(moved(m, moved_m as f32)));
        let Some((before, after)) = onsets else {
            return;
        };
        let (a, b) = (before.speed_mps, after.speed_mps);
        facts.brake_mps = facts.brake_mps.map(|m| moved(m, (b - a) as f32));
        // Braking is by the same share of what there is: over the middle of its speeds.
        let slow = f64::from(facts.slowest_mps.map_or(0.0, |m| m.value));
        let decel = |run: &Run<'_>, fast: f64| run.car.limits.brake_mps2(0.5 * (fast + slow));
        let ratio = (decel(self.new, b) / decel(self.base, a)) as f32;
        for fact in [&mut facts.peak_decel_mps2, &mut facts.mean_decel_mps2] {
            *fact = fact.map(|m| moved(m, m.value * (ratio - 1.0)));
        }
    }

    fn move_speeds(&self, corner: &mut Corner) {
        let at = |m: f32| {
            let place = f64::from(self.view.wrap_m(m));
            let (a, b) = (&self.base.solution, &self.new.solution);
            (b.speed_at(place) / a.speed_at(place)) as f32
        };
        let by = |m: Measured, ratio: f32| moved(m, m.value * (ratio - 1.0));
        let slowest_m = corner.facts.slowest_m.map_or(corner.apex_m, |m| m.value);
        let facts = &mut corner.facts;
        let slowest = at(slowest_m);
        facts.slowest_mps = facts.slowest_mps.map(|m| by(m, slowest));
        facts.slowed_mps = facts.slowed_mps.map(|m| by(m, slowest));
        facts.exit_mps = facts.exit_mps.map(|m| by(m, at(corner.exit_m)));
        facts.coast_s = facts.coast_s.map(|m| by(m, 1.0 / slowest));
    }

    /// Full throttle is reached where the tyres can take all that the engine has. The first touch
    /// is set by the line and stays.
    fn move_exit(&self, corner: &mut Corner) {
        let Some(way) = self.out_of else {
            return;
        };
        let full = |run: &Run<'_>| {
            let speeds = &run.solution.speed_mps;
            self.manner.full_m(way, &run.car.limits, speeds)
        };
        if let (Some(before), Some(after)) = (full(self.base), full(self.new)) {
            let fact = corner.facts.full_m;
            corner.facts.full_m = fact.map(|m| self.place(moved(m, (after - before) as f32)));
        }
    }

    /// A bend that was taken flat and now is too fast.
    fn slow_flat(&self, corner: &mut Corner) {
        let (n, step_m) = (self.manner.speed_mps.len(), self.manner.step_m);
        let node = |m: f32| (f64::from(m) / step_m).round() as usize % n;
        let (begin, exit) = (node(corner.begin_m), node(corner.exit_m));
        let span = (exit + n - begin) % n;
        let speed = |k: usize| self.new.solution.speed_mps[(begin + k) % n];
        self.move_speeds(corner);
        let Some(slowest) = (0..=span).min_by(|a, b| speed(*a).total_cmp(&speed(*b))) else {
            return;
        };
        let node = (begin + slowest) % n;
        let solution = &self.new.solution;
        let onset = solution.onset_before(&self.new.car, node, n / 4);
        let limited = solution.speed_mps[node] < self.base.solution.speed_mps[node] - SLOWED_MPS;
        let Some(onset) = onset.filter(|_| limited) else {
            return;
        };
        let place_m = node as f64 * step_m;
        let (back, fast, slow) = (onset.before_m, onset.speed_mps, solution.speed_mps[node]);
        if fast - slow < SLOWED_MPS || back <= 0.0 {
            return;
        }
        let decel = (fast * fast - slow * slow) / (2.0 * back);
        let coast = -self.new.car.limits.coast_mps2(0.5 * (fast + slow));
        corner.kind = if decel > coast + LIFT_MPS2 {
            CornerKind::Braked
        } else {
            CornerKind::Lifted
        };
        let computed = |m: f64| Some(self.place(Measured::new(m as f32, COMPUTED_SD_M)));
        let facts = &mut corner.facts;
        facts.kind = corner.kind;
        facts.brake_m = computed(place_m - back);
        facts.brake_mps = Some(Measured::new(fast as f32, 1.0));
        facts.slowest_m = computed(place_m);
        facts.slowest_mps = Some(Measured::new(slow as f32, 1.0));
        facts.throttle_m = computed(place_m);
    }

    /// A place brought onto the lap.
    fn place(&self, m: Measured) -> Measured {
        Measured::new(self.view.wrap_m(m.value), m.sd)
    }
}

/// A fact moved, and less sure by a part of it.
fn moved(m: Measured, by: f32) -> Measured {
    if by == 0.0 {
        return m;
    }
    Measured::new(m.value + by, m.sd.hypot(DOUBT_SHARE * by))
}

/// A corner that needs no slowing down any more.
fn make_flat(corner: &mut Corner) {
    corner.kind = CornerKind::Flat;
    corner.facts = corner.facts.flat();
}

/// A corner whose braking begins sooner owns the road from sooner on, as far as the one before
/// leaves room.
fn make_room(out: &mut HostReference, before: &ReferenceView<'_>) {
    let count = out.corners.len();
    for i in 0..count {
        let Some(previous_m) = out.corners.get((i + count - 1) % count).map(|c| c.exit_m) else {
            continue;
        };
        let (Some(corner), Some(old)) = (out.corners.get_mut(i), before.corners.get(i)) else {
            continue;
        };
        let sooner_m = match (old.facts.brake_m, corner.facts.brake_m) {
            (Some(was), Some(is)) => before.ahead_m(was.value, is.value).min(0.0),
            // A bend that was flat and is slowed down for now.
            (None, Some(is)) => before.ahead_m(corner.begin_m, is.value - ROOM_M).min(0.0),
            _ => 0.0,
        };
        if sooner_m < 0.0 {
            let least_m = before.ahead_m(corner.begin_m, previous_m + 1.0).min(0.0);
            corner.begin_m = before.wrap_m(corner.begin_m + sooner_m.max(least_m));
        }
    }
}

/// Metres before the braking of a bend that was flat which belong to it.
const ROOM_M: f32 = 45.0;

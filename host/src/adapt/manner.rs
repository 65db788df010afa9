//! How much of the car's limits the reference lap used at each place: what its driver does again
//! when the limits change.
//!
//! Between two corners the road belongs to the way out of the one and the way into the other. Both
//! are needed beyond where the reference lap changed from one to the other, since a change moves
//! that place: the drive is carried on as it was last, the braking is as it was once it was fully
//! there.

use super::limits::Limits;
use cuepost_engine::{Corner, CornerKind, ReferenceView};

/// Parts that each step between the reference's nodes is cut into.
const CUT: usize = 3;
/// A pedal's ramp reaches this far to either side of its middle, which is the onset, seconds.
const RAMP_S: f64 = 0.15;
/// The drive before an onset is taken over this long, seconds.
const BEFORE_S: f64 = 0.4;
/// Fully developed braking is taken over this share of the way from the onset to the middle.
const DEVELOPED: f64 = 0.4;
/// The most of the tyres a bend is taken to use where traction is carried on.
const SHARE_MOST: f64 = 0.97;
/// Straighter than this is straight, 1/m.
const STRAIGHT_PM: f64 = 2e-5;
/// Faster than this nothing is computed, m/s.
const SPEED_MOST_MPS: f64 = 150.0;

/// The reference lap in steps of its line, and what of the car it used there.
#[derive(Clone, Debug)]
pub struct Manner {
    /// Metres between nodes.
    pub step_m: f64,
    /// The lap's speed at each node, m/s.
    pub speed_mps: Vec<f64>,
    /// Curvature at each node, 1/m, without its sign.
    curvature_pm: Vec<f64>,
    /// Nodes of the middles of corners, where the bend alone sets the speed.
    pub(super) middle: Vec<bool>,
    /// On each segment, the share of drive (positive) on the way out.
    pub(super) drive: Vec<f64>,
    /// On each segment, the tyre force that the way out uses, m/s².
    pub(super) traction_mps2: Vec<f64>,
    /// On each segment, the share of braking (negative) on the way in.
    pub(super) brake: Vec<f64>,
    /// Segments on which nobody braked: braking there may use what the bend leaves.
    pub(super) beyond: Vec<bool>,
    /// Corners that are slowed down for, in their order.
    pub ways: Vec<Way>,
}

/// The road between the middles of two corners.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Way {
    /// Index of the corner that it leads out of.
    pub from: usize,
    /// Index of the corner that it leads into.
    pub into: usize,
    /// The last node of the middle before.
    pub first: usize,
    /// Segments up to the first node of the middle behind.
    pub segments: usize,
    /// True when the corner it leads into is only lifted for.
    pub lifted: bool,
    /// Where full throttle is reached: tyre force over what the engine has, when it was reached.
    pub full_ratio: Option<f64>,
}

/// Acceleration with a share of what there is: 1 is full throttle, 0 coasting, -1 full braking.
pub(super) fn acceleration(limits: &Limits, share: f64, speed_mps: f64) -> f64 {
    let coast = limits.coast_mps2(speed_mps);
    if share >= 0.0 {
        coast + share * (limits.full_mps2(speed_mps) - coast)
    } else {
        coast + share * (limits.brake_mps2(speed_mps) + coast).max(0.1)
    }
}

/// The share that an acceleration is.
fn share(limits: &Limits, mps2: f64, speed_mps: f64) -> f64 {
    let coast = limits.coast_mps2(speed_mps);
    if mps2 >= coast {
        (mps2 - coast) / (limits.full_mps2(speed_mps) - coast).max(0.1)
    } else {
        (mps2 - coast) / (limits.brake_mps2(speed_mps) + coast).max(0.1)
    }
}

impl Manner {
    /// Reads it from a reference. `None` when its line is too short.
    pub fn of(view: &ReferenceView<'_>, limits: &Limits) -> Option<Self> {
        let nodes = view.nodes.len();
        if nodes < 3 {
            return None;
        }
        let n = nodes * CUT;
        let mix = |i: usize, f: &dyn Fn(usize) -> f64| {
            let (k, part) = (i / CUT, (i % CUT) as f64 / CUT as f64);
            let (a, b) = (f(k), f((k + 1) % nodes));
            a + (b - a) * part
        };
        let square = |k: usize| (f64::from(view.nodes[k].speed_cmps) * 0.01).powi(2);
        let bend = |k: usize| (f64::from(view.nodes[k].curvature_e5) * 1e-5).abs();
        let mut manner = Self {
            step_m: f64::from(view.spacing_m) / CUT as f64,
            speed_mps: (0..n).map(|i| mix(i, &square).sqrt()).collect(),
            curvature_pm: (0..n).map(|i| mix(i, &bend)).collect(),
            middle: vec![false; n],
            drive: vec![1.0; n],
            traction_mps2: vec![f64::INFINITY; n],
            brake: vec![-1.0; n],
            beyond: vec![false; n],
            ways: Vec::new(),
        };
        let shares: Vec<f64> = (0..n)
            .map(|i| share(limits, manner.driven_mps2(i), manner.mean_mps(i)))
            .collect();
        // In a middle the bend sets the speed; the pedals must only not be in its way.
        for (i, x) in shares.iter().enumerate() {
            manner.drive[i] = x.max(1.0);
            manner.brake[i] = x.min(-1.0);
        }
        let slowed: Vec<usize> = (0..view.corners.len())
            .filter(|i| view.corners[*i].kind != CornerKind::Flat)
            .collect();
        let middles: Vec<(usize, usize)> = slowed
            .iter()
            .map(|c| manner.middle_of(view, &view.corners[*c]))
            .collect();
        if slowed.is_empty() {
            manner.drive.clone_from(&shares);
        }
        for (k, into) in slowed.iter().enumerate() {
            let before = (k + slowed.len() - 1) % slowed.len();
            let first = (middles[before].0 + middles[before].1) % n;
            let segments = (middles[k].0 + n - first) % n;
            // Middles that overlap leave no way between them.
            let behind = (middles[k].0 + n - middles[before].0) % n;
            if behind <= middles[before].1 && slowed.len() > 1 {
                continue;
            }
            let mut way = Way {
                from: slowed[before],
                into: *into,
                first,
                segments,
                lifted: view.corners[*into].kind == CornerKind::Lifted,
                full_ratio: None,
            };
            manner.lay(view, limits, &shares, &mut way);
            manner.ways.push(way);
        }
        Some(manner)
    }

    pub(super) fn nodes(&self) -> usize {
        self.speed_mps.len()
    }

    fn mean_mps(&self, i: usize) -> f64 {
        0.5 * (self.speed_mps[i] + self.speed_mps[(i + 1) % self.nodes()])
    }

    fn driven_mps2(&self, i: usize) -> f64 {
        let (v, w) = (self.speed_mps[i], self.speed_mps[(i + 1) % self.nodes()]);
        (w * w - v * v) / (2.0 * self.step_m)
    }

    /// The segment's curvature, 1/m.
    pub(super) fn bend_pm(&self, i: usize) -> f64 {
        0.5 * (self.curvature_pm[i] + self.curvature_pm[(i + 1) % self.nodes()])
    }

    /// Marks a corner's middle; its first node and how many more it has.
    fn middle_of(&mut self, view: &ReferenceView<'_>, corner: &Corner) -> (usize, usize) {
        let n = self.nodes();
        let from_m = f64::from(corner.middle_begin_m);
        let first = (from_m / self.step_m).ceil() as usize;
        let room_m = f64::from(view.wrap_m(corner.middle_end_m - corner.middle_begin_m));
        let last_m = from_m + room_m.min(0.5 * f64::from(view.length_m()));
        let more = ((last_m / self.step_m).floor() as usize).saturating_sub(first);
        for i in first..=first + more {
            self.middle[i % n] = true;
        }
        (first % n, more)
    }

    /// Lays out the way between two middles.
    fn lay(&mut self, view: &ReferenceView<'_>, limits: &Limits, shares: &[f64], way: &mut Way) {
        let n = self.nodes();
        let at = |k: usize| (way.first + k) % n;
        let into = &view.corners[way.into];
        let onset = self.onset(view, into, way);
        let speed = self.speed_mps[at(onset)];
        let steps = |seconds: f64| (seconds * speed / self.step_m).round() as usize;
        let before = onset.saturating_sub(steps(RAMP_S));
        let developed = (onset + steps(RAMP_S)).min((onset + way.segments) / 2);
        let mean = |from: usize, to: usize| {
            let all: Vec<f64> = (from..to).map(|k| shares[at(k)]).collect();
            (!all.is_empty()).then(|| all.iter().sum::<f64>() / all.len() as f64)
        };
        let held = mean(before.saturating_sub(steps(BEFORE_S)), before).unwrap_or(1.0);
        let held = held.clamp(0.0, 1.5);
        let some = ((way.segments - developed) as f64 * DEVELOPED).ceil() as usize;
        let braking = mean(developed, (developed + some).min(way.segments)).unwrap_or(-1.0);
        let braking = match into.kind {
            CornerKind::Braked => braking.min(-0.05),
            // A larger lift is one off the throttle.
            _ => braking.min(0.0),
        };
        for k in 0..way.segments {
            let i = at(k);
            self.drive[i] = if k < before { shares[i] } else { held };
            self.brake[i] = if k < developed { braking } else { shares[i] };
            self.beyond[i] = k < developed;
        }
        self.lay_traction(view, limits, before, way);
    }

    /// Where the slowing down begins, in segments of the way: the measured onset, or the fastest
    /// place where none was measured.
    fn onset(&self, view: &ReferenceView<'_>, into: &Corner, way: &Way) -> usize {
        let fastest = || {
            let speed = |k: &usize| self.speed_mps[(way.first + k) % self.nodes()];
            (0..=way.segments).max_by(|a, b| speed(a).total_cmp(&speed(b)))
        };
        let measured = into.facts.brake_m.map(|brake| {
            let from_m = (way.first as f64 * self.step_m) as f32;
            (f64::from(view.wrap_m(brake.value - from_m)) / self.step_m).round() as usize
        });
        let measured = measured.filter(|k| *k <= way.segments);
        measured.or_else(fastest).unwrap_or(0)
    }

    /// The tyre force on the way out: as driven up to full throttle, then what the unwinding bend
    /// leaves, so that a weaker tyre reaches full throttle later.
    fn lay_traction(
        &mut self,
        view: &ReferenceView<'_>,
        limits: &Limits,
        before: usize,
        way: &mut Way,
    ) {
        let n = self.nodes();
        let at = |k: usize| (way.first + k) % n;
        let out_of = &view.corners[way.from];
        let from_m = (way.first as f64 * self.step_m) as f32;
        let full = out_of.facts.full_m.map(|full| {
            (f64::from(view.wrap_m(full.value - from_m)) / self.step_m).round() as usize
        });
        let Some(full) = full.filter(|k| (1..before).contains(k)) else {
            return;
        };
        let force = |i: usize| self.driven_mps2(i) + limits.resistance_mps2(self.mean_mps(i));
        let left = |i: usize| {
            let v = self.mean_mps(i);
            let used = v * v * self.bend_pm(i) / limits.lateral_mps2(v);
            (1.0 - used.min(SHARE_MOST).powi(2)).sqrt()
        };
        let reached = force(at(full - 1)).max(force(at(full)));
        let reached_left = left(at(full));
        let mut most = 0.0_f64;
        let traction: Vec<f64> = (0..before)
            .map(|k| {
                let i = at(k);
                if k < full {
                    return force(i);
                }
                most = most.max(reached * left(i) / reached_left).max(force(i));
                most
            })
            .collect();
        for (k, t) in traction.into_iter().enumerate() {
            self.traction_mps2[at(k)] = t;
            if k < full {
                self.drive[at(k)] = self.drive[at(k)].max(1.0);
            }
        }
        let engine = limits.engine_mps2(self.mean_mps(at(full)));
        way.full_ratio = Some(0.98 * reached / engine.max(0.1));
    }

    /// The fastest round a node. In a middle the driver uses the same share of the tyres again,
    /// elsewhere all of it, or more where he was seen to.
    pub(super) fn corner_mps(&self, i: usize, base: &Limits, limits: &Limits) -> f64 {
        let driven = self.speed_mps[i];
        let bend = self.curvature_pm[i];
        let whole = base.lateral_mps2(driven);
        let squared = if self.middle[i] {
            driven * driven / whole
        } else if bend < STRAIGHT_PM {
            return SPEED_MOST_MPS;
        } else {
            (1.0 / bend).max(driven * driven / whole)
        };
        // v² = squared · lateral(v), by substitution: the lateral limit rises slowly.
        let mut v = driven;
        for _ in 0..40 {
            v = (squared * limits.lateral_mps2(v))
                .sqrt()
                .min(SPEED_MOST_MPS);
        }
        v
    }

    /// Where full throttle is reached on a way, metres from its first node; `None` when it was not
    /// reached before or is not now.
    pub fn full_m(&self, way: &Way, limits: &Limits, speed_mps: &[f64]) -> Option<f64> {
        let ratio = way.full_ratio?;
        let n = self.nodes();
        let mut most = 0.0_f64;
        let mut short_before = None;
        for k in 0..way.segments {
            let i = (way.first + k) % n;
            let v = 0.5 * (speed_mps[i] + speed_mps[(i + 1) % n]);
            let traction = self.traction_mps2[i];
            if !traction.is_finite() {
                return None;
            }
            most = most.max(traction);
            let short = ratio * limits.engine_mps2(v) - most * limits.grip(v);
            if short <= 0.0 {
                let part = match short_before {
                    Some(before) if before > short => before / (before - short),
                    _ => 0.0,
                };
                return Some((k as f64 - 1.0 + part).max(0.0) * self.step_m);
            }
            short_before = Some(short);
        }
        None
    }
}

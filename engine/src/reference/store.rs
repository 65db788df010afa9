//! A whole reference: where its parts are kept, and how the engine reads it.

use super::{CarCurves, Corner, Frame, Landmark, Node, Session};
use heapless::Vec;

/// A reference wherever its parts are kept: on the heap, in RAM or in flash.
#[derive(Clone, Copy, Debug)]
pub struct ReferenceView<'a> {
    /// The plane the nodes are in.
    pub frame: Frame,
    /// Metres between nodes along the line.
    pub spacing_m: f32,
    /// The line; node 0 is on the start line.
    pub nodes: &'a [Node],
    /// The corners, in the order met after the start line.
    pub corners: &'a [Corner],
    /// Landmarks, by progress.
    pub landmarks: &'a [Landmark],
    /// What the car can do.
    pub car: &'a CarCurves,
    /// Where it comes from.
    pub session: &'a Session,
}

impl ReferenceView<'_> {
    /// Length of the closed line, metres.
    pub fn length_m(&self) -> f32 {
        // Of 32 bits: there are no more than 65,535 nodes, and more bits take more to convert.
        self.spacing_m * self.nodes.len() as u32 as f32
    }

    /// Progress brought into `[0, length)`.
    #[inline]
    pub fn wrap_m(&self, progress_m: f32) -> f32 {
        let length = self.length_m();
        // Nearly all are less than a lap out: then nothing is divided or rounded.
        let wrapped = if (0.0..length).contains(&progress_m) {
            return progress_m;
        } else if (-length..0.0).contains(&progress_m) {
            progress_m + length
        } else {
            progress_m - length * libm::floorf(progress_m / length)
        };
        if wrapped < length { wrapped } else { 0.0 }
    }

    /// The shorter way from `from_m` to `to_m` along the closed line, metres, forward positive.
    #[inline]
    pub fn ahead_m(&self, from_m: f32, to_m: f32) -> f32 {
        let length = self.length_m();
        let d = to_m - from_m;
        if d.abs() < 0.5 * length {
            d
        } else if d.abs() < length {
            if d > 0.0 { d - length } else { d + length }
        } else {
            d - length * libm::roundf(d / length)
        }
    }

    /// The nodes before and behind a progress, and how far it is from the one to the other.
    #[inline]
    fn between(&self, progress_m: f32) -> Option<(&Node, &Node, f32)> {
        let x = self.wrap_m(progress_m) / self.spacing_m;
        let i = x as u16;
        let share = x - f32::from(i);
        match self.nodes.get(usize::from(i)..) {
            Some([a, b, ..]) => Some((a, b, share)),
            Some([a]) => Some((a, self.nodes.first()?, share)),
            _ => self.nodes.first().map(|a| (a, a, share)),
        }
    }

    /// When the reference lap passed a progress, seconds from its start. Past the last node it
    /// runs on to the lap time.
    pub fn time_s(&self, progress_m: f32) -> f32 {
        let x = self.wrap_m(progress_m) / self.spacing_m;
        let at = x as u16;
        let i = usize::from(at);
        let lap_ms = self.session.lap_time_us as f32 * 1e-3;
        let a = self.nodes.get(i).map_or(0.0, |n| n.time_ms as f32);
        let b = self.nodes.get(i + 1).map_or(lap_ms, |n| n.time_ms as f32);
        (a + (b - a) * (x - f32::from(at))) * 1e-3
    }

    /// How fast the reference lap was at a progress, m/s.
    pub fn speed_mps(&self, progress_m: f32) -> f32 {
        let Some((a, b, share)) = self.between(progress_m) else {
            return 0.0;
        };
        let (a, b) = (f32::from(a.speed_cmps), f32::from(b.speed_cmps));
        (a + (b - a) * share) * 0.01
    }

    /// Curvature of the line at a progress, 1/m, left positive.
    pub fn curvature_pm(&self, progress_m: f32) -> f32 {
        let Some((a, b, share)) = self.between(progress_m) else {
            return 0.0;
        };
        let (a, b) = (f32::from(a.curvature_e5), f32::from(b.curvature_e5));
        (a + (b - a) * share) * 1e-5
    }
}

/// A reference kept in fixed memory, for boards (small capacities) and the host (large ones).
#[derive(Clone, Debug)]
pub struct ReferenceStore<const NODES: usize, const CORNERS: usize, const LANDMARKS: usize> {
    /// The plane the nodes are in.
    pub frame: Frame,
    /// Metres between nodes along the line.
    pub spacing_m: f32,
    /// The line.
    pub nodes: Vec<Node, NODES>,
    /// The corners.
    pub corners: Vec<Corner, CORNERS>,
    /// Landmarks.
    pub landmarks: Vec<Landmark, LANDMARKS>,
    /// What the car can do.
    pub car: CarCurves,
    /// Where it comes from.
    pub session: Session,
}

impl<const N: usize, const C: usize, const L: usize> ReferenceStore<N, C, L> {
    /// Empty: not usable until filled.
    pub fn new() -> Self {
        Self {
            frame: Frame::Local {
                east_mm: 0,
                north_mm: 0,
            },
            spacing_m: 0.0,
            nodes: Vec::new(),
            corners: Vec::new(),
            landmarks: Vec::new(),
            car: CarCurves::default(),
            session: Session::default(),
        }
    }

    /// Empties it in place.
    pub fn clear(&mut self) {
        self.frame = Frame::Local {
            east_mm: 0,
            north_mm: 0,
        };
        self.spacing_m = 0.0;
        self.nodes.clear();
        self.corners.clear();
        self.landmarks.clear();
        self.car = CarCurves::default();
        self.session = Session::default();
    }

    /// The reference as the engine reads it.
    pub fn view(&self) -> ReferenceView<'_> {
        ReferenceView {
            frame: self.frame,
            spacing_m: self.spacing_m,
            nodes: &self.nodes,
            corners: &self.corners,
            landmarks: &self.landmarks,
            car: &self.car,
            session: &self.session,
        }
    }
}

impl<const N: usize, const C: usize, const L: usize> Default for ReferenceStore<N, C, L> {
    fn default() -> Self {
        Self::new()
    }
}

//! The line in few bytes: what each node differs by from what its neighbours foretell.
//!
//! | value | foretold by | stored |
//! |---|---|---|
//! | east, north | the last step, turned as it had turned from the one before | the difference, mm |
//! | speed | the last change again | the difference, cm/s |
//! | time | the step driven at the mean of both speeds | the difference, ms |
//! | curvature | the turn between the steps to and from the node | the difference, 1e-5/m |
//!
//! Everything is integer and exact: what comes out is what went in, on every target. Before the
//! first node all values are 0, and so are the steps and the change before the second node. The
//! turned step is `(2 (b·a) b) / (a·a) − a` for the steps `a` then `b`, cut towards zero; where
//! `a` is 0 it is `b`.

use super::Node;

/// A node as it is stored: differences, in the order of the table.
pub(super) type Coded = (i32, i32, i32, i32, i32);

/// The spacing in whole millimetres.
pub(super) fn spacing_mm(spacing_m: f32) -> i64 {
    // Away from zero by half, then cut: rounds without a library call.
    (spacing_m * 1000.0 + 0.5) as i64
}

/// Foretells the next node from the two before it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Predictor {
    spacing_mm: i64,
    last: Option<Node>,
    step_before: (i32, i32),
    step: (i32, i32),
    change: i32,
}

impl Predictor {
    pub fn new(spacing_m: f32) -> Self {
        Self {
            spacing_mm: spacing_mm(spacing_m),
            last: None,
            step_before: (0, 0),
            step: (0, 0),
            change: 0,
        }
    }

    /// Milliseconds between two nodes at their speeds.
    fn dt_ms(&self, a_cmps: u16, b_cmps: u16) -> u32 {
        // mm / ((a + b) / 2 cm/s) in ms = 200 mm / (a + b), rounded.
        let sum = i64::from(a_cmps) + i64::from(b_cmps);
        let twice = self.spacing_mm.saturating_mul(400).saturating_add(sum);
        twice.checked_div(sum.saturating_mul(2)).unwrap_or(0) as u32
    }

    /// The next step if the line keeps its bend.
    fn turned(&self) -> (i32, i32) {
        let wide = |(e, n): (i32, i32)| (i64::from(e), i64::from(n));
        let (a, b) = (wide(self.step_before), wide(self.step));
        let dot = |x: (i64, i64), y: (i64, i64)| {
            x.0.saturating_mul(y.0)
                .saturating_add(x.1.saturating_mul(y.1))
        };
        let (twice, square) = (dot(b, a).saturating_mul(2), dot(a, a));
        let turn = |b: i64, a: i64| {
            let stretched = twice.saturating_mul(b).checked_div(square);
            stretched.map_or(b, |x| x.saturating_sub(a)) as i32
        };
        (turn(b.0, a.0), turn(b.1, a.1))
    }

    fn remember(&mut self, node: Node) {
        if let Some(last) = self.last {
            self.step_before = self.step;
            self.step = (
                node.east_mm.wrapping_sub(last.east_mm),
                node.north_mm.wrapping_sub(last.north_mm),
            );
            self.change = i32::from(node.speed_cmps) - i32::from(last.speed_cmps);
        }
        self.last = Some(node);
    }

    /// The differences of the next node; that of the curvature is left 0.
    pub fn code(&mut self, node: Node) -> Coded {
        let last = self.last.unwrap_or_default();
        let step = self.turned();
        let east = last.east_mm.wrapping_add(step.0);
        let north = last.north_mm.wrapping_add(step.1);
        let speed = i32::from(last.speed_cmps).wrapping_add(self.change);
        let time = match self.last {
            Some(_) => last
                .time_ms
                .wrapping_add(self.dt_ms(last.speed_cmps, node.speed_cmps)),
            None => 0,
        };
        self.remember(node);
        (
            node.east_mm.wrapping_sub(east),
            node.north_mm.wrapping_sub(north),
            i32::from(node.speed_cmps).wrapping_sub(speed),
            node.time_ms.wrapping_sub(time) as i32,
            0,
        )
    }

    /// The next node from its differences, with that of the curvature in place of the curvature;
    /// `None` when a value does not fit its field.
    pub fn decode(&mut self, coded: Coded) -> Option<Node> {
        let last = self.last.unwrap_or_default();
        let speed = i32::from(last.speed_cmps)
            .wrapping_add(self.change)
            .wrapping_add(coded.2);
        let speed_cmps = u16::try_from(speed).ok()?;
        let time = match self.last {
            Some(_) => last
                .time_ms
                .wrapping_add(self.dt_ms(last.speed_cmps, speed_cmps)),
            None => 0,
        };
        let step = self.turned();
        let node = Node {
            east_mm: last.east_mm.wrapping_add(step.0).wrapping_add(coded.0),
            north_mm: last.north_mm.wrapping_add(step.1).wrapping_add(coded.1),
            time_ms: time.wrapping_add(coded.3 as u32),
            speed_cmps,
            curvature_e5: i16::try_from(coded.4).ok()?,
        };
        self.remember(node);
        Some(node)
    }
}

/// Curvature at a node from the turn between the steps to and from it, 1e-5 per metre.
pub(super) fn bend_e5(spacing_mm: i64, before: &Node, at: &Node, behind: &Node) -> i16 {
    let step = |a: &Node, b: &Node| {
        (
            i64::from(b.east_mm) - i64::from(a.east_mm),
            i64::from(b.north_mm) - i64::from(a.north_mm),
        )
    };
    let (x1, y1) = step(before, at);
    let (x2, y2) = step(at, behind);
    let cross = x1.saturating_mul(y2).saturating_sub(y1.saturating_mul(x2));
    // cross mm² / spacing³ mm³ = 1000/m, and 1e5 for the unit.
    let cube = spacing_mm
        .saturating_mul(spacing_mm)
        .saturating_mul(spacing_mm);
    let bend = cross.saturating_mul(100_000_000).checked_div(cube);
    bend.unwrap_or(0)
        .clamp(i64::from(i16::MIN), i64::from(i16::MAX)) as i16
}

/// Turns the differences that stand in place of the curvatures into curvatures.
pub(super) fn restore_curvature(spacing_m: f32, nodes: &mut [Node]) {
    let spacing = spacing_mm(spacing_m);
    for i in 0..nodes.len() {
        let Some(bend) = bend_at(spacing, nodes, i) else {
            return;
        };
        if let Some(node) = nodes.get_mut(i) {
            node.curvature_e5 = node.curvature_e5.wrapping_add(bend);
        }
    }
}

/// The foretold curvature of one node of a closed line.
pub(super) fn bend_at(spacing_mm: i64, nodes: &[Node], i: usize) -> Option<i16> {
    let before = match i.checked_sub(1) {
        Some(b) => nodes.get(b),
        None => nodes.last(),
    }?;
    let behind = nodes.get(i.saturating_add(1)).or(nodes.first())?;
    Some(bend_e5(spacing_mm, before, nodes.get(i)?, behind))
}

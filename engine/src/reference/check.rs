//! What every reference keeps to; checked before one is stored and whenever one is read.

use super::{CarCurves, Corner, Frame, Landmark, Node, REACH_M, ReferenceView, Session, Spread};
use crate::check::{Check, Field, LAP_MAX_S, PROGRESS_MAX_M, SPEED_MAX_MPS, holds, within, words};
use crate::file::{Part, Problem};

/// The fewest nodes a line has.
pub const NODES_MIN: u16 = 16;
/// Spacing of the nodes, metres: least and most.
pub const SPACING_M: (f32, f32) = (0.5, 50.0);
/// Mass of car and driver, kilograms: least and most.
pub const MASS_KG: (f32, f32) = (50.0, 40_000.0);
/// Speed at a node, cm/s: least and most.
const SPEED_CMPS: (u16, u16) = (50, (SPEED_MAX_MPS * 100.0) as u16);

/// Checks the whole of a reference; the first thing wrong is named.
pub fn check(view: &ReferenceView<'_>) -> Result<(), Problem> {
    let value = |part, index: usize, field| Problem::Value {
        part,
        index: u16::try_from(index).unwrap_or(u16::MAX),
        field,
    };
    head(&view.frame, view.spacing_m, view.nodes.len()).map_err(|f| value(Part::Head, 0, f))?;
    session(view.session).map_err(|f| value(Part::Session, 0, f))?;
    car(view.car).map_err(|f| value(Part::Car, 0, f))?;
    let mut corners = Corners::new(view.length_m());
    for (i, c) in view.corners.iter().enumerate() {
        corners.next(c).map_err(|f| value(Part::Corner, i, f))?;
    }
    let last = view.corners.len().saturating_sub(1);
    corners.end().map_err(|f| value(Part::Corner, last, f))?;
    let mut before = 0.0;
    for (i, l) in view.landmarks.iter().enumerate() {
        landmark(l, &mut before, view.length_m()).map_err(|f| value(Part::Landmark, i, f))?;
    }
    let mut nodes = Nodes::new(view.spacing_m, view.session.lap_time_us);
    for (i, n) in view.nodes.iter().enumerate() {
        nodes.next(n).map_err(|f| value(Part::Node, i, f))?;
    }
    let last = view.nodes.len().saturating_sub(1);
    nodes.end().map_err(|f| value(Part::Node, last, f))
}

/// Frame, spacing and number of nodes.
pub(super) fn head(frame: &Frame, spacing_m: f32, nodes: usize) -> Result<(), Field> {
    match *frame {
        Frame::Geodetic {
            lat_e7,
            lon_e7,
            east_m,
            east_lat_m,
            north_m,
            north_lon2_m,
        } => {
            holds("lat_e7", (-890_000_000..=890_000_000).contains(&lat_e7))?;
            holds("lon_e7", (-1_800_000_000..=1_800_000_000).contains(&lon_e7))?;
            // A degree is 110.6 to 111.7 km on the ellipsoid, of longitude at most 111.4 km.
            within("east_m", east_m, 1e-4, 0.0112)?;
            within("east_lat_m", east_lat_m, -1e-10, 1e-10)?;
            within("north_m", north_m, 0.0110, 0.0112)?;
            within("north_lon2_m", north_lon2_m, -1e-10, 1e-10)?;
        }
        Frame::Local { east_mm, north_mm } => {
            let most = crate::check::LOCAL_MAX_MM;
            holds("east_mm", (-most..=most).contains(&east_mm))?;
            holds("north_mm", (-most..=most).contains(&north_mm))?;
        }
    }
    within("spacing_m", spacing_m, SPACING_M.0, SPACING_M.1)?;
    holds(
        "nodes",
        nodes >= usize::from(NODES_MIN) && nodes <= usize::from(u16::MAX),
    )?;
    within("length_m", spacing_m * nodes as f32, 10.0, PROGRESS_MAX_M)
}

pub(super) fn session(s: &Session) -> Result<(), Field> {
    words("name", &s.name)?;
    words("car", &s.car)?;
    words("conditions", &s.conditions)?;
    within("rate_hz", s.rate_hz, 0.0, 10_000.0)?;
    within("speed_noise_mps", s.speed_noise_mps, 0.0, 10.0)?;
    within(
        "mass_kg",
        s.mass_kg.unwrap_or(MASS_KG.0),
        MASS_KG.0,
        MASS_KG.1,
    )?;
    let most = LAP_MAX_S as u64 * 1_000_000;
    holds("lap_time_us", (1_000_000..=most).contains(&s.lap_time_us))
}

pub(super) fn car(c: &CarCurves) -> Result<(), Field> {
    let most = 20_000;
    let all = |t: &[i16], least: i16| t.iter().all(|x| (least..=most).contains(x));
    holds("coast_cmps2", all(&c.coast_cmps2, -most))?;
    holds("full_cmps2", all(&c.full_cmps2, -most))?;
    holds("brake_cmps2", all(&c.brake_cmps2, 0))?;
    holds("lateral_cmps2", all(&c.lateral_cmps2, 0))
}

/// The corners in their order: spans inside the lap, one behind the other, once round.
pub(super) struct Corners {
    length_m: f32,
    first_m: Option<f32>,
    /// Begin of the corner before, and how far its exit is behind that.
    before: Option<(f32, f32)>,
    round_m: f32,
    number: u8,
}

impl Corners {
    pub fn new(length_m: f32) -> Self {
        Self {
            length_m,
            first_m: None,
            before: None,
            round_m: 0.0,
            number: 0,
        }
    }

    /// Metres from one place forward to another, within one lap.
    fn forward(&self, from_m: f32, to_m: f32) -> f32 {
        let d = to_m - from_m;
        if d < 0.0 { d + self.length_m } else { d }
    }

    pub fn next(&mut self, c: &Corner) -> Result<(), Field> {
        self.number = self.number.checked_add(1).ok_or("corners")?;
        self.places(c)?;
        let span = |to| self.forward(c.begin_m, to);
        let (middle, apex, end) = (span(c.middle_begin_m), span(c.apex_m), span(c.middle_end_m));
        let exit = span(c.exit_m);
        holds("apex_m", middle <= apex && apex <= end)?;
        holds("exit_m", end <= exit && span(c.turn_m) <= exit)?;
        self.follow(c.begin_m)?;
        self.before = Some((c.begin_m, exit));
        holds("turn", c.turn == 1 || c.turn == -1)?;
        holds("gear", c.gear.is_none_or(|g| (-1..=20).contains(&g)))?;
        holds("facts.corner", c.facts.corner == self.number)?;
        c.facts.check()?;
        spread(&c.spread)?;
        words("name", &c.name)?;
        words("note", &c.note)
    }

    fn places(&self, c: &Corner) -> Result<(), Field> {
        for (field, x) in [
            ("begin_m", c.begin_m),
            ("turn_m", c.turn_m),
            ("middle_begin_m", c.middle_begin_m),
            ("apex_m", c.apex_m),
            ("middle_end_m", c.middle_end_m),
            ("exit_m", c.exit_m),
        ] {
            holds(field, x >= 0.0 && x < self.length_m)?;
        }
        Ok(())
    }

    /// The span of the corner before ends where this one begins, behind its exit.
    fn follow(&mut self, begin_m: f32) -> Result<(), Field> {
        if let Some((before_m, exit)) = self.before {
            let span = self.forward(before_m, begin_m);
            holds("begin_m", span > 0.0 && exit <= span)?;
            self.round_m += span;
        }
        self.first_m.get_or_insert(begin_m);
        holds("begin_m", self.round_m < self.length_m)
    }

    /// The last span ends where the first begins, once round.
    pub fn end(&self) -> Result<(), Field> {
        let (Some(first_m), Some((begin_m, exit))) = (self.first_m, self.before) else {
            return Ok(());
        };
        let left = self.length_m - self.round_m;
        let span = self.forward(begin_m, first_m);
        // One corner owns the whole lap.
        let span = if span > 0.0 { span } else { self.length_m };
        holds("begin_m", (left - span).abs() < 1.0)?;
        holds("exit_m", exit <= span)
    }
}

fn spread(s: &Spread) -> Result<(), Field> {
    for (field, x) in [
        ("spread.brake_m", s.brake_m),
        ("spread.slowest_mps", s.slowest_mps),
        ("spread.throttle_m", s.throttle_m),
        ("spread.full_m", s.full_m),
        ("spread.exit_mps", s.exit_mps),
        ("spread.offset_slowest_m", s.offset_slowest_m),
        ("spread.offset_exit_m", s.offset_exit_m),
        ("spread.loss_s", s.loss_s),
    ] {
        within(field, x, 0.0, PROGRESS_MAX_M)?;
    }
    Ok(())
}

/// One landmark, not before the one before it.
pub(super) fn landmark(l: &Landmark, before_m: &mut f32, length_m: f32) -> Result<(), Field> {
    holds(
        "progress_m",
        l.progress_m >= *before_m && l.progress_m < length_m,
    )?;
    *before_m = l.progress_m;
    holds("side", (-1..=1).contains(&l.side))?;
    words("name", &l.name)
}

/// The nodes in their order: even steps, rising times, closed.
pub(super) struct Nodes {
    spacing_mm: i64,
    lap_ms: u64,
    first: Option<Node>,
    before: Option<Node>,
}

impl Nodes {
    pub fn new(spacing_m: f32, lap_time_us: u64) -> Self {
        Self {
            spacing_mm: super::nodes::spacing_mm(spacing_m),
            lap_ms: lap_time_us / 1000,
            first: None,
            before: None,
        }
    }

    pub fn next(&mut self, n: &Node) -> Result<(), Field> {
        const REACH_MM: i32 = REACH_M as i32 * 1000;
        holds("east_mm", (-REACH_MM..=REACH_MM).contains(&n.east_mm))?;
        holds("north_mm", (-REACH_MM..=REACH_MM).contains(&n.north_mm))?;
        holds(
            "speed_cmps",
            (SPEED_CMPS.0..=SPEED_CMPS.1).contains(&n.speed_cmps),
        )?;
        match &self.before {
            Some(before) => {
                holds("time_ms", n.time_ms > before.time_ms)?;
                holds("step from the node before", self.even(before, n))?;
            }
            None => {
                holds("time_ms", n.time_ms == 0)?;
                self.first = Some(*n);
            }
        }
        self.before = Some(*n);
        holds("time_ms", u64::from(n.time_ms) <= self.lap_ms)
    }

    /// A chord is the spacing, or shorter where the line bends.
    fn even(&self, a: &Node, b: &Node) -> bool {
        let east = i64::from(b.east_mm).saturating_sub(i64::from(a.east_mm));
        let north = i64::from(b.north_mm).saturating_sub(i64::from(a.north_mm));
        let square = |x: i64| x.saturating_mul(x);
        let step = square(east).saturating_add(square(north));
        let half = self.spacing_mm / 2;
        let most = self.spacing_mm.saturating_add(self.spacing_mm / 10);
        step >= square(half) && step <= square(most)
    }

    pub fn end(&self) -> Result<(), Field> {
        match (&self.first, &self.before) {
            (Some(first), Some(last)) => holds("step to the first node", self.even(last, first)),
            _ => Err("nodes"),
        }
    }
}

//! A car that brakes at moments known exactly, on a circuit that is nearly straight, and the whole
//! engine behind it.

use crate::bound::{Cell, cells};
use cuepost_engine::reference::CURVE_POINTS;
use cuepost_engine::reference::ReferenceStore;
use cuepost_engine::voice::{Pace, View, Watch};
use cuepost_engine::{
    CarCurves, Config, Corner, CornerKind, Engine, Event, Facts, Node, Phase, Position, Sample,
};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use std::sync::OnceLock;

const CORNERS: usize = 48;
const CORNER_M: f64 = 400.0;
const LENGTH_M: f64 = CORNERS as f64 * CORNER_M;
const RADIUS_M: f64 = LENGTH_M / std::f64::consts::TAU;
const SPACING_M: f64 = 5.0;
pub const SPEED_MPS: f64 = 50.0;
/// Where a passage's braking begins, metres into the corner.
const BRAKE_M: f64 = 75.0;
/// On a steady throttle the car gains a little.
const CRUISE_MPS2: f64 = 0.2;
pub const COAST_MPS2: f64 = -0.6;
pub const FULL_MPS2: f64 = 4.0;
const MOST_MPS2: f64 = 10.0;
/// How long the brake is held, seconds.
const HELD_S: f64 = 1.3;
pub const PASSAGES: usize = 400;
/// Passages driven first, in which the engine gets to know the source.
pub const WARM: usize = 6;

pub type Store = ReferenceStore<4096, 64, 1>;

/// What became of one braking.
#[derive(Clone, Copy, Debug)]
pub struct Braked {
    /// The middle of the ramp.
    pub kink_s: f64,
    /// Where that was, metres from the start line.
    pub kink_m: f64,
    /// When the engine says it was.
    pub dated_s: Option<f64>,
    /// Where, and how well it says to know that.
    pub fact: Option<(f64, f64)>,
    /// When the ramp began.
    pub begin_s: f64,
    /// When the sample was fed after which the engine took the car for braking.
    pub seen_s: Option<f64>,
}

impl Braked {
    /// The truth of one whose ramp has its middle at a time and a place.
    pub fn new(kink_s: f64, kink_m: f64, begin_s: f64) -> Self {
        Self {
            kink_s,
            kink_m: kink_m.rem_euclid(LENGTH_M),
            dated_s: None,
            fact: None,
            begin_s,
            seen_s: None,
        }
    }
}

/// A circle with a corner every [`CORNER_M`].
pub fn circuit() -> Box<Store> {
    let mut store = Box::new(Store::new());
    let nodes = (LENGTH_M / SPACING_M) as usize;
    store.spacing_m = SPACING_M as f32;
    for k in 0..nodes {
        let s = k as f64 * SPACING_M;
        let (east, north) = place(s);
        let node = Node {
            east_mm: (east * 1e3).round() as i32,
            north_mm: (north * 1e3).round() as i32,
            time_ms: (s / SPEED_MPS * 1e3) as u32,
            speed_cmps: (SPEED_MPS * 100.0) as u16,
            curvature_e5: (1e5 / RADIUS_M).round() as i16,
        };
        store.nodes.push(node).expect("room");
    }
    for k in 0..CORNERS {
        let at = |m: f64| (k as f64 * CORNER_M + m) as f32;
        let corner = Corner {
            kind: CornerKind::Braked,
            begin_m: at(0.0),
            turn_m: at(140.0),
            middle_begin_m: at(180.0),
            apex_m: at(200.0),
            middle_end_m: at(220.0),
            exit_m: at(260.0),
            turn: 1,
            ..Corner::default()
        };
        store.corners.push(corner).expect("room");
    }
    store.car = CarCurves {
        coast_cmps2: [(COAST_MPS2 * 100.0) as i16; CURVE_POINTS],
        full_cmps2: [(FULL_MPS2 * 100.0) as i16; CURVE_POINTS],
        brake_cmps2: [(MOST_MPS2 * 100.0) as i16; CURVE_POINTS],
        lateral_cmps2: [1000; CURVE_POINTS],
    };
    store.session.lap_time_us = (LENGTH_M / SPEED_MPS * 1e6) as u64;
    store
}

fn place(s_m: f64) -> (f64, f64) {
    let angle = s_m / RADIUS_M;
    (RADIUS_M * angle.cos(), RADIUS_M * angle.sin())
}

/// An acceleration that runs straight from one knot to the next, integrated exactly.
pub struct Motion {
    /// Time, place, speed and acceleration at each knot.
    knots: Vec<[f64; 4]>,
    next: usize,
}

impl Motion {
    /// A drive at the usual speed.
    pub fn begin() -> Self {
        Self {
            knots: vec![[0.0, 1.0, SPEED_MPS, 0.0]],
            next: 0,
        }
    }

    /// Goes on steadily from about a speed until so many metres before a corner's braking.
    pub fn on_to_corner(&mut self, corner: usize, speed_mps: f64, before_m: f64) {
        self.on(0.3, 0.0);
        let to_m = corner as f64 * CORNER_M + BRAKE_M - before_m - self.last()[1];
        self.on((to_m / speed_mps).max(0.01), 0.0);
    }

    /// Goes on to a new acceleration over some time.
    pub fn on(&mut self, over_s: f64, to_mps2: f64) {
        let [t, s, v, a] = *self.knots.last().expect("a knot");
        let slope = (to_mps2 - a) / over_s.max(1e-9);
        let at = |x: f64| {
            (
                s + v * x + a * x * x / 2.0 + slope * x * x * x / 6.0,
                v + a * x + slope * x * x / 2.0,
            )
        };
        let (s, v) = at(over_s);
        self.knots.push([t + over_s, s, v, to_mps2]);
    }

    pub fn last(&self) -> [f64; 4] {
        *self.knots.last().expect("a knot")
    }

    /// Place and speed at times that never go back.
    pub fn at(&mut self, time_s: f64) -> (f64, f64) {
        while self.next + 2 < self.knots.len() && self.knots[self.next + 1][0] <= time_s {
            self.next += 1;
        }
        let ([t, s, v, a], [u, _, _, b]) = (self.knots[self.next], self.knots[self.next + 1]);
        let (x, slope) = (time_s - t, (b - a) / (u - t).max(1e-12));
        (
            s + v * x + a * x * x / 2.0 + slope * x * x * x / 6.0,
            v + a * x + slope * x * x / 2.0,
        )
    }
}

/// The whole drive of a cell, and the truth of its brakings.
fn motion(cell: &Cell, random: &mut Pcg64) -> (Motion, Vec<Braked>) {
    let mut motion = Motion {
        knots: vec![[0.0, 1.0, SPEED_MPS, CRUISE_MPS2]],
        next: 0,
    };
    let mut braked = Vec::new();
    for k in 0..PASSAGES + WARM {
        let [_, s, v, _] = motion.last();
        let to_m = k as f64 * CORNER_M + BRAKE_M - s;
        let cruise_s = 2.0 * to_m / (v + (v * v + 2.0 * CRUISE_MPS2 * to_m).sqrt());
        motion.on(cruise_s + 0.1 * random.random::<f64>(), CRUISE_MPS2);
        let [begin_s, s, v, _] = motion.last();
        let half_s = 0.5 * cell.ramp_s;
        let slope = cell.step_mps2 / cell.ramp_s.max(1e-9);
        let kink_m = s + v * half_s + CRUISE_MPS2 * half_s * half_s / 2.0
            - slope * half_s * half_s * half_s / 6.0;
        if k >= WARM {
            braked.push(Braked::new(begin_s + half_s, kink_m, begin_s));
        }
        motion.on(cell.ramp_s, CRUISE_MPS2 - cell.step_mps2);
        motion.on(HELD_S, CRUISE_MPS2 - cell.step_mps2);
        motion.on(0.3, COAST_MPS2);
        motion.on(0.3, COAST_MPS2);
        motion.on(0.3, FULL_MPS2);
        let missing_mps = SPEED_MPS - motion.last()[2] - 0.15 * (FULL_MPS2 + CRUISE_MPS2);
        motion.on((missing_mps / FULL_MPS2).max(0.01), FULL_MPS2);
        motion.on(0.3, CRUISE_MPS2);
    }
    motion.on(10.0, CRUISE_MPS2);
    (motion, braked)
}

/// Noise of first order.
pub struct Noise {
    random: Pcg64,
    rho: f64,
    sd: f64,
    last: f64,
}

impl Noise {
    pub fn new(cell: &Cell, seed: u64) -> Self {
        Self {
            random: Pcg64::seed_from_u64(seed),
            rho: cell.rho,
            sd: cell.noise_mps,
            last: 0.0,
        }
    }

    pub fn next(&mut self) -> f64 {
        let fresh: f64 = StandardNormal.sample(&mut self.random);
        self.last = self.rho * self.last + (1.0 - self.rho * self.rho).sqrt() * fresh * self.sd;
        self.last
    }
}

/// Whether the engine takes the car for braking.
#[derive(Default)]
pub struct Seen {
    /// It does.
    pub braking: bool,
}

impl Watch for Seen {
    fn hushed(&mut self) {}
    fn finished(&mut self, _: &Facts, _: u64, _: &Pace) {}
    fn moment(&mut self, view: &View<'_>, _: &Pace) {
        self.braking = view.doing.braking;
    }
}

/// The car at one instant, as a source without pedals tells it.
pub fn sample(time_s: f64, s_m: f64, speed_mps: f64) -> Sample {
    let (east, north) = place(s_m);
    let direction = s_m / RADIUS_M + std::f64::consts::FRAC_PI_2;
    Sample {
        time_us: (time_s * 1e6).round() as u64,
        position: Some(Position::Local {
            east_mm: (east * 1e3).round() as i64,
            north_mm: (north * 1e3).round() as i64,
        }),
        speed_mps: Some(speed_mps as f32),
        direction_rad: Some((direction % std::f64::consts::TAU) as f32),
        ..Sample::default()
    }
}

/// All brakings of all cells, driven once for all tests, on both cores.
pub fn all() -> &'static [(Cell, Vec<Braked>)] {
    static ALL: OnceLock<Vec<(Cell, Vec<Braked>)>> = OnceLock::new();
    ALL.get_or_init(|| {
        let cells = cells();
        let half = cells.len().div_ceil(2);
        let work = |part: &[Cell], from: usize| -> Vec<(Cell, Vec<Braked>)> {
            let seed = |i: usize| 1000 + 2 * (from + i) as u64;
            let part = part.iter().enumerate();
            part.map(|(i, c)| (*c, brakings(c, seed(i)))).collect()
        };
        std::thread::scope(|scope| {
            let (a, b) = cells.split_at(half);
            let other = scope.spawn(move || work(b, half));
            let mut all = work(a, 0);
            all.extend(other.join().expect("driven"));
            all
        })
    })
}

/// Drives all brakings of a cell through the engine.
fn brakings(cell: &Cell, seed: u64) -> Vec<Braked> {
    let mut random = Pcg64::seed_from_u64(seed);
    let (motion, braked) = motion(cell, &mut random);
    driven(cell, motion, braked, seed + 1)
}

/// The same of a drive and its brakings.
pub fn driven(cell: &Cell, mut motion: Motion, mut braked: Vec<Braked>, seed: u64) -> Vec<Braked> {
    let mut noise = Noise::new(cell, seed);
    let store = circuit();
    let view = store.view();
    let mut engine = Engine::new(Config::default());
    let mut seen = Seen::default();
    let samples = (motion.last()[0] * cell.rate_hz) as usize;
    let mut under_way = 0;
    for k in 0..samples {
        let time_s = k as f64 / cell.rate_hz;
        let (s, v) = motion.at(time_s);
        let sample = sample(time_s, s, v + noise.next());
        for event in engine.feed_watched(&view, &sample, &mut seen) {
            note(event, &mut braked);
        }
        while under_way + 1 < braked.len() && time_s > braked[under_way + 1].begin_s {
            under_way += 1;
        }
        let now = &mut braked[under_way];
        if seen.braking && now.seen_s.is_none() && time_s > now.begin_s {
            now.seen_s = Some(time_s);
        }
    }
    for event in engine.finish(&view) {
        note(event, &mut braked);
    }
    braked
}

/// Gives what the engine said to the braking it is about.
fn note(event: &Event, braked: &mut [Braked]) {
    match event {
        Event::Phase(p) if p.phase == Phase::Brake => {
            let time_s = p.time_us as f64 * 1e-6;
            let near = braked
                .iter_mut()
                .find(|b| (b.kink_s - time_s).abs() < 2.0 && b.dated_s.is_none());
            if let Some(b) = near {
                b.dated_s = Some(time_s);
            }
        }
        Event::Corner(facts) => {
            let Some(at) = facts.brake_m.filter(|_| facts.usable) else {
                return;
            };
            let m = f64::from(at.value);
            let near = braked
                .iter_mut()
                .find(|b| b.fact.is_none() && b.dated_s.is_some() && off_m(b, m).abs() < 100.0);
            if let Some(b) = near {
                b.fact = Some((m, f64::from(at.sd)));
            }
        }
        _ => {}
    }
}

/// How far a place is from where the braking began, metres along the line.
pub fn off_m(braked: &Braked, m: f64) -> f64 {
    let d = m - braked.kink_m;
    d - LENGTH_M * (d / LENGTH_M).round()
}

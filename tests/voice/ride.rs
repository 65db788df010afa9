//! Random laps on random circuits through the whole engine, and all that was said of them.

use cuepost_engine::judge::{Verdict, judge};
use cuepost_engine::reference::ReferenceView;
use cuepost_engine::voice::{Pace, View, Watch};
use cuepost_engine::{
    Config, Cue, Engine, Event, Facts, Focus, HealthState, LapEvent, PhaseEvent, Thresholds,
};
use cuepost_host::demo::campaign::{Case, Wanted, case};
use cuepost_host::demo::fault::FaultKind;
use cuepost_host::demo::receiver::{ReceiverModel, sample};
use cuepost_host::learn::Learned;
use cuepost_tests::campaign::teach;
use cuepost_tests::faults::{Fault, Fed, Rate, Stream, inject};
use proptest::prelude::*;
use std::sync::LazyLock;

/// Circuits, each with a car, a coach and a driver of its own.
const WORLDS: u64 = 6;

/// A circuit, what was driven on it, and the reference from the coach's laps.
pub struct World {
    /// The invented part.
    pub case: Case,
    /// What was learned.
    pub learned: Learned,
    /// The coach's lap that became the reference.
    pub chosen: u16,
}

static ALL: LazyLock<Vec<World>> = LazyLock::new(|| (0..WORLDS).map(World::new).collect());

impl World {
    fn new(seed: u64) -> Self {
        let mut wanted = Wanted {
            share: 0.7,
            laps: 7,
            ..Wanted::default()
        };
        // Every second driver makes few mistakes, often and large.
        if seed % 2 == 1 {
            wanted.kinds = vec![
                FaultKind::ThrottleLate,
                FaultKind::ThrottleLate,
                FaultKind::OverSlow,
            ];
            wanted.sizes = vec![2.0, 3.0, 4.0];
            wanted.share = 0.9;
        }
        let case = case(500 + seed, &wanted);
        let learned = teach(&case, &ReceiverModel::usual(25.0), seed).expect("a reference");
        let chosen = learned.cut.laps[learned.chosen].number as u16;
        Self {
            case,
            learned,
            chosen,
        }
    }

    /// One of them.
    pub fn at(index: usize) -> &'static Self {
        &ALL[index % ALL.len()]
    }

    /// What was learned, as the engine looks at it.
    pub fn reference(&self) -> ReferenceView<'_> {
        self.learned.reference.view()
    }
}

/// How a driver's laps reach the engine, and how it is set.
#[derive(Clone, Debug)]
pub struct Wish {
    /// Which world.
    pub world: usize,
    /// Seed of the receiver.
    pub seed: u64,
    /// Samples a second.
    pub rate_hz: f64,
    /// Noise of speed, m/s.
    pub noise_mps: f64,
    /// Whether the pedals are shown.
    pub pedals: bool,
    /// One sample in so many is lost; 0 for none.
    pub drop_every: usize,
    /// What goes wrong besides.
    pub fault: Option<(Fault, Rate)>,
    /// How the engine is set.
    pub config: Config,
}

prop_compose! {
    /// Thresholds from a third to three times the usual ones.
    fn thresholds()(shares in prop::array::uniform8(0.33f32..3.0)) -> Thresholds {
        let t = Thresholds::DEFAULT;
        let [brake, decel, slowest, offset, throttle, full, loss, better] = shares;
        Thresholds {
            brake_m: t.brake_m * brake,
            decel_ratio: t.decel_ratio * decel,
            slowest_mps: t.slowest_mps * slowest,
            offset_m: t.offset_m * offset,
            throttle_m: t.throttle_m * throttle,
            full_m: t.full_m * full,
            loss_s: t.loss_s * loss,
            better_s: t.better_s * better,
            ..t
        }
    }
}

prop_compose! {
    fn config(focus: Option<Focus>)(
        thresholds in thresholds(),
        other in thresholds(),
        corner in prop::option::of(1u8..12),
        one in any::<bool>(),
    ) -> Config {
        let drawn = if one { Focus::One } else { Focus::Every };
        let mut config = Config { thresholds, focus: focus.unwrap_or(drawn), ..Config::default() };
        if let Some(corner) = corner {
            config.overrides.push((corner, other)).expect("room for one");
        }
        config
    }
}

prop_compose! {
    /// A stream without other faults than lost samples, or with any of them.
    pub fn wish(faulty: bool, focus: Option<Focus>)(
        world in 0..WORLDS as usize,
        seed in any::<u64>(),
        rate_hz in prop::sample::select(vec![10.0, 18.0, 25.0, 50.0]),
        noise_mps in 0.0..0.1,
        pedals in any::<bool>(),
        drop_every in prop::sample::select(vec![0usize, 0, 7, 3]),
        fault in prop::sample::select(Fault::ALL.to_vec()),
        rate in prop::sample::select(Rate::ALL.to_vec()),
        config in config(focus),
    ) -> Wish {
        let fault = faulty.then_some((fault, rate));
        Wish { world, seed, rate_hz, noise_mps, pedals, drop_every, fault, config }
    }
}

/// A cue and when it came.
#[derive(Clone, Copy, Debug)]
pub struct Told {
    /// What.
    pub cue: Cue,
    /// Index of the sample that caused it.
    pub at: usize,
    /// How far the finished corners had come.
    pub finished: usize,
    /// What the engine thought of its input.
    pub health: HealthState,
}

/// A corner left behind.
#[derive(Clone, Copy, Debug)]
pub struct Finished {
    /// Its facts.
    pub facts: Facts,
    /// What the judge makes of them.
    pub verdict: Option<Verdict>,
    /// Index of the sample that finished it.
    pub at: usize,
}

/// One sample's outcome.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    /// Its time.
    pub time_us: u64,
    /// Metres from the start line.
    pub progress_m: Option<f32>,
    /// The voice forgot what it had told.
    pub hushed: bool,
}

/// All that was said.
#[derive(Default)]
pub struct Tape {
    /// Sample by sample.
    pub steps: Vec<Step>,
    /// Cues.
    pub told: Vec<Told>,
    /// Corners.
    pub finished: Vec<Finished>,
    /// Phases, and at which sample.
    pub phases: Vec<(usize, PhaseEvent)>,
    /// Laps, and at which sample.
    pub laps: Vec<(usize, LapEvent)>,
}

/// Sees the corners as the voice does.
struct Ears<'a> {
    reference: &'a ReferenceView<'a>,
    config: &'a Config,
    heard: Vec<(Facts, Option<Verdict>)>,
    hushed: bool,
}

impl Watch for Ears<'_> {
    fn hushed(&mut self) {
        self.hushed = true;
    }

    fn finished(&mut self, facts: &Facts, _: u64, pace: &Pace) {
        let index = usize::from(facts.corner) - 1;
        let corner = &self.reference.corners[index];
        let allowance = pace.allowance(self.reference, index);
        let limit = self.config.at(facts.corner);
        let verdict = judge(self.reference, corner, facts, limit, allowance);
        self.heard.push((*facts, verdict));
    }

    fn moment(&mut self, _: &View<'_>, _: &Pace) {}
}

/// Drives.
pub fn ride(wish: &Wish) -> Tape {
    let world = World::at(wish.world);
    let reference = world.reference();
    let mut engine = Engine::new(wish.config.clone());
    let mut tape = Tape::default();
    let mut ears = Ears {
        reference: &reference,
        config: &wish.config,
        heard: Vec::new(),
        hushed: false,
    };
    for (at, fed) in stream(world, wish).iter().enumerate() {
        ears.hushed = false;
        let events = engine
            .feed_watched(&reference, &fed.sample, &mut ears)
            .to_vec();
        for (facts, verdict) in ears.heard.drain(..) {
            tape.finished.push(Finished { facts, verdict, at });
        }
        for event in events {
            match event {
                Event::Cue(cue) => tape.told.push(Told {
                    cue,
                    at,
                    finished: tape.finished.len(),
                    health: engine.health().0,
                }),
                Event::Phase(phase) => tape.phases.push((at, phase)),
                Event::Lap(lap) => tape.laps.push((at, lap)),
                _ => {}
            }
        }
        tape.steps.push(Step {
            time_us: fed.sample.time_us,
            progress_m: engine.place().map(|p| p.progress_m),
            hushed: ears.hushed,
        });
    }
    tape
}

fn stream(world: &World, wish: &Wish) -> Vec<Fed> {
    let receiver = ReceiverModel {
        speed_sd_mps: wish.noise_mps,
        pedals: wish.pedals,
        ..ReceiverModel::usual(wish.rate_hz)
    };
    let mut samples = sample(&world.case.driven, &receiver, wish.seed);
    let mut count = 0;
    samples.retain(|_| {
        count += 1;
        wish.drop_every == 0 || count % wish.drop_every != 0
    });
    let Some((fault, rate)) = wish.fault else {
        return samples.into_iter().map(Fed::good).collect();
    };
    let stream = Stream {
        name: String::new(),
        reference: world.learned.reference.clone(),
        samples,
    };
    inject(&stream, fault, rate, wish.seed).samples
}

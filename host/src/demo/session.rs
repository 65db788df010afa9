//! The whole job on the invented circuit: a coach's laps become a reference, a driver's laps with
//! planted faults are held against it, and what was told is put next to what was planted.

use super::advice::is_right;
use super::car::Car;
use super::circuit::Circuit;
use super::drive::Drive;
use super::driver::{Driver, LapPlan, Scatter};
use super::fault::{Fault, FaultKind};
use super::known::first_known_s;
use super::layout::LayoutError;
use super::plan::{Style, Turn};
use super::quillmere;
use super::receiver::{Plane, ReceiverModel, sample};
use super::truth::Passage;
use crate::learn::start::StartAt;
use crate::learn::{LearnError, Learned, Options, Take, learn};
use cuepost_engine::reference::{Landmark, SourceKind};
use cuepost_engine::thresholds::{Config, Thresholds};
use cuepost_engine::{Cue, Engine, Event, Facts, Position, Sample, Told};

/// What is to be shown.
#[derive(Clone, Debug, PartialEq)]
pub struct Wish {
    /// Everything follows from it.
    pub seed: u64,
    /// How the laps are received.
    pub receiver: ReceiverModel,
    /// The driver's laps.
    pub laps: Vec<LapPlan>,
}

impl Wish {
    /// Five laps: a clean one, three with faults (one of them twice), one on tired tyres.
    pub fn usual(seed: u64, receiver: ReceiverModel) -> Self {
        let late_throttle = (6, FaultKind::ThrottleLate.of(18.0));
        let laps = vec![
            LapPlan::clean(),
            LapPlan::with(&[
                (4, FaultKind::BrakeEarly.of(18.0)),
                late_throttle,
                (8, FaultKind::BrakeLate.of(14.0)),
                (10, FaultKind::ExitUnused.of(4.5)),
            ]),
            LapPlan::with(&[
                (2, FaultKind::OverSlow.of(3.0)),
                late_throttle,
                (8, FaultKind::LiftAfter.of(0.8)),
            ]),
            LapPlan::with(&[
                (1, FaultKind::BrakeSoft.of(0.3)),
                (3, FaultKind::Lift.of(0.7)),
                (8, FaultKind::Faster.of(2.0)),
                (10, FaultKind::SlowToFull.of(50.0)),
            ]),
            LapPlan::at_pace(0.95),
        ];
        Self {
            seed,
            receiver,
            laps,
        }
    }
}

/// Why nothing could be shown.
#[derive(Debug, thiserror::Error)]
pub enum SessionError {
    /// The circuit's pieces do not fit.
    #[error("the circuit: {0}")]
    Layout(#[from] LayoutError),
    /// No reference came of the coach's laps as received.
    #[error("the coach's laps, as received: {0}")]
    Learn(#[from] LearnError),
}

/// Everything that happened.
pub struct Session {
    /// Where.
    pub circuit: Circuit,
    /// The driver; the coach drives by the same plan.
    pub driver: Driver,
    /// The driver's laps as ordered.
    pub laps: Vec<LapPlan>,
    /// The coach's laps.
    pub coach: Drive,
    /// The driver's laps.
    pub driven: Drive,
    /// The coach's laps as received.
    pub coach_samples: Vec<Sample>,
    /// The driver's laps as received.
    pub driven_samples: Vec<Sample>,
    /// The reference.
    pub learned: Learned,
    /// What the engine said of the driver's laps.
    pub events: Vec<Event>,
}

/// One passage of one corner: what was planted, what came of it, what was told.
#[derive(Clone, Debug)]
pub struct Row<'a> {
    /// The corner.
    pub turn: &'a Turn,
    /// What really happened.
    pub passage: &'a Passage,
    /// Seconds really lost to the reference lap, the straight after the corner included.
    pub lost_s: Option<f64>,
    /// Seconds lost as measured.
    pub measured_s: Option<f32>,
    /// What was told.
    pub told: Vec<Cue>,
}

impl Row<'_> {
    /// What was planted.
    pub fn planted(&self) -> Option<Fault> {
        self.passage.fault
    }

    /// Whether the first word about it was what a coach would say; `None` when nothing was planted
    /// or nothing told.
    pub fn right(&self) -> Option<bool> {
        let fault = self.planted()?;
        let first = self.told.iter().find(|c| c.told != Told::Ahead)?;
        Some(is_right(
            fault.kind,
            self.turn.kind,
            (first.phase, first.advice),
        ))
    }
}

/// The coach's laps.
const COACH_LAPS: usize = 4;

impl Session {
    /// Drives, learns and replays. The same wish, the same session.
    ///
    /// # Errors
    /// When no reference comes of the coach's laps, as with a receiver that is too bad.
    pub fn hold(wish: &Wish) -> Result<Self, SessionError> {
        let circuit = quillmere::circuit()?;
        let car = Car::touring();
        let driver = Driver::practised(&circuit, &car, Style::STEADY, Scatter::COACH);
        let coach = driver.drive(&circuit, &vec![LapPlan::clean(); COACH_LAPS], wish.seed);
        let driven = driver.drive(&circuit, &wish.laps, wish.seed.wrapping_add(1));
        let coach_samples = sample(&coach, &wish.receiver, wish.seed);
        let driven_samples = sample(&driven, &wish.receiver, wish.seed.wrapping_add(1));
        let learned = teach(&circuit, &driver, wish.receiver.plane, &coach_samples)?;
        let reference = learned.reference.view();
        let mut engine = Engine::new(Config::default());
        let mut events = Vec::new();
        for s in &driven_samples {
            events.extend_from_slice(engine.feed(&reference, s));
        }
        events.extend_from_slice(engine.finish(&reference));
        Ok(Self {
            circuit,
            driver,
            laps: wish.laps.clone(),
            coach,
            driven,
            coach_samples,
            driven_samples,
            learned,
            events,
        })
    }

    /// The lap of the coach that is the reference, from 1.
    pub fn reference_lap(&self) -> u16 {
        let lap = self.learned.cut.laps.get(self.learned.chosen);
        lap.map_or(1, |l| l.number as u16)
    }

    /// The plan's corner of a corner of the reference.
    pub fn turn_of(&self, corner: u8) -> Option<&Turn> {
        let corner = self
            .learned
            .reference
            .corners
            .get(usize::from(corner).checked_sub(1)?)?;
        let number = self
            .driver
            .plan
            .number_at(&self.circuit, corner.apex_m.into())?;
        self.driver.plan.turns.get(usize::from(number) - 1)
    }

    /// Every passage of a lap of the driver.
    pub fn rows(&self, lap: u16) -> Vec<Row<'_>> {
        let mut rows: Vec<Row<'_>> = self
            .driver
            .plan
            .turns
            .iter()
            .filter_map(|turn| {
                Some(Row {
                    turn,
                    passage: self.driven.passage(lap, turn.number)?,
                    lost_s: self.lost_s(lap, turn),
                    measured_s: None,
                    told: Vec::new(),
                })
            })
            .collect();
        for event in &self.events {
            match event {
                Event::Cue(cue) => self.give(&mut rows, cue),
                Event::Corner(facts) if facts.lap == lap => self.measure(&mut rows, facts),
                _ => {}
            }
        }
        rows
    }

    /// When a planted fault could first be known, seconds from the recording's time zero.
    pub fn known_s(&self, row: &Row<'_>) -> Option<f64> {
        let good = self.coach.passage(self.reference_lap(), row.turn.number)?;
        let fault = row.planted()?;
        first_known_s(&self.driven, row.passage, good, fault, &Thresholds::DEFAULT)
    }

    fn lost_s(&self, lap: u16, turn: &Turn) -> Option<f64> {
        let (from, to) = (
            turn.begin_m,
            self.driver.plan.road_end_m(&self.circuit, turn),
        );
        let now = self.driven.between_s(lap, from, to)?;
        Some(now - self.coach.between_s(self.reference_lap(), from, to)?)
    }

    /// Gives a cue to the passage it is about: the one whose exit is nearest in time (a cue about
    /// the last corner may come behind the start line).
    fn give(&self, rows: &mut [Row<'_>], cue: &Cue) {
        let Some(turn) = self.turn_of(cue.corner) else {
            return;
        };
        let at_s = cue.time_us as f64 * 1e-6;
        let away = |p: &Passage| (p.exit.time_s - at_s).abs();
        let nearest = self
            .driven
            .passages
            .iter()
            .filter(|p| p.corner == turn.number)
            .min_by(|a, b| away(a).total_cmp(&away(b)));
        let row = rows.iter_mut().find(|r| {
            nearest.is_some_and(|p| p.lap == r.passage.lap && p.corner == r.passage.corner)
        });
        if let Some(row) = row {
            row.told.push(*cue);
        }
    }

    fn measure(&self, rows: &mut [Row<'_>], facts: &Facts) {
        let Some(number) = self.turn_of(facts.corner).map(|t| t.number) else {
            return;
        };
        if let (Some(row), Some(lost)) = (
            rows.iter_mut().find(|r| r.turn.number == number),
            facts.loss_s(),
        ) {
            // A corner of the plan may be two of the reference.
            row.measured_s = Some(row.measured_s.unwrap_or(0.0) + lost);
        }
    }
}

/// The reference from the coach's laps, with the circuit's names and landmarks.
fn teach(
    circuit: &Circuit,
    driver: &Driver,
    plane: Plane,
    samples: &[Sample],
) -> Result<Learned, SessionError> {
    let (east_m, north_m, bearing_deg) = circuit.start_line();
    let start = match plane.position(east_m, north_m) {
        Position::Local { .. } => circuit.start(),
        Position::Geodetic { lat_e7, lon_e7 } => StartAt::Globe {
            lat_deg: f64::from(lat_e7) * 1e-7,
            lon_deg: f64::from(lon_e7) * 1e-7,
            bearing_deg,
        },
    };
    let options = Options {
        start: Some(start),
        name: circuit.name.clone(),
        car: "demo touring car".to_owned(),
        conditions: "invented, dry".to_owned(),
        // The recordings are tables, which say nothing of what made them.
        source: SourceKind::Unknown,
        ..Options::default()
    };
    let take = Take {
        name: "coach",
        samples,
    };
    let mut learned = learn(&[take], &options, &mut |_, _| {})?;
    let reference = &mut learned.reference;
    for corner in &mut reference.corners {
        let number = driver.plan.number_at(circuit, corner.apex_m.into());
        if let Some(name) = number.and_then(name_of) {
            corner.name = name.chars().take(24).collect();
        }
    }
    for mark in &circuit.marks {
        let landmark = Landmark {
            progress_m: mark.progress_m as f32,
            side: mark.side,
            name: mark.name.chars().take(24).collect(),
        };
        if reference.landmarks.push(landmark).is_err() {
            break;
        }
    }
    Ok(learned)
}

/// What a corner of the plan is called.
pub fn name_of(number: u8) -> Option<&'static str> {
    quillmere::NAMES
        .get(usize::from(number).checked_sub(1)?)
        .copied()
}

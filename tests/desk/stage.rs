//! A coach's laps as the reference and a driver's laps with faults, on the invented circuit.

use cuepost_engine::{Config, Sample};
use cuepost_host::demo::car::Car;
use cuepost_host::demo::circuit::Circuit;
use cuepost_host::demo::drive::Drive;
use cuepost_host::demo::driver::{Driver, LapPlan, Scatter};
use cuepost_host::demo::fault::Fault;
use cuepost_host::demo::plan::Style;
use cuepost_host::demo::plan::Turn;
use cuepost_host::demo::quillmere;
use cuepost_host::demo::receiver::{ReceiverModel, sample};
use cuepost_host::learn::{Options, Take, learn};
use cuepost_host::reference_file::HostReference;
use cuepost_host::session::{Session, measure};

pub struct Stage {
    pub circuit: Circuit,
    pub driver: Driver,
    pub coach: Drive,
    pub reference: Box<HostReference>,
    receiver: ReceiverModel,
}

impl Stage {
    pub fn new(seed: u64, receiver: ReceiverModel) -> Self {
        let circuit = quillmere::circuit().expect("the pieces fit");
        let driver = Driver::practised(&circuit, &Car::touring(), Style::STEADY, Scatter::COACH);
        let coach = driver.drive(&circuit, &vec![LapPlan::clean(); 3], seed);
        let samples = sample(&coach, &receiver, seed);
        let options = Options {
            start: Some(circuit.start()),
            ..Options::default()
        };
        let take = Take {
            name: "coach",
            samples: &samples,
        };
        let learned = learn(&[take], &options, &mut |_, _| {}).expect("a reference");
        Self {
            circuit,
            driver,
            coach,
            reference: learned.reference,
            receiver,
        }
    }

    /// The same faults in every lap.
    pub fn drive(&self, laps: usize, faults: &[(u8, Fault)], seed: u64) -> Drive {
        let plans = vec![LapPlan::with(faults); laps];
        self.driver.drive(&self.circuit, &plans, seed)
    }

    pub fn samples(&self, drive: &Drive, seed: u64) -> Vec<Sample> {
        sample(drive, &self.receiver, seed)
    }

    pub fn session(&self, samples: &[Sample], config: &Config) -> Session {
        let all = samples
            .iter()
            .map(|s| Ok::<_, std::convert::Infallible>(*s));
        measure(all, &self.reference.view(), config).0
    }

    /// What a corner with the road up to the next one's braking really cost, seconds a lap.
    pub fn truth_s(&self, drive: &Drive, corner: u8) -> f64 {
        let turns = &self.driver.plan.turns;
        let from = turns[usize::from(corner) - 1].begin_m - 60.0;
        let braked_m = |t: &Turn| t.practice.brake.map_or(t.turn_m, |m| m.along_m);
        let next = turns.get(usize::from(corner)).map(braked_m);
        let to = next.unwrap_or(self.circuit.length_m() + braked_m(&turns[0]));
        let took = |d: &Drive| {
            let all: Vec<f64> = (1..d.laps())
                .filter_map(|l| d.between_s(l, from, to))
                .collect();
            all.iter().sum::<f64>() / all.len() as f64
        };
        took(drive) - took(&self.coach)
    }
}

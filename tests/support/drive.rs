//! Gate and progress run together, as the engine does.

use cuepost_engine::event::HealthState;
use cuepost_engine::gate::{Admitted, Gate, Refusal};
use cuepost_engine::progress::{Closed, Crossing, Place, Progress};
use cuepost_engine::{ReferenceView, Sample, Why};

/// What became of one sample.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    /// Its time in seconds.
    pub time_s: f64,
    /// What the gate made of it.
    pub gate: Result<Admitted, Refusal>,
    /// Where it is.
    pub place: Option<Place>,
    /// What is to be said of it.
    pub health: (HealthState, Why),
}

/// A whole drive.
pub struct Drive {
    /// Every sample.
    pub steps: Vec<Step>,
    /// The gate as it was left.
    pub gate: Gate,
    /// The progress stage as it was left.
    pub progress: Progress,
}

/// Drives samples through gate and progress.
pub fn drive(line: &ReferenceView<'_>, samples: &[Sample]) -> Drive {
    let mut gate = Gate::default();
    let mut progress = Progress::default();
    let steps = samples
        .iter()
        .map(|s| {
            let admitted = gate.admit(&line.frame, s);
            let place = admitted
                .as_ref()
                .ok()
                .and_then(|a| progress.advance(line, a));
            let health = match (gate.health(), place) {
                ((HealthState::Ok, _), Some(p)) => (p.state, p.why),
                ((HealthState::Ok, _), None) => progress.health(),
                (bad, _) => bad,
            };
            Step {
                time_s: s.time_us as f64 * 1e-6,
                gate: admitted,
                place,
                health,
            }
        })
        .collect();
    Drive {
        steps,
        gate,
        progress,
    }
}

impl Drive {
    /// All crossings of the start line.
    pub fn crossings(&self) -> Vec<Crossing> {
        self.steps
            .iter()
            .filter_map(|s| s.place?.crossing)
            .collect()
    }

    /// All laps that were closed.
    pub fn laps(&self) -> Vec<Closed> {
        self.crossings().iter().filter_map(|c| c.closed).collect()
    }

    /// The step at or after a time.
    pub fn at(&self, time_s: f64) -> &Step {
        self.steps
            .iter()
            .find(|s| s.time_s >= time_s - 1e-9)
            .expect("within the drive")
    }

    /// The steps from one time to another.
    pub fn between(&self, from_s: f64, to_s: f64) -> impl Iterator<Item = &Step> {
        self.steps
            .iter()
            .filter(move |s| s.time_s >= from_s - 1e-9 && s.time_s <= to_s + 1e-9)
    }
}

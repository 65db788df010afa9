//! Streams to drive: a simulator's from files, or invented ones.

use super::inject::Fed;
use crate::csv::Table;
use cuepost_engine::Sample;
use cuepost_engine::reference::SourceKind;
use cuepost_host::demo::campaign::{Wanted, case};
use cuepost_host::demo::receiver::{ReceiverModel, sample};
use cuepost_host::learn::{Options, Take, learn};
use cuepost_host::reference_file::HostReference;
use rand::SeedableRng;
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64;
use std::path::Path;

/// A drive and the reference it is held against.
pub struct Stream {
    /// Its name.
    pub name: String,
    /// The coach's.
    pub reference: Box<HostReference>,
    /// The driver's.
    pub samples: Vec<Sample>,
}

impl Stream {
    /// The stream as it is.
    pub fn clean(&self) -> Vec<Fed> {
        self.samples.iter().map(|s| Fed::good(*s)).collect()
    }
}

/// From two tables of a simulator at about 50 Hz, or already thinned: `every` row is taken. Pedals
/// stay hidden, speed and position get a little noise.
pub fn simulator(name: &str, base: &Path, var: &Path, every: usize) -> Stream {
    let read = |path: &Path, seed| {
        let mut samples = Table::open(path).local_samples();
        let mut at = 0;
        samples.retain(|_| {
            at += 1;
            at % every == 0
        });
        roughen(samples.iter_mut(), seed);
        samples
    };
    let coach = read(base, 1);
    let options = Options {
        source: SourceKind::Receiver,
        ..Options::default()
    };
    Stream {
        name: name.to_owned(),
        reference: learned(&coach, &options),
        samples: read(var, 2),
    }
}

/// A circuit, a car and laps with planted faults, all from a seed.
pub fn invented(seed: u64) -> Stream {
    let case = case(seed, &Wanted::default());
    let receiver = ReceiverModel::usual(25.0);
    let options = Options {
        start: Some(case.circuit.start()),
        source: SourceKind::Receiver,
        ..Options::default()
    };
    Stream {
        name: format!("invented {seed}"),
        reference: learned(&sample(&case.coach, &receiver, 2 * seed), &options),
        samples: sample(&case.driven, &receiver, 2 * seed + 1),
    }
}

fn learned(samples: &[Sample], options: &Options) -> Box<HostReference> {
    let take = Take {
        name: "coach",
        samples,
    };
    learn(&[take], options, &mut |_, _| {})
        .expect("the coach's laps give a reference")
        .reference
}

/// 0.05 m/s on the speed, 0.03 m on each axis.
pub(super) fn roughen<'a>(samples: impl Iterator<Item = &'a mut Sample>, seed: u64) {
    let mut rng = Pcg64::seed_from_u64(seed);
    let speed = Normal::new(0.0, 0.05).expect("a deviation");
    let place = Normal::new(0.0, 30.0).expect("a deviation");
    for s in samples {
        s.speed_mps = s
            .speed_mps
            .map(|v| (v + speed.sample(&mut rng) as f32).max(0.0));
        if let Some(cuepost_engine::Position::Local { east_mm, north_mm }) = &mut s.position {
            *east_mm += place.sample(&mut rng) as i64;
            *north_mm += place.sample(&mut rng) as i64;
        }
    }
}

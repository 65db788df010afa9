//! The engine a sample: on a short and on a long circuit, with and without pedals; and its stages
//! in front of the motion.
//!
//! `cargo bench -p cuepost-host --bench engine`

mod common;
#[path = "common/processor.rs"]
mod processor;

use common::{Drive, bare, drive, pedalled, round, usual};
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use cuepost_engine::gate::Gate;
use cuepost_engine::progress::Progress;
use cuepost_engine::{Config, Engine, ReferenceView, Sample};
use processor::{Processor, criterion};
use std::hint::black_box;

fn whole(reference: &ReferenceView<'_>, samples: &[Sample]) -> usize {
    let mut engine = Engine::new(Config::default());
    let events = samples.iter().map(|s| engine.feed(reference, s).len());
    black_box(events.sum())
}

fn gate(reference: &ReferenceView<'_>, samples: &[Sample]) -> usize {
    let mut gate = Gate::default();
    let admitted = samples
        .iter()
        .map(|s| gate.admit(&reference.frame, s).is_ok());
    black_box(admitted.filter(|ok| *ok).count())
}

fn gate_and_progress(reference: &ReferenceView<'_>, samples: &[Sample]) -> usize {
    let (mut gate, mut progress) = (Gate::default(), Progress::default());
    let placed = samples.iter().filter_map(|s| {
        let admitted = gate.admit(&reference.frame, s).ok()?;
        progress.advance(reference, &admitted)
    });
    black_box(placed.count())
}

fn benches(criterion: &mut Criterion<Processor>) {
    let demo = usual(20);
    let with_pedals = Drive {
        samples: pedalled(&demo.samples),
        reference: demo.reference.clone(),
    };
    let demo = Drive {
        samples: bare(&demo.samples),
        ..demo
    };
    type Run = fn(&ReferenceView<'_>, &[Sample]) -> usize;
    let runs: [(&str, &Drive, Run); 6] = [
        ("whole, the demo's circuit", &demo, whole),
        ("whole, the demo's circuit, pedals", &with_pedals, whole),
        ("gate", &demo, gate),
        ("gate and progress", &demo, gate_and_progress),
        ("whole, 2 km", &drive(&round(5), 20), whole),
        ("whole, 20 km", &drive(&round(50), 2), whole),
    ];
    for (name, drive, run) in runs {
        let view = drive.reference.view();
        let mut group = criterion.benchmark_group("engine");
        group.throughput(Throughput::Elements(drive.samples.len() as u64));
        group.bench_with_input(BenchmarkId::from_parameter(name), drive, |b, drive| {
            b.iter(|| run(&view, black_box(&drive.samples)));
        });
        group.finish();
    }
}

criterion_group!(name = all; config = criterion(); targets = benches);
criterion_main!(all);

//! What a person waits for: a reference learned, a recording replayed from its bytes to its facts.
//!
//! `cargo bench -p cuepost-host --bench whole`

mod common;
#[path = "common/processor.rs"]
mod processor;

use common::{bare, csv, nmea, usual};
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use cuepost_engine::{Config, Event};
use cuepost_host::learn::{Options, Take, learn};
use cuepost_host::replay::replay;
use cuepost_host::source;
use processor::{Processor, criterion};
use std::hint::black_box;

fn benches(criterion: &mut Criterion<Processor>) {
    let drive = usual(20);
    let samples = bare(&drive.samples);
    let view = drive.reference.view();
    for (name, bytes) in [("csv", csv(&samples)), ("nmea", nmea(&samples))] {
        let mut group = criterion.benchmark_group("replay");
        group.throughput(Throughput::ElementsAndBytes {
            elements: samples.len() as u64,
            bytes: bytes.len() as u64,
        });
        group.bench_with_input(BenchmarkId::from_parameter(name), &bytes, |b, bytes| {
            b.iter(|| {
                let from = Box::new(std::io::Cursor::new(bytes.clone()));
                let recording = source::read(from, &source::Options::default());
                let mut facts = 0;
                let count =
                    |event: &Event, _| facts += u32::from(matches!(event, Event::Corner(_)));
                replay(
                    recording.expect("a recording"),
                    &view,
                    Config::default(),
                    count,
                );
                assert!(black_box(facts) > 100);
            });
        });
        group.finish();
    }
    let laps: Vec<_> = samples.iter().take(samples.len() / 4).copied().collect();
    let mut group = criterion.benchmark_group("learn");
    group.sample_size(10);
    group.throughput(Throughput::Elements(laps.len() as u64));
    group.bench_function("five laps", |b| {
        let take = Take {
            name: "laps",
            samples: &laps,
        };
        b.iter(|| learn(&[take], &Options::default(), &mut |_, _| {}).expect("a reference"));
    });
    group.finish();
}

criterion_group!(name = all; config = criterion(); targets = benches);
criterion_main!(all);

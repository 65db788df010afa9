//! 1,000 settings on 100 laps: what a sweep costs once the recording is measured, and what the
//! measuring costs. Processor time of one thread; on all cores the clock on the wall.
//!
//! `cargo bench -p cuepost-host --bench judge`

mod common;
#[path = "common/processor.rs"]
mod processor;

use common::{Drive, settings, usual};
use criterion::measurement::Measurement;
use criterion::{BenchmarkGroup, Criterion, criterion_group, criterion_main};
use cuepost_engine::Config;
use cuepost_host::tune::Take;
use cuepost_host::tune::settings::Setting;
use processor::{Processor, criterion};
use rayon::prelude::*;
use std::convert::Infallible;
use std::hint::black_box;

const LAPS: usize = 100;

fn measure(drive: &Drive) -> Take {
    let read = drive.samples.iter().map(|s| Ok::<_, Infallible>(*s));
    let (take, _) = Take::measure("laps", read, &drive.reference.view());
    assert!(take.session.laps.len() >= LAPS - 1);
    take
}

/// How many cues some settings give.
fn told(take: &Take, drive: &Drive, block: &[Setting]) -> u32 {
    let configs: Vec<&Config> = block.iter().map(|s| &s.config).collect();
    let mut count = 0;
    take.tape
        .play_all(&drive.reference.view(), &configs, |_, cue| {
            black_box(cue);
            count += 1;
        });
    count
}

fn group<M: Measurement>(c: &mut Criterion<M>) -> BenchmarkGroup<'_, M> {
    let mut group = c.benchmark_group("judge");
    group.sample_size(10);
    group
}

fn one_core(c: &mut Criterion<Processor>) {
    let drive = usual(LAPS);
    let take = measure(&drive);
    let settings = settings();
    let all = || -> u32 {
        let blocks = settings.chunks(16);
        blocks.map(|block| told(&take, &drive, block)).sum()
    };
    println!(
        "{} laps, {} samples, {} passages; {} cues under {} settings",
        take.session.laps.len(),
        drive.samples.len(),
        take.session.passages.len(),
        all(),
        settings.len()
    );
    let mut group = group(c);
    group.bench_function("1 setting x 100 laps", |b| {
        b.iter(|| told(&take, &drive, &settings[500..501]));
    });
    group.bench_function("1000 settings x 100 laps", |b| b.iter(all));
    group.bench_function("measuring 100 laps", |b| b.iter(|| measure(&drive)));
    group.finish();
}

fn all_cores(c: &mut Criterion) {
    let drive = usual(LAPS);
    let take = measure(&drive);
    let settings = settings();
    let mut group = group(c);
    group.bench_function("1000 settings x 100 laps, all cores", |b| {
        b.iter(|| -> u32 {
            let blocks = settings.par_chunks(16);
            blocks.map(|block| told(&take, &drive, block)).sum()
        });
    });
    group.finish();
}

criterion_group!(name = one; config = criterion(); targets = one_core);
criterion_group!(all, all_cores);
criterion_main!(one, all);

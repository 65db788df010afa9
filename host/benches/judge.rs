//! 1,000 settings on 100 laps: what a sweep costs once the recording is measured, and what the
//! measuring costs.
//!
//! `cargo bench -p cuepost-host --bench judge`

use criterion::{Criterion, criterion_group, criterion_main};
use cuepost_engine::{Config, Sample};
use cuepost_host::demo::car::Car;
use cuepost_host::demo::driver::{Driver, LapPlan, Scatter};
use cuepost_host::demo::fault::FaultKind;
use cuepost_host::demo::plan::Style;
use cuepost_host::demo::quillmere;
use cuepost_host::demo::receiver::{ReceiverModel, sample};
use cuepost_host::learn;
use cuepost_host::reference_file::HostReference;
use cuepost_host::tune::Take;
use cuepost_host::tune::settings::{Setting, Vary, grid};
use rayon::prelude::*;
use std::convert::Infallible;
use std::hint::black_box;

const LAPS: usize = 100;

/// A driver with a fault in two corners of three laps in four, at 25 Hz with a receiver's noise.
fn drive() -> (Box<HostReference>, Vec<Sample>) {
    let circuit = quillmere::circuit().expect("the pieces fit");
    let driver = Driver::practised(&circuit, &Car::touring(), Style::STEADY, Scatter::COACH);
    let receiver = ReceiverModel::usual(25.0);
    let coach = driver.drive(&circuit, &vec![LapPlan::clean(); 3], 1);
    let samples = sample(&coach, &receiver, 1);
    let take = learn::Take {
        name: "coach",
        samples: &samples,
    };
    let learned = learn::learn(&[take], &learn::Options::default(), &mut |_, _| {});
    let faults = [
        (1, FaultKind::BrakeEarly.of(14.0)),
        (6, FaultKind::ThrottleLate.of(25.0)),
    ];
    let mut plans = vec![LapPlan::clean(); LAPS];
    for (lap, plan) in plans.iter_mut().enumerate() {
        if lap % 4 != 0 {
            *plan = LapPlan::with(&faults);
        }
    }
    let laps = driver.drive(&circuit, &plans, 2);
    (
        learned.expect("a reference").reference,
        sample(&laps, &receiver, 2),
    )
}

/// Ten values each of three thresholds.
fn settings() -> Vec<Setting> {
    let varied = [
        "throttle_m=4:22:2",
        "brake_m=3:12:1",
        "loss_s=0.02:0.2:0.02",
    ];
    let varied: Vec<Vary> = varied
        .iter()
        .map(|v| v.parse().expect("a threshold"))
        .collect();
    let all = grid(&Config::default(), &varied).expect("not too many");
    assert_eq!(all.len(), 1000);
    all
}

fn judge(c: &mut Criterion) {
    let (reference, samples) = drive();
    let view = reference.view();
    let read = || samples.iter().map(|s| Ok::<_, Infallible>(*s));
    let (take, _) = Take::measure("laps", read(), &view);
    assert!(take.session.laps.len() >= LAPS - 1);
    let settings = settings();
    let told = |block: &[Setting]| {
        let configs: Vec<&Config> = block.iter().map(|s| &s.config).collect();
        let mut count = 0u32;
        take.tape.play_all(&view, &configs, |_, cue| {
            black_box(cue);
            count += 1;
        });
        count
    };
    let cues: u32 = settings.chunks(16).map(told).sum();
    println!(
        "{} laps, {} samples, {} passages; {cues} cues under {} settings",
        take.session.laps.len(),
        samples.len(),
        take.session.passages.len(),
        settings.len()
    );
    let mut group = c.benchmark_group("judge");
    group.sample_size(10);
    group.bench_function("1 setting x 100 laps", |b| {
        b.iter(|| told(&settings[500..501]))
    });
    group.bench_function("1000 settings x 100 laps, one core", |b| {
        b.iter(|| settings.chunks(16).map(told).sum::<u32>());
    });
    group.bench_function("1000 settings x 100 laps, all cores", |b| {
        b.iter(|| settings.par_chunks(16).map(told).sum::<u32>());
    });
    group.bench_function("measuring 100 laps", |b| {
        b.iter(|| Take::measure("laps", read(), &view));
    });
    group.finish();
}

criterion_group!(benches, judge);
criterion_main!(benches);

//! What the cost grows with: a table of processor time at several sizes and the slope of its
//! logarithm over that of the size (1: proportional, 0: none), recordings on one core and on two,
//! and what a championship's season would be.
//!
//! `cargo run --release -p cuepost-host --example growth`
//!
//! Times are of the thread, so other programs on the machine disturb them little; the best of a few
//! rounds counts. Only the comparison of one core with two needs the clock on the wall.

#[path = "../benches/common/mod.rs"]
mod common;

use common::{Drive, bare, csv, drive, round, settings, ubx, usual};
use cpu_time::ThreadTime;
use cuepost_engine::{Config, Engine, ReferenceView, Sample};
use cuepost_host::replay::replay;
use cuepost_host::source;
use cuepost_host::tune::Take;
use rayon::prelude::*;
use std::convert::Infallible;
use std::hint::black_box;
use std::time::Instant;

const ROUNDS: usize = 7;

/// Seconds of this thread for each of some works: the best of the rounds, taken in turns.
fn seconds(works: &mut [Box<dyn FnMut() + '_>]) -> Vec<f64> {
    let mut best = vec![f64::INFINITY; works.len()];
    for _ in 0..ROUNDS {
        for (work, best) in works.iter_mut().zip(&mut best) {
            let begin = ThreadTime::now();
            work();
            *best = best.min(begin.elapsed().as_secs_f64());
        }
    }
    best
}

/// Slope of the logarithms by least squares.
fn slope(points: &[(f64, f64)]) -> f64 {
    let n = points.len() as f64;
    let logs = || points.iter().map(|(x, y)| (x.ln(), y.ln()));
    let (mx, my) = logs().fold((0.0, 0.0), |(a, b), (x, y)| (a + x / n, b + y / n));
    let (xy, xx) = logs().fold((0.0, 0.0), |(xy, xx), (x, y)| {
        (xy + (x - mx) * (y - my), xx + (x - mx) * (x - mx))
    });
    xy / xx
}

/// A row of the table: the costs at each size.
fn tell(what: &str, sizes: &[f64], costs: &[f64], unit: (f64, &str)) {
    let points: Vec<_> = sizes.iter().copied().zip(costs.iter().copied()).collect();
    let cells: Vec<String> = points
        .iter()
        .map(|(size, cost)| format!("{size}: {:.3}", cost * unit.0))
        .collect();
    let slope = slope(&points);
    println!("| {what} | {}, {} | {slope:.2} |", unit.1, cells.join(", "));
}

fn feed(reference: &ReferenceView<'_>, samples: &[Sample]) {
    let mut engine = Engine::new(Config::default());
    let events = samples.iter().map(|s| engine.feed(reference, s).len());
    black_box(events.sum::<usize>());
}

fn facts(reference: &ReferenceView<'_>, table: &[u8]) -> u64 {
    let from = std::io::Cursor::new(table.to_vec());
    let recording = source::read(from, &source::Options::default()).expect("a table");
    let mut corners = 0;
    let count = |event: &cuepost_engine::Event, _| {
        corners += u64::from(matches!(event, cuepost_engine::Event::Corner(_)));
    };
    let (_, fault) = replay(recording, reference, Config::default(), count);
    assert!(fault.is_none());
    corners
}

/// Costs a sample where the place of driving changes and its amount does not.
fn per_sample(what: &str, sizes: &[f64], drives: &[Drive]) {
    let bare: Vec<Vec<Sample>> = drives.iter().map(|d| bare(&d.samples)).collect();
    let mut works: Vec<Box<dyn FnMut()>> = Vec::new();
    for (drive, samples) in drives.iter().zip(&bare) {
        let view = drive.reference.view();
        works.push(Box::new(move || feed(&view, samples)));
    }
    let costs = seconds(&mut works);
    let costs: Vec<f64> = costs
        .iter()
        .zip(&bare)
        .map(|(s, b)| s / b.len() as f64)
        .collect();
    tell(what, sizes, &costs, (1e9, "ns a sample"));
}

fn samples_and_laps() {
    let drive = usual(40);
    let samples = bare(&drive.samples);
    let view = drive.reference.view();
    let view = &view;
    let parts: Vec<_> = [8, 4, 2, 1].map(|k| samples.len() / k).to_vec();
    let tables: Vec<_> = parts.iter().map(|n| csv(&samples[..*n])).collect();
    let mut works: Vec<Box<dyn FnMut()>> = Vec::new();
    for table in &tables {
        works.push(Box::new(move || {
            facts(view, table);
        }));
    }
    let costs = seconds(&mut works);
    let sizes: Vec<f64> = parts.iter().map(|n| *n as f64).collect();
    tell("samples, table to facts", &sizes, &costs, (1e3, "ms"));
    tell(
        "laps, table to facts",
        &[5.0, 10.0, 20.0, 40.0],
        &costs,
        (1e3, "ms"),
    );
}

fn circuits() {
    let pairs = [5, 10, 20, 50];
    let drives: Vec<_> = pairs
        .iter()
        .map(|p| drive(&round(*p), (100 / p) as usize))
        .collect();
    let kilometres: Vec<f64> = drives
        .iter()
        .map(|d| f64::from(d.reference.view().length_m() / 1e3).round())
        .collect();
    per_sample("length of the circuit, km", &kilometres, &drives);
    // The same drive on the same line with ever fewer of its corners.
    let whole = &drives[3];
    let mut fewer = Vec::new();
    let mut counts = Vec::new();
    for every in [8, 4, 2, 1] {
        let mut reference = whole.reference.clone();
        let mut at = 0;
        reference.corners.retain(|_| {
            at += 1;
            at % every == 0
        });
        counts.push(reference.corners.len() as f64);
        fewer.push(Drive {
            reference,
            samples: whole.samples.clone(),
        });
    }
    per_sample("corners on 20 km", &counts, &fewer);
}

fn thresholds() {
    let drive = usual(20);
    let view = drive.reference.view();
    let read = drive.samples.iter().map(|s| Ok::<_, Infallible>(*s));
    let (take, _) = Take::measure("laps", read, &view);
    let all = settings();
    let counts = [125, 250, 500, 1000];
    let (take, view, all) = (&take, &view, &all);
    let mut works: Vec<Box<dyn FnMut()>> = Vec::new();
    for count in counts {
        works.push(Box::new(move || {
            let mut cues = 0u32;
            for block in all[..count].chunks(16) {
                let configs: Vec<&Config> = block.iter().map(|s| &s.config).collect();
                take.tape.play_all(view, &configs, |_, _| cues += 1);
            }
            black_box(cues);
        }));
    }
    let costs = seconds(&mut works);
    tell(
        "settings of thresholds, 20 laps judged",
        &counts.map(|c| c as f64),
        &costs,
        (1e3, "ms"),
    );
}

fn recordings() {
    let drive = usual(10);
    let samples = bare(&drive.samples);
    let table = csv(&samples);
    let view = drive.reference.view();
    let (view, table) = (&view, &table);
    let counts = [1, 2, 4, 8];
    let mut works: Vec<Box<dyn FnMut()>> = Vec::new();
    for count in counts {
        works.push(Box::new(move || {
            for _ in 0..count {
                facts(view, table);
            }
        }));
    }
    let costs = seconds(&mut works);
    tell(
        "recordings, on one core",
        &counts.map(f64::from),
        &costs,
        (1e3, "ms"),
    );
    let pools: Vec<_> = [1, 2]
        .iter()
        .map(|threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(*threads);
            pool.build().expect("threads")
        })
        .collect();
    let mut best = [f64::INFINITY; 2];
    for _ in 0..4 * ROUNDS {
        for (pool, best) in pools.iter().zip(&mut best) {
            let begin = Instant::now();
            let corners: u64 =
                pool.install(|| (0..8).into_par_iter().map(|_| facts(view, table)).sum());
            assert!(corners > 0);
            *best = best.min(begin.elapsed().as_secs_f64());
        }
    }
    let [one, two] = best;
    println!(
        "\n8 recordings on one core {:.1} ms, on two {:.1} ms: {:.2} times as fast",
        one * 1e3,
        two * 1e3,
        one / two
    );
    season(&samples, table, costs[0]);
}

/// 40 cars, 30 events, 5 hours of driving each, at 25 Hz.
fn season(samples: &[Sample], table: &[u8], seconds: f64) {
    let n = samples.len() as f64;
    let hours = 40.0 * 30.0 * 5.0;
    let all = hours * 3600.0 * 25.0;
    println!(
        "a season of 40 cars, 30 events, 5 hours at 25 Hz: {hours} hours, {:.0} million samples, \
         {:.0} GB as tables, {:.0} GB as UBX; from tables to facts {:.1} minutes of one core",
        all / 1e6,
        all * table.len() as f64 / n / 1e9,
        all * ubx(samples).len() as f64 / n / 1e9,
        all * seconds / n / 60.0
    );
}

fn main() {
    println!("| with | cost at each | slope |\n|---|---|---|");
    samples_and_laps();
    circuits();
    thresholds();
    recordings();
}

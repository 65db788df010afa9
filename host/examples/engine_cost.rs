//! Feeds the engine so many laps of a circuit of so many pairs of bends (400 m a pair), for
//! counting instructions: run it for few laps and for many under a profiler, and divide the
//! difference by that of the samples it prints.
//!
//! `valgrind --tool=callgrind target/release/examples/engine_cost 5 20 [pedals]`

#[path = "../benches/common/mod.rs"]
mod common;

use common::{bare, drive, pedalled, round};
use cuepost_engine::{Config, Engine};

fn main() {
    let mut words = std::env::args().skip(1);
    let mut number = |or: u32| words.next().and_then(|w| w.parse().ok()).unwrap_or(or);
    let (pairs, laps) = (number(5), number(20));
    let made = drive(&round(pairs), 1);
    let samples = match words.next() {
        Some(_) => pedalled(&made.samples),
        None => bare(&made.samples),
    };
    let view = made.reference.view();
    let mut engine = Engine::new(Config::default());
    let mut events = 0;
    // The laps again and again: what is made before them then costs the same for any number.
    let lap_us = samples.last().map_or(0, |s| s.time_us) + 40_000;
    for lap in 0..u64::from(laps) {
        for sample in &samples {
            let mut sample = *sample;
            sample.time_us += lap * lap_us;
            events += engine.feed(&view, &sample).len();
        }
    }
    println!("{} samples, {events} events", samples.len() * laps as usize);
}

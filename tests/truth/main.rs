//! Onsets from speed alone against the pedals of a simulator that nobody here wrote.
//!
//! Coaching compares: what counts is the difference to the clean lap of the same corner, in which
//! a constant shift (where on the pedal one says "on") cancels.

use cuepost_engine::{Config, Event, Phase, PhaseEvent, Sample};
use cuepost_host::{learn, replay, source};
use cuepost_tests::csv::{Table, data};
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;
use std::collections::BTreeMap;

/// The clean lap of the stream.
const CLEAN_LAP: u32 = 3;
const SPEED_NOISE_MPS: f64 = 0.05;

/// Standard normal noise from a fixed seed, by the sum of twelve uniforms.
struct Noise(Pcg64);

impl Noise {
    fn next(&mut self) -> f64 {
        let uniform = |r: &mut Pcg64| r.next_u32() as f64 / f64::from(u32::MAX);
        (0..12).map(|_| uniform(&mut self.0)).sum::<f64>() - 6.0
    }
}

fn samples(name: &str, pedals: bool, seed: u64) -> Vec<Sample> {
    let mut noise = Noise(Pcg64::seed_from_u64(seed));
    source::open(&data(name), &source::Options::default())
        .expect("a recording")
        .map(|s| s.expect("a sample"))
        .map(|mut s| {
            let noisy = f64::from(s.speed_mps.expect("a speed")) + SPEED_NOISE_MPS * noise.next();
            s.speed_mps = Some(noisy.max(0.0) as f32);
            if !pedals {
                (s.brake, s.throttle) = (None, None);
            }
            s
        })
        .collect()
}

/// What the engine saw begin, and when in the simulator's clock.
fn phases(pedals: bool, seed: u64) -> Vec<(f64, PhaseEvent)> {
    let base = samples("learn/s5_touring.25hz.csv", pedals, 10 + seed);
    let take = learn::Take {
        name: "base",
        samples: &base,
    };
    let learned =
        learn::learn(&[take], &learn::Options::default(), &mut |_, _| {}).expect("learned");
    let driven = samples("truth/s5_touring.var25.csv", pedals, 20 + seed);
    let clock_s = Table::read("truth/s5_touring.var25.csv").column("t_s")[0];
    let mut found = Vec::new();
    let driven = driven.into_iter().map(Ok::<_, std::convert::Infallible>);
    replay::replay(
        driven,
        &learned.reference.view(),
        Config::default(),
        |event, start_us| {
            if let Event::Phase(p) = event {
                let time_s = p.time_us as f64 / 1e6 - start_us as f64 / 1e6;
                found.push((clock_s + time_s, *p));
            }
        },
    );
    found
}

/// Metres off the truth in the difference to the clean lap, and the share not found at all.
fn errors(
    found: &[(f64, PhaseEvent)],
    phase: Phase,
    time: &str,
    place: &str,
    reach_s: f64,
) -> (Vec<f64>, f64) {
    let truth = Table::read("truth/s5_touring.truth.csv");
    let number = |row: usize, column: &str| truth.number(row, column).unwrap_or(f64::NAN);
    let column = |name: &str| -> Vec<f64> { (0..truth.len()).map(|i| number(i, name)).collect() };
    let lap = column("lap");
    let corner: Vec<String> = (0..truth.len())
        .map(|i| truth.text(i, "corner").unwrap_or("?").to_owned())
        .collect();
    let (times, places) = (column(time), column(place));
    let off = |i: usize| {
        found
            .iter()
            .filter(|(t, p)| p.phase == phase && (t - times[i]).abs() < reach_s)
            .min_by(|a, b| (a.0 - times[i]).abs().total_cmp(&(b.0 - times[i]).abs()))
            .map(|(_, p)| f64::from(p.progress_m) - places[i])
    };
    let mut clean: BTreeMap<&str, usize> = BTreeMap::new();
    for i in 0..lap.len() {
        if lap[i] as u32 == CLEAN_LAP && corner[i] != "?" {
            clean.entry(&corner[i]).or_insert(i);
        }
    }
    let (mut all, mut missed, mut errors) = (0, 0, Vec::new());
    for i in 0..lap.len() {
        let Some(&c) = clean.get(corner[i].as_str()) else {
            continue;
        };
        if lap[i] as u32 == CLEAN_LAP || times[i].is_nan() || times[c].is_nan() {
            continue;
        }
        all += 1;
        match (off(i), off(c)) {
            (Some(a), Some(b)) => errors.push((a - b).abs()),
            _ => missed += 1,
        }
    }
    errors.sort_by(f64::total_cmp);
    (errors, f64::from(missed) / f64::from(all))
}

fn quantile(sorted: &[f64], share: f64) -> f64 {
    sorted[((sorted.len() - 1) as f64 * share).round() as usize]
}

#[test]
fn brake_onsets_of_a_touring_car_with_the_pedals_hidden() {
    for seed in 0..3 {
        let (errors, missed) = errors(
            &phases(false, seed),
            Phase::Brake,
            "t_brake_on",
            "d_brake_on",
            1.5,
        );
        let (median, most) = (quantile(&errors, 0.5), quantile(&errors, 0.95));
        println!("seed {seed}: brake median {median:.2} m, 95 % {most:.2} m, missed {missed:.2}");
        assert!(median <= 0.5, "median {median:.2} m");
        assert!(most <= 2.0, "95 % {most:.2} m");
        assert!(missed <= 0.08, "missed {missed:.2}");
    }
}

#[test]
fn pedals_make_brake_onsets_no_worse() {
    let figure = |pedals| {
        let (errors, missed) = errors(
            &phases(pedals, 1),
            Phase::Brake,
            "t_brake_on",
            "d_brake_on",
            1.5,
        );
        println!(
            "pedals {pedals}: median {:.2} m, 95 % {:.2} m, missed {missed:.2}",
            quantile(&errors, 0.5),
            quantile(&errors, 0.95)
        );
        (quantile(&errors, 0.5), missed)
    };
    let (hidden, shown) = (figure(false), figure(true));
    // Truth itself is a sample of 20 ms: a fifth of a metre either way is not a difference.
    assert!(
        shown.0 <= hidden.0 + 0.2,
        "{} m against {} m",
        shown.0,
        hidden.0
    );
    assert!(
        shown.1 <= hidden.1 + 0.001,
        "missed {} against {}",
        shown.1,
        hidden.1
    );
}

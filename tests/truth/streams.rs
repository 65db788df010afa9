//! Five drives with ordered faults: where the engine saw braking and throttle begin, and where
//! the pedals say they began.
//!
//! Coaching compares: what counts is the difference to the clean lap of the same corner, in which
//! a constant shift (where on the pedal one says "on") cancels. The shares not found are what a
//! coach can live with (no source); the metres are what was reached, to notice when it gets worse.

use cuepost_engine::{Config, Event, Facts, Phase, PhaseEvent, Sample};
use cuepost_host::{learn, replay, source};
use cuepost_tests::csv::{Table, data};
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;
use std::collections::BTreeMap;

/// The clean lap of each stream.
const CLEAN_LAP: u32 = 3;
const SPEED_NOISE_MPS: f64 = 0.05;
const SEEDS: u64 = 3;

/// A stream and the most its errors may be: median and 95 % in metres, and the share not found.
struct Stream {
    name: &'static str,
    base: &'static str,
    hidden: [Limit; 2],
    shown: [Limit; 2],
}

type Limit = (f64, f64, f64);

#[rustfmt::skip]
const STREAMS: [Stream; 5] = [
    Stream {
        name: "s1_gt", base: "truth/s1_gt.base25.csv",
        hidden: [(3.6, 8.0, 0.05), (0.8, 6.5, 0.08)], shown: [(1.8, 7.5, 0.05), (0.5, 1.0, 0.08)],
    },
    Stream {
        name: "s2_gt", base: "truth/s2_gt.base25.csv",
        hidden: [(1.5, 7.0, 0.05), (1.3, 5.0, 0.08)], shown: [(0.8, 2.5, 0.05), (0.7, 6.5, 0.08)],
    },
    Stream {
        name: "s3_gt", base: "truth/s3_gt.base25.csv",
        hidden: [(1.4, 7.5, 0.05), (2.7, 12.0, 0.08)], shown: [(0.7, 2.5, 0.05), (0.5, 2.0, 0.08)],
    },
    Stream {
        name: "s5_touring", base: "learn/s5_touring.25hz.csv",
        hidden: [(0.3, 0.9, 0.05), (2.9, 14.0, 0.08)], shown: [(0.6, 1.5, 0.05), (0.5, 2.0, 0.08)],
    },
    Stream {
        name: "s6_gt", base: "truth/s6_gt.base25.csv",
        hidden: [(1.5, 4.5, 0.05), (1.2, 12.0, 0.08)], shown: [(0.8, 2.5, 0.05), (1.0, 10.5, 0.08)],
    },
];

/// Standard normal noise from a fixed seed, by the sum of twelve uniforms.
struct Noise(Pcg64);

impl Noise {
    fn next(&mut self) -> f64 {
        let uniform = |r: &mut Pcg64| f64::from(r.next_u32()) / f64::from(u32::MAX);
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

/// A beginning as the engine saw it.
struct Seen {
    /// When, in the simulator's clock.
    time_s: f64,
    phase: Phase,
    progress_m: f64,
    /// Standard deviation that the fact of it states, metres; none where it became no fact.
    sd_m: Option<f64>,
}

/// What the engine saw begin.
fn phases(stream: &Stream, pedals: bool, seed: u64) -> Vec<Seen> {
    let base = samples(stream.base, pedals, 10 + seed);
    let take = learn::Take {
        name: "base",
        samples: &base,
    };
    let learned =
        learn::learn(&[take], &learn::Options::default(), &mut |_, _| {}).expect("learned");
    let name = format!("truth/{}.var25.csv", stream.name);
    let driven = samples(&name, pedals, 20 + seed);
    let clock_s = Table::read(&name).column("t_s")[0];
    let mut told: Vec<(f64, PhaseEvent)> = Vec::new();
    let mut facts: Vec<Facts> = Vec::new();
    let driven = driven.into_iter().map(Ok::<_, std::convert::Infallible>);
    replay::replay(
        driven,
        &learned.reference.view(),
        Config::default(),
        |event, start_us| match event {
            Event::Phase(p) => {
                let time_s = p.time_us as f64 / 1e6 - start_us as f64 / 1e6;
                told.push((clock_s + time_s, *p));
            }
            Event::Corner(f) => facts.push(*f),
            _ => {}
        },
    );
    let seen = |(time_s, p): (f64, PhaseEvent)| Seen {
        time_s,
        phase: p.phase,
        progress_m: f64::from(p.progress_m),
        sd_m: facts.iter().find_map(|f| stated(f, &p)),
    };
    told.into_iter().map(seen).collect()
}

/// The deviation that facts state of what a phase began with, when it is of them.
fn stated(facts: &Facts, phase: &PhaseEvent) -> Option<f64> {
    let fact = match phase.phase {
        Phase::Brake => facts.brake_m,
        Phase::Throttle => facts.throttle_m,
        _ => None,
    }?;
    let same = facts.lap == phase.lap && (fact.value - phase.progress_m).abs() < 0.1;
    same.then_some(f64::from(fact.sd))
}

/// What is looked for, by its columns of truth.
struct Wanted {
    phase: Phase,
    time: &'static str,
    place: &'static str,
    reach_s: f64,
}

const WANTED: [Wanted; 2] = [
    Wanted {
        phase: Phase::Brake,
        time: "t_brake_on",
        place: "d_brake_on",
        reach_s: 1.5,
    },
    Wanted {
        phase: Phase::Throttle,
        time: "t_throttle_on",
        place: "d_throttle_on",
        reach_s: 2.0,
    },
];

/// How far the difference to the clean lap was off, metres.
struct Off {
    error_m: f64,
    /// The deviation stated of it.
    sd_m: Option<f64>,
}

/// Off the truth in the difference to the clean lap; none where it was not found.
fn errors(stream: &Stream, found: &[Seen], wanted: &Wanted) -> Vec<Option<Off>> {
    let truth = Table::read(&format!("truth/{}.truth.csv", stream.name));
    let number = |row: usize, column: &str| truth.number(row, column).unwrap_or(f64::NAN);
    let column = |name: &str| -> Vec<f64> { (0..truth.len()).map(|i| number(i, name)).collect() };
    let lap = column("lap");
    let corner: Vec<&str> = (0..truth.len())
        .map(|i| truth.text(i, "corner").unwrap_or("?"))
        .collect();
    let (times, places) = (column(wanted.time), column(wanted.place));
    let off = |i: usize| {
        found
            .iter()
            .map(|s| (s, (s.time_s - times[i]).abs()))
            .filter(|(s, apart_s)| s.phase == wanted.phase && *apart_s < wanted.reach_s)
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(s, _)| (s.progress_m - places[i], s.sd_m))
    };
    let mut clean: BTreeMap<&str, usize> = BTreeMap::new();
    for i in 0..lap.len() {
        if lap[i] as u32 == CLEAN_LAP && corner[i] != "?" {
            clean.entry(corner[i]).or_insert(i);
        }
    }
    let mut errors = Vec::new();
    for i in 0..lap.len() {
        let Some(&c) = clean.get(corner[i]) else {
            continue;
        };
        if lap[i] as u32 != CLEAN_LAP && !times[i].is_nan() && !times[c].is_nan() {
            errors.push(off(i).zip(off(c)).map(|(a, b)| Off {
                error_m: (a.0 - b.0).abs(),
                sd_m: a.1.zip(b.1).map(|(a, b)| a.hypot(b)),
            }));
        }
    }
    errors
}

/// Median, 95 % and the share not found.
fn figures(errors: &[Option<Off>]) -> Limit {
    let mut found: Vec<f64> = errors.iter().flatten().map(|o| o.error_m).collect();
    found.sort_by(f64::total_cmp);
    let quantile = |share: f64| found[((found.len() - 1) as f64 * share).round() as usize];
    let missed = 1.0 - found.len() as f64 / errors.len() as f64;
    (quantile(0.5), quantile(0.95), missed)
}

/// Measures a stream over all seeds, prints it, and returns what is over its limits.
fn measure(stream: &Stream, pedals: bool) -> Vec<String> {
    let mut errors_of = [Vec::new(), Vec::new()];
    for seed in 0..SEEDS {
        let found = phases(stream, pedals, seed);
        for (all, wanted) in errors_of.iter_mut().zip(&WANTED) {
            all.extend(errors(stream, &found, wanted));
        }
    }
    let (limits, shown) = if pedals {
        (&stream.shown, "shown")
    } else {
        (&stream.hidden, "hidden")
    };
    let mut over = Vec::new();
    for ((errors, limit), wanted) in errors_of.iter().zip(limits).zip(&WANTED) {
        let (median, most, missed) = figures(errors);
        let line = format!(
            "{:<10} pedals {shown:<6} {:?}: median {median:.2} m of {:.1}, 95 % {most:.2} m of \
             {:.1}, missed {:.1} % of {:.0}",
            stream.name,
            wanted.phase,
            limit.0,
            limit.1,
            100.0 * missed,
            100.0 * limit.2
        );
        println!("{line}");
        if median > limit.0 || most > limit.1 || missed > limit.2 {
            over.push(line);
        }
    }
    over
}

#[test]
fn onsets_with_the_pedals_hidden() {
    let over: Vec<String> = STREAMS.iter().flat_map(|s| measure(s, false)).collect();
    assert!(over.is_empty(), "{over:#?}");
}

#[test]
fn onsets_with_the_pedals_shown() {
    let over: Vec<String> = STREAMS.iter().flat_map(|s| measure(s, true)).collect();
    assert!(over.is_empty(), "{over:#?}");
}

/// Share of the differences to the clean lap that are within 1 and 1.96 of their stated deviations,
/// all streams together.
fn covered(pedals: bool, wanted: &Wanted) -> [f64; 2] {
    let mut times = Vec::new();
    for stream in &STREAMS {
        for seed in 0..SEEDS {
            let all = errors(stream, &phases(stream, pedals, seed), wanted);
            let known = all.iter().flatten();
            times.extend(known.filter_map(|o| Some(o.error_m / o.sd_m?)));
        }
    }
    let within = |most: f64| times.iter().filter(|t| **t <= most).count() as f64;
    let shares = [1.0, 1.96].map(|most| within(most) / times.len() as f64);
    println!(
        "{:?}, pedals shown {pedals}: {} of them, within 1 and 1.96 deviations {shares:.3?}",
        wanted.phase,
        times.len()
    );
    shares
}

/// No braking is known less well than it says, by 5 points of the 68.3 % and 95 % of a normal error.
#[test]
fn a_braking_is_known_as_well_as_it_says() {
    for pedals in [false, true] {
        let [one, two] = covered(pedals, &WANTED[0]);
        assert!(one >= 0.633 && two >= 0.90, "{one} {two}");
    }
}

/// Nor is a throttle that is inferred. What is added to its noise was chosen on `*.more25.csv`.
#[test]
fn a_throttle_is_known_as_well_as_it_says() {
    let [one, two] = covered(false, &WANTED[1]);
    assert!(one >= 0.633 && two >= 0.90, "{one} {two}");
    assert!(one <= 0.733, "{one}: says too little");
}

/// On the pedal one in six is another touch than the truth's: no deviation of a place covers that.
#[test]
fn a_throttle_seen_on_the_pedal_is_known_but_for_which_touch_it_was() {
    let [one, two] = covered(true, &WANTED[1]);
    assert!(one >= 0.633 && two >= 0.80, "{one} {two}");
}

//! Ordered faults of a driving simulator against what was told, judged by its pedals.
//!
//! The simulator, its cars and its drivers are nobody's here: what was ordered often came out as
//! something else, so that only what the pedals and the road show counts (`right.rs`).

mod measured;
mod pedals;
mod report;
mod right;
mod road;

pub use measured::Differs;
pub use report::Report;
pub use right::Said;

use crate::csv::{Table, data};
use cuepost_engine::judge::{Allowance, Deviations, Verdict, judge};
use cuepost_engine::{Config, CornerKind, Cue, Event, Facts, Sample, Told};
use cuepost_host::learn::{Learned, Options, Take, learn};
use cuepost_host::{replay, source};
use measured::{Base, Row, bend, differs, rows};
use pedals::{Zone, zones};
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use right::right_in_bend;
use road::Trace;
use std::path::{Path, PathBuf};

/// A base drive and a drive with faults.
pub struct Stream {
    /// What it is called.
    pub name: String,
    /// The drive whose last whole lap is the reference of the table of truth.
    pub base: PathBuf,
    /// The drives with faults, each with its table.
    pub driven: Vec<(PathBuf, PathBuf)>,
}

/// The drives of the test data.
pub fn streams() -> Vec<Stream> {
    const MORE: &str = ".more";
    let drive = |name: &str, part: &str| {
        (
            data(&format!(
                "truth/{name}{}25.csv",
                if part == MORE { MORE } else { ".var" }
            )),
            data(&format!("truth/{name}{part}.truth.csv")),
        )
    };
    ["s1_gt", "s2_gt", "s3_gt", "s4_raw", "s5_touring", "s6_gt"]
        .iter()
        .map(|&name| {
            let touring = name == "s5_touring";
            Stream {
                name: name.to_owned(),
                base: if touring {
                    data("learn/s5_touring.25hz.csv")
                } else {
                    data(&format!("truth/{name}.base25.csv"))
                },
                driven: if touring {
                    vec![drive(name, "")]
                } else {
                    vec![drive(name, ""), drive(name, MORE)]
                },
            }
        })
        .collect()
}

/// How the drives reach the engine.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    /// With the pedals or without.
    pub pedals: bool,
    /// Standard deviation of the noise of speed, m/s.
    pub noise_mps: f64,
    /// Seed of that noise.
    pub seed: u64,
}

/// One passage of a zone.
#[derive(Clone, Debug)]
pub struct Passage {
    /// Stream.
    pub stream: String,
    /// Lap and zone, as the table of truth counts them.
    pub lap: u32,
    /// Zone.
    pub zone: usize,
    /// What was ordered.
    pub planned: String,
    /// The table's differences: brake and throttle onset, metres; slowest speed, m/s.
    pub table: [Option<f64>; 3],
    /// What really differed; none where the passage or the zone can't be measured.
    pub truth: Option<Differs>,
    /// What was told of it, reminders left out.
    pub told: Vec<Cue>,
    /// What was reminded of ahead of it.
    pub reminded: Vec<Cue>,
    /// What was told of the bends on its road that have no braking zone, with whether that is right
    /// where it can be known.
    pub told_in_bends: Vec<(Cue, Option<bool>)>,
    /// What the engine measured.
    pub seen: Option<Deviations>,
    /// And made of it when all was known.
    pub verdict: Option<Verdict>,
    /// Whether the engine could use the passage.
    pub usable: Option<bool>,
}

impl Passage {
    /// What the driver was told: where a reminder has just said it the voice does not say it again.
    fn heard(&self) -> Vec<Cue> {
        if !self.told.is_empty() {
            return self.told.clone();
        }
        let said = |c: &&Cue| {
            self.verdict
                .is_some_and(|v| (v.phase, v.advice) == (c.phase, c.advice))
        };
        self.reminded
            .iter()
            .find(said)
            .copied()
            .into_iter()
            .collect()
    }
}

fn samples(path: &Path) -> Vec<Sample> {
    source::open(path, &source::Options::default())
        .unwrap_or_else(|e| panic!("{}: {e}", path.display()))
        .map(|s| s.expect("a sample"))
        .collect()
}

/// The samples as a receiver would give them.
fn received(exact: &[Sample], seen: &Seen, salt: u64) -> Vec<Sample> {
    let mut rng = Pcg64::seed_from_u64(seen.seed.wrapping_mul(8).wrapping_add(salt));
    exact
        .iter()
        .map(|&s| {
            let noise: f64 = StandardNormal.sample(&mut rng);
            let noisy = |v: f32| (f64::from(v) + seen.noise_mps * noise).max(0.0) as f32;
            Sample {
                speed_mps: s.speed_mps.map(noisy),
                brake: s.brake.filter(|_| seen.pedals),
                throttle: s.throttle.filter(|_| seen.pedals),
                ..s
            }
        })
        .collect()
}

/// The reference from the base drive's last whole lap.
fn teach(samples: &[Sample]) -> Learned {
    let take = [Take {
        name: "base",
        samples,
    }];
    let any = learn(&take, &Options::default(), &mut |_, _| {}).expect("learned");
    let options = Options {
        lap: any.cut.laps.last().map(|l| l.number),
        ..Options::default()
    };
    learn(&take, &options, &mut |_, _| {}).expect("learned")
}

/// Replays a stream and lays what was told beside what really happened.
pub fn run(stream: &Stream, seen: &Seen) -> Vec<Passage> {
    let exact = samples(&stream.base);
    let learned = teach(&received(&exact, seen, 0));
    let reference = learned.reference.view();
    let clock_s = |path| Table::open(path).column("t_s")[0];
    let trace = Trace::new(&reference, &exact, clock_s(&stream.base));
    let lap = &learned.cut.laps[learned.chosen];
    let begin_s = trace.moments[0].time_s + lap.begin_s;
    let begin_m = trace.at_time(begin_s).map_or(0.0, |m| m.along_m);
    let own: Vec<Zone> = zones(&trace)
        .iter()
        .filter(|z| (begin_s..begin_s + lap.time_s).contains(&z.on_s))
        .filter_map(|z| Zone::of(&trace, z))
        .collect();
    let mut base: Option<Base> = None;
    let mut base_trace = Some(trace);
    let mut out = Vec::new();
    for (k, (path, truth)) in stream.driven.iter().enumerate() {
        let exact = samples(path);
        let driven = Trace::new(&reference, &exact, clock_s(path));
        let rows = rows(&Table::open(truth));
        let base = base.get_or_insert_with(|| {
            let numbered = number(&own, &driven, &rows);
            let corners = numbered
                .iter()
                .map(|z| corner_of(&learned, z.as_ref()?))
                .collect();
            Base {
                begin_m,
                trace: base_trace.take().expect("once"),
                zones: numbered,
                corners,
            }
        });
        let heard = replayed(
            &learned,
            &received(&exact, seen, 1 + k as u64),
            driven.moments[0].time_s,
        );
        let mut passages: Vec<Passage> = rows
            .iter()
            .map(|row| Passage {
                stream: stream.name.clone(),
                lap: row.lap,
                zone: row.zone,
                planned: row.planned.clone(),
                table: row.table,
                truth: differs(&reference, base, &driven, row),
                told: Vec::new(),
                reminded: Vec::new(),
                told_in_bends: Vec::new(),
                seen: None,
                verdict: None,
                usable: None,
            })
            .collect();
        attach(&learned, base, &driven, &rows, &heard, &mut passages);
        out.extend(passages);
    }
    out
}

/// What the engine said, in the simulator's clock.
#[derive(Default)]
struct Heard {
    cues: Vec<(f64, Cue)>,
    facts: Vec<(f64, Facts)>,
}

fn replayed(learned: &Learned, samples: &[Sample], clock_s: f64) -> Heard {
    let mut heard = Heard::default();
    let driven = samples
        .iter()
        .map(|s| Ok::<_, std::convert::Infallible>(*s));
    let mut newest_us = 0;
    let moved = |time_us: u64, start_us: u64| clock_s + (time_us - start_us) as f64 * 1e-6;
    replay::replay_watched(
        driven,
        &learned.reference.view(),
        Config::default(),
        &mut (),
        |_, _| {},
        |event, start_us| match event {
            Event::Cue(cue) => {
                newest_us = cue.time_us;
                heard.cues.push((moved(cue.time_us, start_us), *cue));
            }
            Event::Phase(p) => newest_us = newest_us.max(p.time_us),
            Event::Corner(facts) => {
                let at_us = newest_us.max(start_us);
                heard.facts.push((moved(at_us, start_us), *facts));
            }
            _ => {}
        },
    );
    heard
}

/// The zones of the reference lap by the table's numbers: where the table's difference to it
/// points from the passages.
fn number(own: &[Zone], driven: &Trace, rows: &[Row]) -> Vec<Option<Zone>> {
    const NEAR_M: f64 = 15.0;
    let count = rows.iter().map(|r| r.zone).max().unwrap_or(0);
    let mut zones: Vec<Option<Zone>> = vec![None; count];
    for row in rows {
        let (Some(at), Some(dd)) = (driven.at_time(row.times.on_s), row.table[0]) else {
            continue;
        };
        let apart = |z: &&Zone| {
            let d = at.along_m - dd - z.brake.along_m;
            (d - (d / driven.length_m).round() * driven.length_m).abs()
        };
        let near = own.iter().min_by(|a, b| apart(a).total_cmp(&apart(b)));
        let near = near.filter(|z| apart(z) < NEAR_M);
        zones[row.zone - 1] = zones[row.zone - 1].or(near.copied());
    }
    zones
}

/// The engine's corner for a zone: the one whose braking begins nearest.
fn corner_of(learned: &Learned, zone: &Zone) -> Option<usize> {
    const NEAR_M: f32 = 40.0;
    let view = learned.reference.view();
    let apart = |i: usize| {
        let corner = &view.corners[i];
        let at = corner
            .facts
            .brake_m
            .filter(|_| corner.kind == CornerKind::Braked)?;
        let zone_m = view.wrap_m((zone.brake.along_m % f64::from(view.length_m())) as f32);
        Some(view.ahead_m(at.value, zone_m).abs())
    };
    (0..view.corners.len())
        .filter_map(|i| Some((i, apart(i)?)))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .filter(|(_, m)| *m < NEAR_M)
        .map(|(i, _)| i)
}

/// A reminder is given so long before the braking at most, seconds.
const REMIND_S: f64 = 12.0;

/// Gives each passage what the engine measured and told of it: a cue belongs to the last passage of
/// its corner's zone, or of the zone before its bend, that had begun.
fn attach(
    learned: &Learned,
    base: &Base,
    driven: &Trace,
    rows: &[Row],
    heard: &Heard,
    passages: &mut [Passage],
) {
    let view = learned.reference.view();
    let limit = Config::default().thresholds;
    let own = |index: usize| base.corners.iter().position(|c| *c == Some(index));
    let before = |index: usize| {
        let back = |c: usize| (index + view.corners.len() - c) % view.corners.len();
        let zones = base.corners.iter().enumerate();
        let zones = zones.filter_map(|(z, c)| Some((z, back((*c)?))));
        zones.min_by_key(|x| x.1).map(|x| x.0)
    };
    let along = |time_s: f64| driven.at_time(time_s).map_or(f64::NAN, |m| m.along_m);
    let last = |zone: usize, time_s: f64| {
        let i = rows
            .iter()
            .rposition(|r| r.zone == zone + 1 && r.times.on_s <= time_s + 0.5)?;
        let since_m = along(time_s) - along(rows[i].times.on_s);
        (since_m < 0.9 * driven.length_m).then_some(i)
    };
    let next = |zone: usize, time_s: f64| {
        let after = |r: &Row| (-1.0..REMIND_S).contains(&(r.times.on_s - time_s));
        rows.iter().position(|r| r.zone == zone + 1 && after(r))
    };
    for (time_s, cue) in &heard.cues {
        let index = usize::from(cue.corner) - 1;
        if cue.told == Told::Ahead {
            if let Some(i) = own(index).and_then(|zone| next(zone, *time_s)) {
                passages[i].reminded.push(*cue);
            }
        } else if let Some(zone) = own(index) {
            if let Some(i) = last(zone, *time_s) {
                passages[i].told.push(*cue);
            }
        } else if let Some(i) = before(index).and_then(|z| last(z, *time_s)) {
            let found = bend(&view, base, driven, &view.corners[index], *time_s);
            let said = (cue.phase, cue.advice);
            let right = found.and_then(|(lost, behind)| right_in_bend(said, lost, behind, &limit));
            passages[i].told_in_bends.push((*cue, right));
        }
    }
    for (time_s, facts) in &heard.facts {
        let index = usize::from(facts.corner) - 1;
        let Some(i) = own(index).and_then(|z| last(z, *time_s)) else {
            continue;
        };
        let corner = &view.corners[index];
        let p = &mut passages[i];
        p.usable = Some(facts.usable);
        p.verdict = judge(&view, corner, facts, &limit, Allowance::default());
        p.seen = Some(Deviations::of(&view, corner, facts, &limit));
    }
}

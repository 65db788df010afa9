//! What runs for hours takes no memory as it runs: the engine's thread of a drive, and a replay.

use allocation_counter::{AllocationInfo, measure};
use cuepost_engine::{Config, Event, Sample};
use cuepost_host::demo::car::Car;
use cuepost_host::demo::driver::{Driver, LapPlan, Scatter};
use cuepost_host::demo::fault::FaultKind;
use cuepost_host::demo::plan::Style;
use cuepost_host::demo::quillmere;
use cuepost_host::demo::receiver::{ReceiverModel, sample};
use cuepost_host::learn::{Options, Take, learn};
use cuepost_host::live::message::Arrived;
use cuepost_host::live::queue;
use cuepost_host::live::watcher::Watcher;
use cuepost_host::reference_file::HostReference;
use cuepost_host::replay::replay;
use cuepost_host::source;
use std::fmt::Write;
use std::sync::{Arc, OnceLock};
use std::time::Instant;

/// Laps of the long run.
const LAPS: usize = 12;

struct Driven {
    reference: Arc<HostReference>,
    samples: Vec<Sample>,
}

fn driven() -> &'static Driven {
    static DRIVEN: OnceLock<Driven> = OnceLock::new();
    DRIVEN.get_or_init(|| {
        let circuit = quillmere::circuit().expect("the pieces fit");
        let driver = Driver::practised(&circuit, &Car::touring(), Style::STEADY, Scatter::COACH);
        let model = ReceiverModel::usual(25.0);
        let clean = sample(
            &driver.drive(&circuit, &[LapPlan::clean(), LapPlan::clean()], 1),
            &model,
            1,
        );
        let take = Take {
            name: "clean laps",
            samples: &clean,
        };
        let learned = learn(&[take], &Options::default(), &mut |_, _| {}).expect("two good laps");
        let late = LapPlan::with(&[(2, FaultKind::ThrottleLate.of(30.0))]);
        let drive = driver.drive(&circuit, &vec![late; LAPS], 2);
        Driven {
            reference: Arc::new(*learned.reference),
            samples: sample(&drive, &model, 2),
        }
    })
}

/// What the engine's thread allocates over these samples, everything ready before it begins.
fn thread_over(samples: &[Sample]) -> (AllocationInfo, u64) {
    let (give, take) = queue::whole(samples.len() + 1);
    for sample in samples {
        give.push(Arrived::Sample(*sample, Instant::now()));
    }
    give.push(Arrived::End);
    let (sink, _heard) = queue::newest(64);
    let counters = Arc::default();
    let watcher = Watcher {
        reference: driven().reference.clone(),
        config: Config::default(),
        sinks: vec![sink],
        now: Arc::default(),
        counters: Arc::clone(&counters),
        start_us: Arc::default(),
    };
    let info = measure(|| watcher.run(&take));
    (
        info,
        counters.cues.load(std::sync::atomic::Ordering::Relaxed),
    )
}

#[test]
fn the_thread_of_the_engine_allocates_no_more_the_longer_it_runs() {
    let samples = &driven().samples;
    let (begun, _) = thread_over(&samples[..samples.len() / LAPS]);
    let (ran, cues) = thread_over(samples);
    assert!(cues as usize >= LAPS / 2, "it had something to say: {cues}");
    assert_eq!(ran.count_total, begun.count_total, "{ran:?} {begun:?}");
    assert_eq!(ran.bytes_total, begun.bytes_total);
}

fn table(samples: &[Sample]) -> String {
    let mut text = String::from("time_s,x_m,y_m,speed_mps,course_rad\n");
    for s in samples {
        let Some(cuepost_engine::Position::Local { east_mm, north_mm }) = s.position else {
            panic!("a local position");
        };
        let _ = writeln!(
            text,
            "{:.3},{:.3},{:.3},{:.3},{:.4}",
            s.time_us as f64 * 1e-6,
            east_mm as f64 * 1e-3,
            north_mm as f64 * 1e-3,
            s.speed_mps.unwrap_or(0.0),
            std::f32::consts::FRAC_PI_2 - s.direction_rad.unwrap_or(0.0),
        );
    }
    text
}

/// The most memory a replay holds at once, of a recording of these samples from a file.
fn replay_over(samples: &[Sample], name: &str) -> AllocationInfo {
    let path = std::env::temp_dir().join(format!("cuepost-{}-{name}.csv", std::process::id()));
    std::fs::write(&path, table(samples)).unwrap();
    let view = driven().reference.view();
    let mut corners = 0;
    let info = measure(|| {
        let recording = source::open(&path, &source::Options::default()).expect("a table");
        let count = |event: &Event, _| corners += u32::from(matches!(event, Event::Corner(_)));
        let (_, fault) = replay(recording, &view, Config::default(), count);
        assert!(fault.is_none());
    });
    std::fs::remove_file(&path).unwrap();
    assert!(corners >= 8, "{corners} corners");
    info
}

#[test]
fn a_replay_holds_no_more_the_longer_its_recording() {
    let samples = &driven().samples;
    let short = replay_over(&samples[..samples.len() / 4], "short");
    let long = replay_over(samples, "long");
    println!(
        "most held at once: {} and {} bytes",
        short.bytes_max, long.bytes_max
    );
    let slack = short.bytes_max / 10;
    assert!(
        long.bytes_max <= short.bytes_max + slack,
        "{short:?} {long:?}"
    );
}

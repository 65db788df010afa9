//! Measured once and judged under many settings: the same cues as a replay with each of them.

use crate::stage::Stage;
use crate::tables::{cuepost, work};
use cuepost_engine::{Config, Cue, Event, Focus, ReferenceView, Sample};
use cuepost_host::demo::fault::FaultKind;
use cuepost_host::demo::receiver::ReceiverModel;
use cuepost_host::replay::replay;
use cuepost_host::source;
use cuepost_host::thresholds_file::field;
use cuepost_host::tune::Take;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use std::collections::BTreeSet;
use std::convert::Infallible;

/// A configuration at random, thresholds from a fifth of the built-in ones to four times them.
pub fn random_config(random: &mut Pcg64Mcg, corners: u8) -> Config {
    let mut config = Config::default();
    let mut own = config.thresholds;
    for (name, value, least, most) in Config::default().thresholds.ranges() {
        let mut scaled = || value * 0.2 * 20f32.powf(random.random::<f32>());
        for thresholds in [&mut config.thresholds, &mut own] {
            let place = field(thresholds, name).expect("a threshold");
            *place = scaled().clamp(least, most);
        }
    }
    if random.random_bool(0.3) {
        config.focus = Focus::One;
    }
    if random.random_bool(0.3) {
        let corner = random.random_range(1..=corners);
        config.overrides.push((corner, own)).expect("room");
    }
    config.validate().expect("valid");
    config
}

fn replayed(samples: &[Sample], reference: &ReferenceView<'_>, config: &Config) -> Vec<Cue> {
    let mut cues = Vec::new();
    let all = samples.iter().map(|s| Ok::<_, Infallible>(*s));
    replay(all, reference, config.clone(), |event, _| {
        if let Event::Cue(cue) = event {
            cues.push(*cue);
        }
    });
    cues
}

/// Holds `settings` random settings of a recording against its replays. Returns what was told:
/// how many cues of each moment, and how many different lists.
fn same(
    samples: &[Sample],
    reference: &ReferenceView<'_>,
    seed: u64,
    settings: usize,
) -> ([usize; 3], usize) {
    let all = samples.iter().map(|s| Ok::<_, Infallible>(*s));
    let (take, _) = Take::measure("run", all, reference);
    let mut random = Pcg64Mcg::seed_from_u64(seed);
    let corners = reference.corners.len() as u8;
    let configs: Vec<Config> = (0..settings)
        .map(|_| random_config(&mut random, corners))
        .collect();
    // All of them at once, as a sweep does it.
    let mut all: Vec<Vec<Cue>> = vec![Vec::new(); settings];
    let together: Vec<&Config> = configs.iter().collect();
    take.tape
        .play_all(reference, &together, |number, cue| all[number].push(cue));
    let mut told = [0; 3];
    let mut lists = BTreeSet::new();
    for (config, got) in configs.iter().zip(&all) {
        assert_eq!(
            *got,
            replayed(samples, reference, config),
            "seed {seed}: {config:?}"
        );
        assert_eq!(*got, take.cues(reference, config), "and each alone");
        for cue in got {
            told[cue.told as usize] += 1;
        }
        lists.insert(format!("{got:?}"));
    }
    (told, lists.len())
}

#[test]
fn a_tape_tells_what_a_replay_tells_under_any_setting() {
    let stage = Stage::new(5, ReceiverModel::usual(25.0));
    let faults = [
        (1, FaultKind::BrakeEarly.of(14.0)),
        (4, FaultKind::ThrottleLate.of(30.0)),
        (6, FaultKind::ThrottleLate.of(25.0)),
        (7, FaultKind::BrakeLate.of(12.0)),
    ];
    let drive = stage.drive(6, &faults, 31);
    let samples = stage.samples(&drive, 31);
    let (told, lists) = same(&samples, &stage.reference.view(), 1, 40);
    assert!(told.iter().all(|n| *n > 10), "every kind of cue: {told:?}");
    assert!(lists > 20, "settings differ in what they tell: {lists}");
}

#[test]
fn gaps_and_stops_in_the_stream_change_nothing_of_it() {
    let stage = Stage::new(5, ReceiverModel::usual(10.0));
    let faults = [
        (2, FaultKind::BrakeEarly.of(14.0)),
        (4, FaultKind::ThrottleLate.of(30.0)),
        (6, FaultKind::ThrottleLate.of(25.0)),
        (8, FaultKind::BrakeLate.of(12.0)),
    ];
    let drive = stage.drive(10, &faults, 3);
    let mut samples = stage.samples(&drive, 3);
    let mut random = Pcg64Mcg::seed_from_u64(9);
    // Short gaps that are bridged, and longer ones that silence the voice for a while.
    let many = [0.3f64, 0.7, 0.9, 1.2].repeat(8);
    for seconds in many.into_iter().chain([7.0, 30.0]) {
        let length = (seconds * 10.0) as usize;
        let from = random.random_range(0..samples.len() - length);
        samples.drain(from..from + length);
    }
    let (told, _) = same(&samples, &stage.reference.view(), 2, 25);
    assert!(told.iter().sum::<usize>() > 20, "{told:?}");
}

#[test]
fn so_does_the_simulators_recording() {
    let recording = cuepost_tests::csv::data("learn").join("s5_touring.25hz.csv");
    let opened = source::open(&recording, &source::Options::default()).expect("opens");
    let samples: Vec<Sample> = opened.map(|s| s.expect("a sample")).collect();
    let take = cuepost_host::learn::Take {
        name: "s5",
        samples: &samples,
    };
    let learned = cuepost_host::learn::learn(&[take], &Default::default(), &mut |_, _| {});
    let reference = learned.expect("a reference").reference;
    same(&samples, &reference.view(), 3, 30);
}

/// The demonstration's planted faults as a coach would mark them.
const MARKS: &str = "lap,corner,phase,advice\n2,4,brake,later\n2,6,throttle,sooner\n\
    2,8,brake,sooner\n2,10,throttle,more-road\n3,2,rotation,faster\n3,6,throttle,sooner\n\
    3,8,throttle,steady\n";

#[test]
fn a_sweep_finds_the_setting_that_agrees_with_the_coach() {
    let demo = work().join("sweep");
    let file = |name: &str| demo.join(name).display().to_string();
    cuepost(&["demo", "--out", &demo.display().to_string()]);
    std::fs::write(demo.join("marks.csv"), MARKS).expect("marks");
    let _ = std::fs::remove_file(demo.join("best.toml"));
    let (driver, reference) = (file("driver.csv"), file("quillmere.ref"));
    let said = cuepost(&[
        "tune",
        &driver,
        "-r",
        &reference,
        "--vary",
        "all=0.5,1,5",
        "--marks",
        &file("marks.csv"),
        "-o",
        &file("tune.csv"),
        "--save",
        &file("best.toml"),
    ]);
    let table = std::fs::read_to_string(file("tune.csv")).expect("the table");
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let rows: Vec<std::collections::HashMap<String, String>> = reader
        .deserialize()
        .map(|row| row.expect("a row"))
        .collect();
    let number = |row: usize, name: &str| rows[row][name].parse::<f64>().expect("a number");
    assert_eq!(rows.len(), 4, "{said}");
    // What is begun from is the second of the three again.
    for name in [
        "cues_per_lap",
        "told_s_per_lap",
        "right",
        "wrong",
        "missed",
        "flips",
    ] {
        assert_eq!(rows[0][name], rows[2][name], "{name}");
    }
    assert_eq!(number(0, "right") + number(0, "missed"), 7.0, "{table}");
    assert!(number(0, "recall") >= 0.8, "{table}");
    // Looser thresholds say more, much larger ones next to nothing.
    assert!(number(1, "cues_per_lap") > number(0, "cues_per_lap"));
    assert!(number(3, "recall") < 0.5, "{table}");
    assert!((0..4).all(|r| (0.0..=1.0).contains(&number(r, "flips"))));
    assert!(
        number(1, "flips") > 0.0,
        "thresholds amid the deviations flip"
    );
    let best: Vec<usize> = (0..4)
        .filter(|r| rows[*r]["recommended"] == "true")
        .collect();
    assert!(best.len() == 1 && best[0] < 3, "{table}");
    // The saved file gives a replay the cues that the table counted.
    let replayed = cuepost(&[
        "replay",
        &driver,
        "-r",
        &reference,
        "-t",
        &file("best.toml"),
        "--format",
        "jsonl",
    ]);
    let cues = replayed
        .lines()
        .filter(|l| l.contains("\"event\":\"cue\""))
        .count();
    let counted: f64 = ["now", "after", "ahead"]
        .iter()
        .map(|n| number(best[0], n))
        .sum();
    assert_eq!(cues as f64, counted);
    assert!(
        said.contains("> recommended: it agrees best with the marks"),
        "{said}"
    );
}

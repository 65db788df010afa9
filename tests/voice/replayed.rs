//! One thing in focus, the whole way: files, `learn`, a thresholds file, `replay`, its tables.

use cuepost_engine::Position;
use cuepost_host::demo::car::Car;
use cuepost_host::demo::driver::{Driver, LapPlan, Scatter};
use cuepost_host::demo::fault::{Fault, FaultKind};
use cuepost_host::demo::plan::Style;
use cuepost_host::demo::quillmere;
use cuepost_host::demo::receiver::{ReceiverModel, sample};
use cuepost_tests::command::{Folder, cuepost};
use cuepost_tests::csv::Table;
use std::fmt::Write;
use std::path::Path;

/// A lap, the corner and when it was told.
type Said = (u32, u32, String);

/// A drive on the invented circuit as a table.
fn recording(laps: &[LapPlan], seed: u64) -> String {
    let circuit = quillmere::circuit().expect("the pieces fit");
    let driver = Driver::practised(&circuit, &Car::touring(), Style::STEADY, Scatter::COACH);
    let drive = driver.drive(&circuit, laps, seed);
    let mut out = String::from("time_us,x_m,y_m,speed_mps,course_deg\n");
    for s in sample(&drive, &ReceiverModel::usual(25.0), seed) {
        let Some(Position::Local { east_mm, north_mm }) = s.position else {
            panic!("in a plane");
        };
        let course = 90.0 - f64::from(s.direction_rad.expect("told")).to_degrees();
        writeln!(
            out,
            "{},{:.3},{:.3},{:.3},{:.3}",
            s.time_us,
            east_mm as f64 * 1e-3,
            north_mm as f64 * 1e-3,
            s.speed_mps.expect("told"),
            course.rem_euclid(360.0)
        )
        .expect("a string");
    }
    out
}

struct Replayed {
    /// Cues, by lap.
    told: Vec<Said>,
    /// Loss of each corner in each lap, seconds.
    lost_s: Vec<(u32, u32, f64)>,
}

fn replayed(laps: &[LapPlan], focus: &str) -> Replayed {
    let folder = Folder::new(&format!("focus-{focus}-{}", laps.len()));
    let coach = folder.put("coach.csv", &recording(&vec![LapPlan::clean(); 3], 1));
    let driver = folder.put("driver.csv", &recording(laps, 2));
    let settings = folder.put("settings.toml", &format!("focus = \"{focus}\"\n"));
    let (reference, tables) = (folder.file("coach.ref"), folder.file("out"));
    cuepost(&["learn", &coach, "-o", &reference]).expect("learned");
    let replay = [
        "replay",
        &driver,
        "--reference",
        &reference,
        "--thresholds",
        &settings,
    ];
    cuepost(&[&replay[..], &["--format", "csv", "--output", &tables]].concat()).expect("replayed");
    let table = |what: &str| Table::open(Path::new(&format!("{tables}.{what}.csv")));
    let (cues, facts) = (table("cues"), table("facts"));
    let whole = |t: &Table, i: usize, c: &str| t.number(i, c).expect("a number") as u32;
    Replayed {
        told: (0..cues.len())
            .map(|i| {
                let when = cues.text(i, "told").expect("told").to_owned();
                (whole(&cues, i, "lap"), whole(&cues, i, "corner"), when)
            })
            .collect(),
        lost_s: (0..facts.len())
            .filter_map(|i| {
                let lost_s = facts.number(i, "loss_s")?;
                Some((whole(&facts, i, "lap"), whole(&facts, i, "corner"), lost_s))
            })
            .collect(),
    }
}

/// The corners done wrong, the costliest first, what is wrong there, and the first lap without it:
/// one thing is mended after the other.
const PLAN: [(u8, FaultKind, f64, usize); 3] = [
    (1, FaultKind::ThrottleLate, 30.0, 5),
    (6, FaultKind::OverSlow, 3.0, 8),
    (8, FaultKind::OverSlow, 2.0, 11),
];

fn laps() -> Vec<LapPlan> {
    let wrong = |lap: usize| -> Vec<(u8, Fault)> {
        let left = PLAN.iter().filter(|p| lap < p.3);
        left.map(|(corner, kind, size, _)| (*corner, kind.of(*size)))
            .collect()
    };
    (1..=11).map(|lap| LapPlan::with(&wrong(lap))).collect()
}

/// Each is worked on in its turn, and nothing else is spoken of; in the first lap nothing, as it is
/// not known yet what costs most.
#[test]
fn the_costliest_first_until_it_is_mended() {
    let one = replayed(&laps(), "one");
    let mean_s = |corner: u8| {
        let of = one
            .lost_s
            .iter()
            .filter(|l| l.1 == u32::from(corner) && l.0 <= 4);
        of.map(|l| l.2).sum::<f64>() / 4.0
    };
    let costs = PLAN.map(|p| mean_s(p.0));
    println!("{costs:?} s; told {:?}", one.told);
    assert!(
        costs[0] > costs[1] && costs[1] > costs[2] && costs[2] > 0.06,
        "{costs:?}"
    );
    for (corner, _, _, mended) in PLAN {
        let told: Vec<&Said> = one
            .told
            .iter()
            .filter(|t| t.1 == u32::from(corner))
            .collect();
        assert!(told.len() >= 2, "corner {corner}: {told:?}");
        assert!(
            told.iter().all(|t| (t.0 as usize) <= mended),
            "corner {corner}: {told:?}"
        );
    }
    // One after the other: in the order of the plan, never back.
    let place = |t: &Said| PLAN.iter().position(|p| u32::from(p.0) == t.1);
    let order: Vec<Option<usize>> = one.told.iter().map(place).collect();
    assert!(order.iter().all(Option::is_some), "{:?}", one.told);
    assert!(order.is_sorted(), "{:?}", one.told);
    assert!(one.told.iter().all(|t| t.0 > 1), "{:?}", one.told);
}

/// The same drive with every corner in focus: all three are spoken of from the first lap on, and a
/// mistake made again and again is reminded of in each lap.
#[test]
fn every_corner_from_the_first_lap_and_a_habit_in_every_one() {
    let every = replayed(&laps(), "every");
    println!("{:?}", every.told);
    for (corner, _, _, mended) in PLAN {
        let of = || every.told.iter().filter(move |t| t.1 == u32::from(corner));
        assert!(of().any(|t| t.0 == 1), "corner {corner}: {:?}", every.told);
        for lap in 3..mended as u32 {
            let reminded = of().any(|t| t.0 == lap);
            assert!(reminded, "corner {corner}, lap {lap}: {:?}", every.told);
        }
    }
}

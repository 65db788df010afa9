//! The page leads to the costliest planted fault, holds 30 laps, and works in a browser.

use crate::chrome::{Chrome, LAPTOP, PHONE_UPRIGHT, Screen, TABLET, ask, keep_picture, until};
use crate::stage::Stage;
use cuepost_engine::{Advice, Config, Phase};
use cuepost_host::debrief::{Debrief, composite::composite, findings, render};
use cuepost_host::demo::fault::{Fault, FaultKind};
use cuepost_host::demo::receiver::ReceiverModel;
use cuepost_host::report::Units;
use cuepost_host::session::Session;
use serde_json::json;

fn page(stage: &Stage, session: &Session, config: &Config) -> String {
    render(&Debrief {
        conditions: "",
        recording: "evening <run> & more",
        reference: &stage.reference.view(),
        session,
        config,
        units: Units::Metric,
    })
}

#[test]
fn each_drivers_costliest_fault_comes_first() {
    let stage = Stage::new(5, ReceiverModel::usual(25.0));
    let config = Config::default();
    use FaultKind::{BrakeEarly, OverSlow, ThrottleLate};
    type Told = (Phase, Advice);
    type Planted = [(u8, Fault); 2];
    let drivers: [(Planted, [Told; 2]); 3] = [
        (
            [(1, ThrottleLate.of(30.0)), (4, BrakeEarly.of(12.0))],
            [
                (Phase::Throttle, Advice::Sooner),
                (Phase::Brake, Advice::Later),
            ],
        ),
        (
            [(1, BrakeEarly.of(14.0)), (6, ThrottleLate.of(35.0))],
            [
                (Phase::Brake, Advice::Later),
                (Phase::Throttle, Advice::Sooner),
            ],
        ),
        (
            [(4, OverSlow.of(4.0)), (6, BrakeEarly.of(12.0))],
            [
                (Phase::Rotation, Advice::Faster),
                (Phase::Brake, Advice::Later),
            ],
        ),
    ];
    for (seed, (faults, told)) in (20..).zip(drivers) {
        let drive = stage.drive(6, &faults, seed);
        let cost = faults.map(|(corner, _)| stage.truth_s(&drive, corner));
        let worst = usize::from(cost[1] > cost[0]);
        let session = stage.session(&stage.samples(&drive, seed), &config);
        let view = stage.reference.view();
        let corners = findings::corners(&session, &view, &config);
        let (first, _) = findings::first(&corners).expect("something to work on");
        assert_eq!(
            (first.corner, first.phase, first.advice),
            (faults[worst].0, told[worst].0, told[worst].1),
            "planted {faults:?}, cost {cost:?}: {corners:#?}"
        );
        // What is said to be won is what was lost.
        assert!(
            (f64::from(first.per_lap_s) - cost[worst]).abs() < 0.08,
            "{} instead of {cost:?}",
            first.per_lap_s
        );
        let html = page(&stage, &session, &config);
        let top = html.split("</section>").next().expect("a first section");
        assert!(
            top.contains(&format!("<span>Corner {}</span>", first.corner)),
            "{top}"
        );
    }
}

/// In a chicane the throttle between its halves never comes: the judge names no cause, and the
/// page still leads there.
#[test]
fn a_loss_without_a_name_is_not_passed_over() {
    let stage = Stage::new(5, ReceiverModel::usual(25.0));
    let config = Config::default();
    let faults = [
        (4, FaultKind::ThrottleLate.of(30.0)),
        (1, FaultKind::BrakeEarly.of(14.0)),
    ];
    let drive = stage.drive(5, &faults, 11);
    let chicane = stage.truth_s(&drive, 4) + stage.truth_s(&drive, 5);
    assert!(chicane > stage.truth_s(&drive, 1), "{chicane}");
    let session = stage.session(&stage.samples(&drive, 11), &config);
    let html = page(&stage, &session, &config);
    let top = html
        .split("</p>")
        .find(|p| p.contains("class=\"do\""))
        .expect("a first line");
    assert!(
        top.contains("Corner 4<") || top.contains("Corner 5<"),
        "{chicane}: {:#?}",
        findings::corners(&session, &stage.reference.view(), &config)
    );
}

/// The car stands for four seconds in a corner: nothing is judged there, and the page says where
/// the time went. The recording ends in the middle of a lap, which can be looked at all the same.
#[test]
fn what_is_not_judged_and_not_finished_is_not_passed_over() {
    let stage = Stage::new(5, ReceiverModel::usual(25.0));
    let config = Config::default();
    let drive = stage.drive(4, &[(1, FaultKind::BrakeEarly.of(14.0))], 13);
    let all = stage.samples(&drive, 13);
    // The slowest moment of the third quarter: the hairpin of the third lap.
    let (half, most) = (all.len() / 2, all.len() * 3 / 4);
    let speed = |i: &usize| all[*i].speed_mps.unwrap_or(f32::MAX);
    let at = (half..most)
        .min_by(|a, b| speed(a).total_cmp(&speed(b)))
        .expect("samples");
    let mut samples = all[..at].to_vec();
    let stood = |k: u64| cuepost_engine::Sample {
        time_us: all[at].time_us + k * 40_000,
        speed_mps: Some(0.0),
        ..all[at]
    };
    samples.extend((0..100).map(stood));
    let late = |s: &cuepost_engine::Sample| cuepost_engine::Sample {
        time_us: s.time_us + 4_000_000,
        ..*s
    };
    // Not to the end: the fourth lap is cut off after its first corners.
    let end = all.len() - all.len() / 6;
    samples.extend(all[at..end].iter().map(late));
    let session = stage.session(&samples, &config);
    let html = page(&stage, &session, &config);
    let top = html.split("</section>").next().expect("a first section");
    assert!(
        top.contains("Corner 1</span> brake 14 m later"),
        "the habit: {top}"
    );
    assert!(
        top.contains("where nothing is judged") && top.contains(">Lap 3, Corner 6"),
        "{top}"
    );
    let unfinished = session.laps.last().expect("laps").lap + 1;
    let shown = format!("\"lap\":{unfinished},\"time\":\"not finished\"");
    assert!(html.contains(&shown), "{shown}");
}

#[test]
fn thirty_laps_fit_and_nothing_is_fetched() {
    let stage = Stage::new(5, ReceiverModel::usual(10.0).with_pedals());
    let config = Config::default();
    let drive = stage.drive(30, &[(4, FaultKind::ThrottleLate.of(30.0))], 7);
    let session = stage.session(&stage.samples(&drive, 7), &config);
    assert_eq!(session.laps.len(), 30);
    let html = page(&stage, &session, &config);
    println!("30 laps: {} bytes", html.len());
    assert!(html.len() < 1_000_000);
    for outside in [
        "http:", "https:", "src=", "href=", "url(", "@import", "fetch(",
    ] {
        assert!(!html.contains(outside), "{outside}");
    }
    assert!(html.contains("evening &lt;run&gt; &amp; more"));
    // Every lap, by its time, without the script.
    let text = html.split("<script").next().expect("the text");
    for lap in &session.laps {
        let time = cuepost_host::report::units::lap_time(lap.time_us);
        assert!(text.contains(&time), "lap {}: {time}", lap.lap);
    }
}

#[test]
fn the_composite_is_no_slower_than_any_lap() {
    let stage = Stage::new(5, ReceiverModel::usual(25.0));
    let config = Config::default();
    let drive = stage.drive(5, &[], 9);
    let session = stage.session(&stage.samples(&drive, 9), &config);
    let view = stage.reference.view();
    let corners = findings::corners(&session, &view, &config);
    let c = composite(&view, &corners, &session.laps).expect("every corner was driven");
    assert!(c.parts_s <= c.corners_s + 1e-4, "{c:?}");
    // The corners tile the lap: their sum is a lap's time within the 5 ms lap times are held to.
    let best = c.best_lap_s.expect("a whole lap");
    assert!(c.corners_s <= best + 0.005, "{c:?}");
    assert!(best - c.parts_s < 0.03 * best, "{c:?}");
}

/// The gap that the page draws at the end of a lap is the lap's.
#[test]
fn the_traces_agree_with_the_lap_times() {
    use cuepost_host::session::{Grid, MISSING};
    let stage = Stage::new(5, ReceiverModel::perfect(25.0));
    let drive = stage.drive(3, &[(4, FaultKind::ThrottleLate.of(30.0))], 3);
    let session = stage.session(&stage.samples(&drive, 3), &Config::default());
    let view = stage.reference.view();
    let grid = Grid::new(&view, 2.0, 4000);
    for lap in &session.laps {
        let trace = session.trace(lap.lap, &grid, &view).expect("kept");
        assert!(trace.gap_ms.iter().all(|g| *g != MISSING));
        let last = f32::from(*trace.gap_ms.last().expect("points")) * 1e-3;
        let gap = lap.gap_s.expect("a reference time");
        assert!((last - gap).abs() < 0.02, "lap {}: {last} {gap}", lap.lap);
        assert!(f32::from(trace.gap_ms[0]).abs() < 5.0);
        for (m, speed) in grid.progress_m().zip(&trace.speed_cmps).step_by(50) {
            let at = drive.at_along((f64::from(lap.lap) - 1.0) * drive.length_m + f64::from(m));
            let truth = at.expect("driven").moment.speed_mps * 100.0;
            assert!(
                (f64::from(*speed) - truth).abs() < 60.0,
                "{m} m: {speed} {truth}"
            );
        }
    }
}

#[test]
fn the_page_works_in_a_browser() {
    let chrome = Chrome::start();
    let stage = Stage::new(5, ReceiverModel::usual(25.0).with_pedals());
    let faults = [
        (6, FaultKind::ThrottleLate.of(30.0)),
        (1, FaultKind::BrakeEarly.of(14.0)),
    ];
    let drive = stage.drive(5, &faults, 11);
    let config = Config::default();
    let session = stage.session(&stage.samples(&drive, 11), &config);
    let file = std::env::temp_dir().join(format!("cuepost-debrief-{}.html", std::process::id()));
    std::fs::write(&file, page(&stage, &session, &config)).expect("a file");
    let work = async {
        let client = chrome.open(LAPTOP).await;
        client
            .goto(&format!("file://{}", file.display()))
            .await
            .expect("opens");
        until(&client, "document.body.dataset.ready === 'yes'").await;
        keep_picture(&client, "debrief-corner").await;
        // It opens at the corner to work on, with every lap's onsets.
        let title = ask(&client, "document.querySelector('#view-h').textContent").await;
        assert!(
            title.as_str().is_some_and(|t| t.starts_with("Corner ")),
            "{title}"
        );
        let marks = "[...document.querySelectorAll('#charts text')].filter(t => t.textContent === '▲').length";
        assert!(
            ask(&client, marks).await.as_u64() >= Some(5),
            "an onset a lap and the reference's"
        );
        // The keyboard moves one cursor on trace and map.
        let here = "document.querySelector('#here').getAttribute('cx')";
        let before = ask(&client, here).await;
        let key = |k: &str| {
            format!(
                "(document.querySelector('#charts').focus(), document.querySelector('#charts').dispatchEvent(new KeyboardEvent('keydown', {{key: '{k}', shiftKey: true, bubbles: true}})), true)"
            )
        };
        ask(&client, &key("ArrowRight")).await;
        assert_ne!(ask(&client, here).await, before);
        let read = ask(&client, "document.querySelector('#read').textContent").await;
        assert!(
            read.as_str()
                .is_some_and(|t| t.contains("km/h") && t.contains(" s ")),
            "{read}"
        );
        ask(&client, &key("Escape")).await;
        let pressed = ask(
            &client,
            "document.querySelector('#corners [aria-pressed=true]').textContent",
        )
        .await;
        assert_eq!(pressed, json!("Whole lap"));
        keep_picture(&client, "debrief-lap").await;
        // A row of the table opens its corner.
        ask(
            &client,
            "(document.querySelectorAll('#table tbody button')[1].click(), true)",
        )
        .await;
        let chosen = "document.querySelector('#table tr.chosen').dataset.corner === document.querySelector('#corners [aria-pressed=true]').dataset.corner";
        assert_eq!(ask(&client, chosen).await, json!(true));
        let rows = ask(
            &client,
            "document.querySelectorAll('#passages tbody tr').length",
        )
        .await;
        assert!(rows.as_u64() >= Some(5));
        client.close().await.expect("closes");
        for screen in [TABLET, PHONE_UPRIGHT] {
            fits(&chrome, screen, &file).await;
        }
    };
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime")
        .block_on(work);
    let _ = std::fs::remove_file(&file);
}

/// Nothing sticks out sideways, and the letters of the pictures keep a size that can be read.
async fn fits(chrome: &Chrome, screen: Screen, file: &std::path::Path) {
    let client = chrome.open(screen).await;
    client
        .goto(&format!("file://{}", file.display()))
        .await
        .expect("opens");
    until(&client, "document.body.dataset.ready === 'yes'").await;
    let wide = "document.documentElement.scrollWidth <= innerWidth";
    assert_eq!(ask(&client, wide).await, json!(true), "{}", screen.name);
    let letters = "document.querySelector('#charts svg text').getBoundingClientRect().height";
    let letters = ask(&client, letters).await;
    assert!(letters.as_f64() >= Some(9.0), "{}: {letters}", screen.name);
    keep_picture(&client, &format!("debrief-{}", screen.name)).await;
    client.close().await.expect("closes");
}

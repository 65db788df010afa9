//! The pages in a real browser.

use crate::chrome::{Chrome, LAPTOP, PHONE, PHONE_UPRIGHT, TABLET, ask, keep_picture, until};
use crate::legible::{TEXTS, check_legible};
use crate::served::{Served, corner, cue, lap};
use cuepost_engine::cue::{Advice, Phase, Size, Told};
use cuepost_host::live::message::{Note, NoteKind, Said};
use cuepost_host::page::Limits;
use serde_json::json;

fn block_on(work: impl Future<Output = ()>) {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime")
        .block_on(work);
}

#[test]
fn the_driver_reads_one_cue_and_nothing_else() {
    let chrome = Chrome::start();
    block_on(async {
        for screen in [PHONE, PHONE_UPRIGHT, TABLET, LAPTOP] {
            let served = Served::start(Limits::default());
            served.driving(Some(0.34), 3, (0.0, 0.0));
            let page = chrome.open(screen).await;
            page.goto(&served.url("/driver?now")).await.expect("opens");
            until(
                &page,
                "document.getElementById('gap').textContent === '+0.3'",
            )
            .await;
            check_legible(&page, screen).await;
            keep_picture(&page, &format!("driver-quiet-{}", screen.name)).await;

            served.event(cue(
                Phase::Throttle,
                Advice::Sooner,
                Size::Metres(12.0),
                Told::Now,
            ));
            until(&page, "document.body.dataset.showing === 'cue'").await;
            let shown = ask(&page, TEXTS).await;
            let texts: Vec<&str> = shown
                .as_array()
                .expect("texts")
                .iter()
                .filter_map(|t| t["text"].as_str())
                .collect();
            assert_eq!(texts, ["THROTTLE", "SOONER", "12 m"]);
            // The direction is a shape on a side, not a colour.
            let less = "(() => { const r = document.querySelector('#shape polygon.less').getBoundingClientRect(); \
                return r.width > 0 && r.right < innerWidth * 0.6; })()";
            assert_eq!(ask(&page, less).await, json!(true), "{}", screen.name);
            let more =
                "document.querySelector('#shape polygon.more').getBoundingClientRect().width";
            assert_eq!(ask(&page, more).await, json!(0), "{}", screen.name);
            check_legible(&page, screen).await;
            keep_picture(&page, &format!("driver-cue-{}", screen.name)).await;
            until(&page, "document.body.dataset.showing === 'quiet'").await;

            served.event(cue(
                Phase::Brake,
                Advice::Later,
                Size::Metres(6.0),
                Told::Ahead,
            ));
            until(&page, "document.body.dataset.showing === 'cue'").await;
            check_legible(&page, screen).await;
            keep_picture(&page, &format!("driver-next-{}", screen.name)).await;
            until(&page, "document.body.dataset.showing === 'quiet'").await;

            served.event(cue(
                Phase::Straight,
                Advice::Better,
                Size::Seconds(0.15),
                Told::After,
            ));
            until(&page, "document.body.dataset.showing === 'cue'").await;
            check_legible(&page, screen).await;
            keep_picture(&page, &format!("driver-keep-{}", screen.name)).await;
            page.close().await.expect("closes");
        }
    });
}

#[test]
fn a_burst_of_cues_never_flashes() {
    let chrome = Chrome::start();
    block_on(async {
        let served = Served::start(Limits::default());
        served.driving(Some(0.0), 1, (0.0, 0.0));
        let page = chrome.open(PHONE).await;
        page.goto(&served.url("/driver?now")).await.expect("opens");
        until(&page, "document.getElementById('gap').textContent !== ''").await;
        let watch = "(() => { window.changes = []; new MutationObserver(() => \
            window.changes.push([performance.now(), document.body.dataset.showing])) \
            .observe(document.body, {attributes: true, attributeFilter: ['data-showing']}); return 1; })()";
        ask(&page, watch).await;
        for i in 0..40u8 {
            let advice = [Advice::Sooner, Advice::Later][usize::from(i % 2)];
            served.event(cue(
                Phase::Brake,
                advice,
                Size::Metres(f32::from(i)),
                Told::After,
            ));
            tokio::time::sleep(std::time::Duration::from_millis(100)).await;
        }
        until(&page, "document.body.dataset.showing === 'quiet'").await;
        let changes = ask(&page, "window.changes").await;
        let lit: Vec<f64> = changes
            .as_array()
            .expect("changes")
            .iter()
            .filter(|c| c[1] == "cue")
            .filter_map(|c| c[0].as_f64())
            .collect();
        assert!(lit.len() >= 2, "{changes}");
        // WCAG 2.2, 2.3.1: no more than three flashes in any one second. A cue stands 1.5 s at
        // least and is followed by half a second of nothing.
        for pair in lit.windows(2) {
            assert!(pair[1] - pair[0] >= 1900.0, "{changes}");
        }
        page.close().await.expect("closes");
    });
}

const ROWS: &str =
    "[...document.querySelectorAll('#lap-rows tr')].map((r) => r.cells[0].textContent)";
const CUES: &str = "document.querySelectorAll('#cue-list li:not(.none)').length";

#[test]
fn the_coach_sees_each_lap_and_cue_once_also_after_a_break() {
    let chrome = Chrome::start();
    block_on(async {
        let mut served = Served::start(Limits::default());
        let page = chrome.open(LAPTOP).await;
        for number in 1..=3 {
            for c in 1..=8 {
                served.event(corner(
                    number,
                    c,
                    0.04 * f32::from(c) - 0.05 * f32::from(number),
                ));
            }
            served.event(lap(
                number,
                73.4 - 0.3 * f64::from(number),
                1.4 - 0.3 * f32::from(number),
                number != 1,
            ));
        }
        served.event(cue(
            Phase::Brake,
            Advice::Later,
            Size::Metres(6.0),
            Told::After,
        ));
        served.say.push(Said::Note(Note::new(
            NoteKind::Source,
            "/dev/ttyACM0: back",
        )));
        served.driving(Some(0.42), 4, (200.0, 150.0));
        page.goto(&served.url("/coach")).await.expect("opens");
        until(&page, &format!("({ROWS}).length === 3")).await;
        assert_eq!(ask(&page, ROWS).await, json!(["3", "2", "1"]));
        assert_eq!(ask(&page, CUES).await, json!(1));
        let cell =
            "document.querySelector('#corner-rows tr:nth-child(8) td:nth-child(2)').textContent";
        assert_eq!(ask(&page, cell).await, json!("▲ 0.17"));

        // The server goes away, a lap ends meanwhile, and it comes back at the same place.
        let address = served
            .server
            .as_ref()
            .expect("serving")
            .address()
            .to_string();
        served.server = None;
        served.event(lap(4, 72.0, 0.0, true));
        until(
            &page,
            "document.getElementById('state').textContent === 'no connection'",
        )
        .await;
        served.serve(Limits::default(), &address);
        until(&page, &format!("({ROWS}).length === 4")).await;
        served.event(lap(5, 71.0, -1.0, true));
        until(&page, &format!("({ROWS}).length === 5")).await;
        assert_eq!(ask(&page, ROWS).await, json!(["5", "4", "3", "2", "1"]));
        assert_eq!(ask(&page, CUES).await, json!(1));
        page.close().await.expect("closes");
    });
}

#[test]
fn the_coachs_page_at_three_sizes() {
    let chrome = Chrome::start();
    block_on(async {
        for screen in [PHONE_UPRIGHT, TABLET, LAPTOP] {
            let served = Served::start(Limits::default());
            for number in 1..=6 {
                for c in 1..=8u8 {
                    let loss = 0.03 * f32::from(c % 5) - 0.04 * f32::from(number - 1) + 0.1;
                    served.event(corner(number, c, loss));
                }
                served.event(lap(
                    number,
                    73.4 - 0.3 * f64::from(number),
                    1.4 - 0.3 * f32::from(number),
                    number != 1,
                ));
            }
            for advice in [Advice::Sooner, Advice::Later] {
                served.event(cue(Phase::Brake, advice, Size::Metres(6.0), Told::After));
                served.event(cue(Phase::Throttle, advice, Size::Metres(12.0), Told::Now));
            }
            served.driving(Some(0.42), 4, (200.0, 150.0));
            let page = chrome.open(screen).await;
            page.goto(&served.url("/coach")).await.expect("opens");
            until(&page, &format!("({ROWS}).length === 6")).await;
            until(
                &page,
                "document.getElementById('state').textContent === 'good'",
            )
            .await;
            // Nothing sticks out sideways.
            let fits = "document.documentElement.scrollWidth <= innerWidth";
            assert_eq!(ask(&page, fits).await, json!(true), "{}", screen.name);
            keep_picture(&page, &format!("coach-{}", screen.name)).await;
            page.close().await.expect("closes");
        }
    });
}

#[test]
fn a_drive_replayed_at_speed_and_its_cues_read_off_the_page() {
    use crate::running::Running;
    use crate::scene::{replayed, scene};
    let chrome = Chrome::start();
    let scene = scene();
    let want = replayed(&scene.recording());
    block_on(async {
        let drive = Running::drive(&[
            "--from",
            scene.recording().to_str().expect("plain path"),
            "--speed",
            "10",
            "--to",
            "page",
            "--to",
            "jsonl",
            "--page-port",
            "0",
        ]);
        drive.until("serving", |d| d.err().contains("pages: http://"));
        let err = drive.err();
        let link = err.split("pages: ").nth(1).and_then(|l| l.lines().next());
        let link = link.expect("a link").to_owned();
        let page = chrome.open(PHONE).await;
        page.goto(&format!("{link}driver?now"))
            .await
            .expect("opens");
        let coach = chrome.open(LAPTOP).await;
        coach.goto(&format!("{link}coach")).await.expect("opens");
        let read = until(
            &page,
            "document.body.dataset.showing === 'cue' && \
             ['word', 'advice', 'size'].map((id) => document.getElementById(id).textContent)",
        )
        .await;
        keep_picture(&page, "drive-driver-phone").await;
        // What the page shows is one of the cues that replay gives, in the driver's words.
        let told = want.lines().filter_map(|l| {
            let v: serde_json::Value = serde_json::from_str(l).ok()?;
            (v["event"] == "cue").then_some(v)
        });
        let size = read[2]
            .as_str()
            .expect("a size")
            .split(' ')
            .next()
            .map(str::to_owned);
        let size = size.expect("a number");
        let advice = read[1].as_str().expect("an advice").to_lowercase();
        let found = told.into_iter().any(|v| {
            let text = v["text"].as_str().unwrap_or_default();
            (v["advice"] == advice.as_str() || v["advice"] == "better") && text.contains(&size)
        });
        assert!(found, "{read} is not among the cues of\n{want}");
        // The drive goes on to its end; the coach then has every lap and every cue once.
        until(
            &coach,
            "document.getElementById('state').textContent === 'drive ended'",
        )
        .await;
        let laps = want.matches("\"event\":\"lap\"").count();
        let cues = want.matches("\"event\":\"cue\"").count();
        assert_eq!(ask(&coach, &format!("({ROWS}).length")).await, json!(laps));
        assert_eq!(ask(&coach, CUES).await, json!(cues.min(8)));
        keep_picture(&coach, "drive-coach-laptop").await;
        page.close().await.expect("closes");
        coach.close().await.expect("closes");
        let ended = drive.ended();
        assert_eq!(ended.out, want);
        assert!(
            ended.err.contains("arrival to page: median"),
            "{}",
            ended.err
        );
    });
}

/// Processes of a browser, known by its profile's folder.
fn browsers(profile: &std::path::Path) -> usize {
    let profile = profile.display().to_string();
    std::fs::read_dir("/proc")
        .expect("Linux")
        .filter_map(|entry| std::fs::read(entry.ok()?.path().join("cmdline")).ok())
        .filter(|line| String::from_utf8_lossy(line).contains(&profile))
        .count()
}

#[test]
fn a_test_that_fails_leaves_no_browser_running() {
    let chrome = Chrome::start();
    let failed = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
        block_on(async {
            let _page = chrome.open(PHONE).await;
            assert!(browsers(chrome.profile()) > 0);
            std::panic::resume_unwind(Box::new("a failed test"));
        });
    }));
    assert!(failed.is_err());
    let profile = chrome.profile().to_owned();
    drop(chrome);
    assert!(!profile.exists(), "its profile is gone");
    // The last of its processes may take a moment.
    let until = std::time::Instant::now() + std::time::Duration::from_secs(20);
    while browsers(&profile) > 0 && std::time::Instant::now() < until {
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    assert_eq!(browsers(&profile), 0, "and so are its processes");
}

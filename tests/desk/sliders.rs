//! The page with sliders, in a browser: its cues are those of a replay with the same thresholds.

use crate::chrome::{Chrome, LAPTOP, TABLET, ask, keep_picture, until};
use crate::tables::{cuepost, work};
use fantoccini::Client;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};

/// The served page; the program ends when it is dropped.
struct Page {
    program: Child,
    address: String,
    recording: String,
    reference: String,
    marks: PathBuf,
    saved: PathBuf,
}

impl Page {
    fn serve() -> Self {
        let own = format!("page-{}", std::process::id());
        let demo = work().join(&own);
        cuepost(&["demo", "--out", &demo.display().to_string()]);
        let recording = demo.join("driver.csv").display().to_string();
        let reference = demo.join("quillmere.ref").display().to_string();
        let marks = work().join(format!("{own}.csv"));
        let saved = work().join(format!("{own}.toml"));
        for file in [&marks, &saved] {
            let _ = std::fs::remove_file(file);
        }
        let mut program = Command::new(env!("CARGO_BIN_EXE_program"))
            .args(["tune", &recording, "-r", &reference, "--page"])
            .args(["--page-port", "0", "--marks"])
            .arg(&marks)
            .arg("--save")
            .arg(&saved)
            .stdout(Stdio::piped())
            .spawn()
            .expect("runs");
        let mut line = String::new();
        let out = program.stdout.take().expect("its output");
        BufReader::new(out).read_line(&mut line).expect("a line");
        let address = line
            .split_whitespace()
            .nth(1)
            .expect("an address")
            .to_owned();
        Self {
            program,
            address,
            recording,
            reference,
            marks,
            saved,
        }
    }

    /// What a replay tells with the thresholds that the page saved.
    fn replayed(&self) -> Vec<Row> {
        let saved = self.saved.display().to_string();
        let lines = cuepost(&[
            "replay",
            &self.recording,
            "-r",
            &self.reference,
            "--format",
            "jsonl",
            "-t",
            &saved,
        ]);
        let lines = lines
            .lines()
            .map(|l| serde_json::from_str(l).expect("JSON"));
        let cues = lines.filter(|l: &Value| l["event"] == "cue");
        let rows = cues.map(|c| Row {
            place: json!([c["lap"], c["corner"], c["told"]]).to_string(),
            text: c["text"].as_str().expect("text").to_owned(),
        });
        sorted(rows.collect())
    }
}

impl Drop for Page {
    fn drop(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}

/// A cue as the coach sees it: lap, corner, when it is told; and in words.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Row {
    place: String,
    text: String,
}

fn sorted(mut rows: Vec<Row>) -> Vec<Row> {
    rows.sort();
    rows
}

/// The rows of the table.
async fn rows(client: &Client) -> Vec<Row> {
    let signs = "{'●': 'now', '▲': 'after', '◇': 'ahead'}";
    let script = format!(
        "[...document.querySelectorAll('#rows tr:not(.gone)')].map(r => [\
         JSON.stringify([+r.cells[0].textContent, +r.cells[1].textContent, {signs}[r.cells[2].textContent[0]]]), \
         r.cells[3].textContent.replace(/^\\+ /, '')])"
    );
    let rows = ask(client, &script).await;
    let rows = rows.as_array().expect("rows").iter().map(|r| Row {
        place: r[0].as_str().expect("a place").to_owned(),
        text: r[1].as_str().expect("words").to_owned(),
    });
    sorted(rows.collect())
}

/// Moves sliders to places at random and waits until the page has drawn the answer.
async fn move_sliders(client: &Client, random: &mut Pcg64Mcg) {
    let places: Vec<u32> = (0..11).map(|_| random.random_range(0..=1000)).collect();
    let focus = if random.random_bool(0.25) {
        "one"
    } else {
        "every"
    };
    let script = format!(
        "(() => {{ document.body.dataset.judged = ''; \
         const f = document.querySelector('#focus'); f.value = '{focus}'; f.dispatchEvent(new Event('change')); \
         const places = {places:?}; \
         document.querySelectorAll('#groups input[type=range]').forEach((r, i) => {{ r.value = places[i]; r.dispatchEvent(new Event('input')); }}); \
         return true; }})()"
    );
    ask(client, &script).await;
    let numbers = "[...document.querySelectorAll('#groups input[type=number]')].map(n => n.closest('label').dataset.name + '=' + n.value)";
    let wanted = ask(client, numbers).await;
    let wanted: Vec<&str> = wanted
        .as_array()
        .expect("numbers")
        .iter()
        .filter_map(Value::as_str)
        .collect();
    let asked = format!("{}&focus={focus}", wanted.join("&"));
    until(
        client,
        &format!("document.body.dataset.judged === '{asked}'"),
    )
    .await;
}

async fn work_through(page: &Page, client: &Client) {
    client.goto(&page.address).await.expect("opens");
    until(client, "document.body.dataset.ready === 'yes'").await;
    let begin = rows(client).await;
    assert!(begin.len() > 5, "{begin:?}");
    keep_picture(client, "tune").await;
    let mut random = Pcg64Mcg::seed_from_u64(77);
    let mut seen = std::collections::BTreeSet::new();
    for _ in 0..6 {
        move_sliders(client, &mut random).await;
        ask(client, "(document.querySelector('#said').textContent = '', document.querySelector('#save').click(), true)").await;
        until(
            client,
            "document.querySelector('#said').textContent.startsWith('Saved as')",
        )
        .await;
        let shown = rows(client).await;
        let replayed = page.replayed();
        assert_eq!(shown.len(), replayed.len());
        for (row, cue) in shown.iter().zip(&replayed) {
            // A replay's line names the corner as well, and what it cost.
            let same = row.place == cue.place && cue.text.contains(&row.text);
            assert!(same, "{row:?} {cue:?}");
        }
        seen.insert(shown);
    }
    assert!(
        seen.len() > 3,
        "the sliders change something: {}",
        seen.len()
    );
    keep_picture(client, "tune-moved").await;
    marks(page, client).await;
}

/// A click accepts a cue, a key rejects one, and both are in the file at once.
async fn marks(page: &Page, client: &Client) {
    ask(client, "(document.querySelector('#reset').click(), true)").await;
    until(client, "document.querySelectorAll('#rows tr:not(.gone)').length > 5 && !document.querySelector('#rows tr.gone')").await;
    ask(
        client,
        "(document.querySelector('#rows tr:nth-child(2) .yes').click(), true)",
    )
    .await;
    until(client, "document.querySelector('#rows tr:nth-child(2) .yes').getAttribute('aria-pressed') === 'true'").await;
    let key = "(document.querySelector('#rows tr:nth-child(3)').focus(), document.activeElement.dispatchEvent(new KeyboardEvent('keydown', {key: 'n', bubbles: true})), true)";
    ask(client, key).await;
    until(client, "document.querySelector('#rows tr:nth-child(3) .no').getAttribute('aria-pressed') === 'true'").await;
    let agreement = ask(client, "document.querySelector('#agreement').textContent").await;
    assert_eq!(agreement, json!("1 / 1 / 0"));
    let text = std::fs::read_to_string(&page.marks).expect("marks");
    let marks: Vec<&str> = text.lines().skip(1).collect();
    assert_eq!(marks.len(), 2, "{text}");
    assert!(text.contains(",yes") && text.contains(",no"), "{text}");
    // The arrow goes to the next cue, and its lap is shown.
    ask(
        client,
        "(document.querySelectorAll('#rows tr')[0].click(), true)",
    )
    .await;
    let down = "(document.activeElement.dispatchEvent(new KeyboardEvent('keydown', {key: 'ArrowDown', bubbles: true})), true)";
    until(client, "document.activeElement.matches('#rows tr.here')").await;
    ask(client, down).await;
    until(
        client,
        "document.querySelector('#rows tr:nth-child(2)').classList.contains('here')",
    )
    .await;
    until(
        client,
        "document.querySelector('#traces .told.here') !== null",
    )
    .await;
    keep_picture(client, "tune-marked").await;
    // The command reads what the page wrote.
    let marks = page.marks.display().to_string();
    let told = cuepost(&[
        "tune",
        &page.recording,
        "-r",
        &page.reference,
        "--marks",
        &marks,
    ]);
    assert!(
        told.contains("recommended: it agrees best with the marks: 1 told as marked"),
        "{told}"
    );
}

#[test]
fn the_sliders_tell_what_a_replay_tells() {
    let chrome = Chrome::start();
    let page = Page::serve();
    let look = async {
        let client = chrome.open(LAPTOP).await;
        work_through(&page, &client).await;
        client.close().await.expect("closes");
        let client = chrome.open(TABLET).await;
        client.goto(&page.address).await.expect("opens");
        until(&client, "document.body.dataset.ready === 'yes'").await;
        let fits = "document.documentElement.scrollWidth <= innerWidth";
        assert_eq!(ask(&client, fits).await, json!(true));
        keep_picture(&client, "tune-tablet").await;
        client.close().await.expect("closes");
    };
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime")
        .block_on(look);
}

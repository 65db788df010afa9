//! Makes the pictures of the README from the demo, into `docs/pictures`:
//! `cargo run -p cuepost-tests --example pictures`.
//!
//! Needs `chromium` and `chromedriver`, as `tests/setup.sh` installs them.

#[path = "../live/chrome.rs"]
#[allow(dead_code, reason = "the tests look at more screens")]
mod chrome;

use chrome::{Chrome, Screen, ask, until};
use cuepost_tests::command::{Folder, cuepost};
use fantoccini::Client;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// A phone across the dash, at the size the picture is shown.
const DASH: Screen = Screen {
    name: "dash",
    width: 800,
    height: 360,
    ratio: 1.0,
};
/// The top of a debrief, down to the map.
const DESK: Screen = Screen {
    name: "desk",
    width: 1160,
    height: 1000,
    ratio: 1.0,
};
/// A port of its own, beside a drive that may be running.
const PORT: &str = "8479";
/// The cue that is shown: the one a driver can still act on in the corner.
const CUE: &str = "document.body.dataset.showing === 'cue' \
     && document.getElementById('word').textContent.toUpperCase() === 'THROTTLE'";

fn main() {
    let folder = Folder::new("pictures");
    let demo = folder.file("demo");
    let run = |words: &[&str]| cuepost(words).unwrap_or_else(|e| panic!("{e}"));
    run(&["demo", "--pedals", "--out", &demo]);
    let driver = format!("{demo}/driver.csv");
    let reference = format!("{demo}/quillmere.ref");
    let page = folder.file("debrief.html");
    run(&["debrief", &driver, "--reference", &reference, "-o", &page]);

    let chrome = Chrome::start();
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime")
        .block_on(async {
            let client = chrome.open(DESK).await;
            client
                .goto(&format!("file://{page}"))
                .await
                .expect("the page opens");
            until(&client, "document.readyState === 'complete'").await;
            keep(&client, "debrief").await;
            client.close().await.expect("closes");

            let client = chrome.open(DASH).await;
            let drive = Drive::of(&driver, &reference);
            let address = format!("http://127.0.0.1:{PORT}/driver");
            while client.goto(&address).await.is_err() {
                tokio::time::sleep(Duration::from_millis(100)).await;
            }
            until(&client, "document.getElementById('go') !== null").await;
            ask(&client, "document.getElementById('go').click()").await;
            until(&client, CUE).await;
            keep(&client, "driver").await;
            drop(drive);
            client.close().await.expect("closes");
        });
}

/// The demo's drive, eight times as fast, with its page.
struct Drive(Child);

impl Drive {
    fn of(driver: &str, reference: &str) -> Self {
        let words = ["--speed", "8", "--to", "page", "--page-port", PORT];
        let child = Command::new(env!("CARGO"))
            .args(["run", "--quiet", "--package", "cuepost-tests"])
            .args(["--bin", "program", "--"])
            .args(["drive", "--from", driver, "--reference", reference])
            .args(words)
            .stdout(Stdio::null())
            .spawn()
            .expect("cargo runs the program");
        Self(child)
    }
}

impl Drop for Drive {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

async fn keep(client: &Client, name: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../docs/pictures")
        .join(format!("{name}.png"));
    let png = client.screenshot().await.expect("a picture");
    std::fs::write(&path, &png).expect("the picture is kept");
    println!("docs/pictures/{name}.png: {} kB", png.len() / 1000);
}

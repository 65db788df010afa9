//! A headless Chromium, driven over WebDriver.
//!
//! Needs the Debian packages `chromium` and `chromium-driver`. Without them the browser tests fail
//! and say what to install: a test that did not run has not passed.

use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::json;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// The browser.
const BROWSER: &str = "/usr/bin/chromium";

/// A running driver; it and its browsers end when it is dropped.
pub struct Chrome {
    driver: Child,
    port: u16,
    profile: PathBuf,
}

/// What is looked at: CSS pixels, and how many screen pixels each is.
#[derive(Clone, Copy)]
pub struct Screen {
    pub name: &'static str,
    pub width: u32,
    pub height: u32,
    pub ratio: f64,
}

pub const PHONE: Screen = screen("phone", 800, 360, 2.0);
pub const PHONE_UPRIGHT: Screen = screen("phone-upright", 360, 800, 2.0);
pub const TABLET: Screen = screen("tablet", 1180, 820, 1.0);
pub const LAPTOP: Screen = screen("laptop", 1440, 900, 1.0);

const fn screen(name: &'static str, width: u32, height: u32, ratio: f64) -> Screen {
    Screen {
        name,
        width,
        height,
        ratio,
    }
}

impl Chrome {
    /// Starts the driver.
    pub fn start() -> Self {
        let missing = |what: &str| -> ! {
            panic!(
                "{what} is not there, so the pages cannot be looked at. Install a browser and its \
                 driver: `bash tests/setup.sh`, or on Debian `apt-get install chromium \
                 chromium-driver`"
            )
        };
        if !Path::new(BROWSER).exists() {
            missing(BROWSER);
        }
        let port = TcpListener::bind("127.0.0.1:0")
            .and_then(|l| l.local_addr())
            .expect("a free port")
            .port();
        let driver = Command::new("chromedriver")
            .arg(format!("--port={port}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|e| missing(&format!("chromedriver ({e})")));
        let profile = std::env::temp_dir().join(format!("cuepost-chrome-{port}"));
        Self {
            driver,
            port,
            profile,
        }
    }

    /// The folder of its browsers' profiles.
    pub fn profile(&self) -> &Path {
        &self.profile
    }

    /// Opens a browser window of a size.
    pub async fn open(&self, screen: Screen) -> Client {
        let profile = self.profile.join(screen.name);
        let args = [
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--hide-scrollbars",
        ];
        let mut args: Vec<String> = args.iter().map(|a| (*a).to_owned()).collect();
        args.push(format!("--user-data-dir={}", profile.display()));
        let metrics = json!({
            "width": screen.width,
            "height": screen.height,
            "pixelRatio": screen.ratio,
            "mobile": screen.ratio > 1.0,
            "touch": screen.ratio > 1.0,
        });
        let options = json!({
            "binary": BROWSER,
            "args": args,
            "mobileEmulation": {"deviceMetrics": metrics},
        });
        let mut capabilities = serde_json::Map::new();
        capabilities.insert("goog:chromeOptions".into(), options);
        let url = format!("http://127.0.0.1:{}", self.port);
        let until = Instant::now() + Duration::from_secs(60);
        loop {
            let client = ClientBuilder::new(HttpConnector::new())
                .capabilities(capabilities.clone())
                .connect(&url)
                .await;
            match client {
                Ok(client) => return client,
                Err(e) if Instant::now() > until => panic!("{e}"),
                Err(_) => tokio::time::sleep(Duration::from_millis(100)).await,
            }
        }
    }
}

impl Drop for Chrome {
    fn drop(&mut self) {
        // A test that failed has not closed its browser, and killing the driver would leave it
        // running: the driver closes it when asked to end.
        let asked = TcpStream::connect(("127.0.0.1", self.port)).and_then(|mut stream| {
            stream.set_read_timeout(Some(Duration::from_secs(10)))?;
            let request = "GET /shutdown HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n";
            stream.write_all(request.as_bytes())?;
            stream.read_to_end(&mut Vec::new())
        });
        let until = Instant::now() + Duration::from_secs(10);
        while asked.is_ok() && Instant::now() < until {
            if let Ok(Some(_)) = self.driver.try_wait() {
                break;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
        let _ = std::fs::remove_dir_all(&self.profile);
    }
}

/// Evaluates JavaScript until it gives something other than null or false.
pub async fn until(client: &Client, script: &str) -> serde_json::Value {
    let end = Instant::now() + Duration::from_secs(60);
    loop {
        let value = ask(client, script).await;
        if !value.is_null() && value != json!(false) {
            return value;
        }
        assert!(Instant::now() < end, "never: {script}");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

/// The value of a JavaScript expression.
pub async fn ask(client: &Client, script: &str) -> serde_json::Value {
    client
        .execute(&format!("return ({script});"), vec![])
        .await
        .expect("the page answers")
}

/// Keeps a picture under `target/screenshots`.
pub async fn keep_picture(client: &Client, name: &str) {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../target/screenshots");
    std::fs::create_dir_all(&folder).expect("a folder for pictures");
    let png = client.screenshot().await.expect("a picture");
    std::fs::write(folder.join(format!("{name}.png")), png).expect("the picture is kept");
}

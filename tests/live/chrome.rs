//! A headless Chromium, driven over WebDriver.
//!
//! Needs the Debian packages `chromium` and `chromium-driver`. Without them the browser tests say
//! so and pass, unless `CUEPOST_NEED_BROWSER` is set, as the gate does where they are installed.

use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::json;
use std::net::TcpListener;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// A running driver; killed when dropped.
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
    /// Starts the driver; `None` when it is not installed and not demanded.
    pub fn start() -> Option<Self> {
        let port = TcpListener::bind("127.0.0.1:0")
            .and_then(|l| l.local_addr())
            .expect("a free port")
            .port();
        let driver = Command::new("chromedriver")
            .arg(format!("--port={port}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        let driver = match driver {
            Ok(driver) => driver,
            Err(e) if std::env::var_os("CUEPOST_NEED_BROWSER").is_some() => {
                panic!("chromedriver: {e}")
            }
            Err(e) => {
                eprintln!("not run, chromedriver: {e}");
                return None;
            }
        };
        let profile = std::env::temp_dir().join(format!("cuepost-chrome-{port}"));
        Some(Self {
            driver,
            port,
            profile,
        })
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
            "binary": "/usr/bin/chromium",
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

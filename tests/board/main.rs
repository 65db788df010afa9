//! `cuepost board` over a pair of pseudo-terminals, with the firmware's own main loop at the other
//! end.

use cuepost_engine::wire::{self, Message, Object, Query, encode};
use cuepost_host::board::{BoardError, Client};
use cuepost_tests::board::one_port;
use cuepost_tests::ring::ring;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Two ends of a serial line.
struct Line {
    folder: PathBuf,
    socat: Child,
}

impl Line {
    fn new(name: &str) -> Self {
        let folder = std::env::temp_dir().join(format!("cuepost-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let end = |end: &str| format!("pty,raw,echo=0,link={}", folder.join(end).display());
        let socat = Command::new("socat")
            .args([end("computer"), end("board")])
            .stderr(Stdio::null())
            .spawn()
            .expect("socat, which tests/setup.sh installs");
        let line = Self { folder, socat };
        let begun = Instant::now();
        while !(line.end("computer").exists() && line.end("board").exists()) {
            assert!(
                begun.elapsed() < Duration::from_secs(20),
                "socat made no terminals"
            );
            std::thread::sleep(Duration::from_millis(5));
        }
        line
    }

    fn end(&self, end: &str) -> PathBuf {
        self.folder.join(end)
    }

    fn open(&self, end: &str) -> Box<dyn serialport::SerialPort> {
        serialport::new(self.end(end).to_str().unwrap(), 115_200)
            .timeout(Duration::from_millis(5))
            .open()
            .unwrap()
    }
}

impl Drop for Line {
    fn drop(&mut self) {
        let _ = self.socat.kill();
        let _ = self.socat.wait();
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

/// A board that runs until it is dropped.
struct Running {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Running {
    fn on(line: &Line) -> Self {
        let port = line.open("board");
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = Arc::clone(&stop);
        let thread = std::thread::spawn(move || {
            let mut board = one_port(port);
            let begun = Instant::now();
            while !stopped.load(Ordering::Relaxed) {
                board.step(begun.elapsed().as_micros() as u64);
            }
        });
        Self {
            stop,
            thread: Some(thread),
        }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn cuepost(line: &Line, words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_program"))
        .arg("board")
        .args(words)
        .arg("--port")
        .arg(line.end("computer"))
        .output()
        .unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn kept(folder: &Path, name: &str, bytes: &[u8]) -> String {
    let path = folder.join(name);
    std::fs::write(&path, bytes).unwrap();
    path.to_str().unwrap().to_owned()
}

#[test]
fn a_reference_is_sent_and_the_board_says_which_it_uses() {
    let line = Line::new("send");
    let _board = Running::on(&line);
    let bytes = ring(200.0);
    let id = cuepost_engine::file::id(&bytes).unwrap();
    let before = cuepost(&line, &["status"]);
    assert!(
        text(&before.stdout).contains("none: send one"),
        "{before:?}"
    );
    let file = kept(&line.folder, "ring.ref", &bytes);
    let sent = cuepost(&line, &["send", &file]);
    assert_eq!(sent.status.code(), Some(0), "{sent:?}");
    assert_eq!(
        text(&sent.stdout),
        format!("reference {id:08X} is in use on the board\n")
    );
    let after = cuepost(&line, &["status"]);
    assert!(
        text(&after.stdout).contains(&format!("reference   {id:08X}\n")),
        "{after:?}"
    );
    assert!(text(&after.stdout).contains("lost        0 bytes in, 0 messages out\n"));
}

#[test]
fn thresholds_and_settings_are_set_and_what_cannot_be_is_named() {
    let line = Line::new("set");
    let _board = Running::on(&line);
    let file = kept(
        &line.folder,
        "keen.toml",
        b"brake_m = 3.0\n[corner.2]\nfull_m = 30\n",
    );
    let sent = cuepost(&line, &["thresholds", &file]);
    assert!(
        text(&sent.stdout).ends_with("is in use on the board\n"),
        "{sent:?}"
    );
    let set = cuepost(&line, &["set", "lamp=off", "source=computer"]);
    assert!(
        text(&set.stdout).contains("lamp              off\n"),
        "{set:?}"
    );
    assert!(text(&set.stdout).contains("source            computer\n"));
    for (words, says) in [
        (&["set", "horn=on"][..], "there is no setting \"horn\""),
        (
            &["set", "receiver-baud=1234"],
            "receiver-baud cannot be 1234",
        ),
        (&["thresholds", "/nowhere"], "/nowhere: No such file"),
    ] {
        let refused = cuepost(&line, words);
        assert_eq!(refused.status.code(), Some(2), "{refused:?}");
        let said = text(&refused.stderr);
        assert!(said.contains(says) && said.lines().count() == 1, "{said}");
    }
}

#[test]
fn a_transfer_that_broke_off_goes_on_where_it_stopped() {
    let line = Line::new("resume");
    let _board = Running::on(&line);
    let bytes = ring(300.0);
    // The cable is pulled once the board has 512 bytes.
    let mut client = Client::new(Pulled {
        port: line.open("computer"),
        left: 700,
    });
    let mut had = 0;
    let broken = client.send(Object::Reference, &bytes, |have| had = have);
    assert!(matches!(broken, Err(BoardError::Port(_))), "{broken:?}");
    assert!(had >= 256 && had < bytes.len(), "{had}");
    drop(client);
    let file = kept(&line.folder, "ring.ref", &bytes);
    let sent = cuepost(&line, &["send", &file]);
    assert_eq!(sent.status.code(), Some(0), "{sent:?}");
    let said = text(&sent.stderr);
    assert!(
        said.contains("bytes already, going on from there"),
        "{said}"
    );
}

/// A port that takes so many bytes and is then gone.
struct Pulled {
    port: Box<dyn serialport::SerialPort>,
    left: usize,
}

impl Read for Pulled {
    fn read(&mut self, bytes: &mut [u8]) -> std::io::Result<usize> {
        self.port.read(bytes)
    }
}

impl Write for Pulled {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.left = self
            .left
            .checked_sub(bytes.len())
            .ok_or(std::io::ErrorKind::BrokenPipe)?;
        self.port.write(bytes)
    }
    fn flush(&mut self) -> std::io::Result<()> {
        self.port.flush()
    }
}

#[test]
fn a_board_of_another_version_is_told_in_clear_words() {
    let line = Line::new("version");
    let mut far = line.open("board");
    let answering = std::thread::spawn(move || {
        let mut heard = [0; 64];
        let begun = Instant::now();
        while begun.elapsed() < Duration::from_secs(20) {
            if matches!(far.read(&mut heard), Ok(n) if n > 0) {
                far.write_all(&of_version(7)).unwrap();
                return;
            }
        }
    });
    let refused = cuepost(&line, &["status"]);
    answering.join().unwrap();
    assert_eq!(refused.status.code(), Some(2));
    let said = text(&refused.stderr);
    assert!(
        said.contains("speaks version 7 of the wire format, this program version 1"),
        "{said}"
    );
}

/// A whole frame of another version.
fn of_version(version: u8) -> Vec<u8> {
    let mut body = vec![version, 0x48, 1, 2, 3];
    body.extend(wire::frame::crc32(&body).to_le_bytes());
    let mut framed = vec![0];
    framed.extend(cobs::encode_vec(&body));
    framed.push(0);
    framed
}

#[test]
fn a_board_that_says_nothing_is_asked_again_and_then_given_up() {
    let line = Line::new("silent");
    let mut client = Client::new(line.open("computer")).patient(Duration::from_millis(100));
    assert!(matches!(client.status(), Err(BoardError::Silent)));
    let mut question = [0; wire::FRAME_MAX];
    let len = encode(&Message::Query(Query::Status), &mut question).unwrap();
    let mut far = line.open("board");
    let mut heard = Vec::new();
    let mut chunk = [0; 256];
    while let Ok(n) = far.read(&mut chunk) {
        heard.extend_from_slice(&chunk[..n]);
    }
    assert_eq!(heard, question[..len].repeat(3));
}

#[test]
fn what_the_board_says_is_printed_and_kept() {
    let line = Line::new("log");
    let mut far = line.open("board");
    let saying = std::thread::spawn(move || {
        let cue = Message::Cue(cuepost_tests::ring::cue());
        let mut frame = [0; wire::FRAME_MAX];
        let len = encode(&cue, &mut frame).unwrap();
        for _ in 0..40 {
            far.write_all(&frame[..len]).unwrap();
            std::thread::sleep(Duration::from_millis(50));
        }
    });
    let keep = line.folder.join("said.cue");
    let log = cuepost(
        &line,
        &["log", "--seconds", "1.5", "-o", keep.to_str().unwrap()],
    );
    saying.join().unwrap();
    assert_eq!(log.status.code(), Some(0), "{log:?}");
    let lines = text(&log.stdout);
    assert!(
        lines.lines().all(|line| line == "05 THROTTLE SOONER 12 m"),
        "{lines}"
    );
    assert!(lines.lines().count() > 3);
    assert!(cuepost_host::record::looks_like(
        &std::fs::read(keep).unwrap()
    ));
}

#[test]
fn a_recording_is_played_into_the_board_and_its_cues_are_printed() {
    let line = Line::new("play");
    let _board = Running::on(&line);
    let demo = line.folder.join("demo");
    let demo = demo.to_str().unwrap();
    cuepost_tests::command::cuepost(&["demo", "--out", demo]).expect("made");
    let driver = format!("{demo}/driver.csv");
    let sent = cuepost(&line, &["send", &format!("{demo}/quillmere.ref")]);
    assert_eq!(sent.status.code(), Some(0), "{sent:?}");
    let deaf = cuepost(&line, &["play", &driver]);
    assert_eq!(deaf.status.code(), Some(2), "{deaf:?}");
    assert!(text(&deaf.stderr).contains("cuepost board set source=computer"));
    let set = cuepost(&line, &["set", "source=computer"]);
    assert_eq!(set.status.code(), Some(0), "{set:?}");
    let played = cuepost(&line, &["play", &driver, "--speed", "40"]);
    assert_eq!(played.status.code(), Some(0), "{played:?}");
    let said = text(&played.stdout);
    assert!(said.contains("06 THROTTLE SOONER 8.5 m NOW"), "{said}");
    assert!(said.contains("LAP 5 "), "{said}");
}

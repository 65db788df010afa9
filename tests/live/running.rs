//! A drive running as its user runs it.

use crate::scene::{program, scene};
use std::io::{BufRead, BufReader, Read};
use std::process::{Child, ChildStdin, ExitStatus, Stdio};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// A running `cuepost drive` and what it has printed so far.
pub struct Running {
    child: Child,
    out: Arc<Mutex<String>>,
    err: Arc<Mutex<String>>,
    readers: Vec<JoinHandle<()>>,
}

/// How a drive ended.
#[derive(Debug)]
pub struct Ended {
    pub status: ExitStatus,
    pub out: String,
    pub err: String,
}

impl Running {
    /// Starts a drive against the scene's reference.
    pub fn drive(words: &[&str]) -> Self {
        let mut child = program()
            .arg("drive")
            .arg("--reference")
            .arg(scene().reference())
            .args(words)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("runs");
        let out = Arc::default();
        let err = Arc::default();
        let readers = vec![
            collect(child.stdout.take().expect("piped"), &out),
            collect(child.stderr.take().expect("piped"), &err),
        ];
        Self {
            child,
            out,
            err,
            readers,
        }
    }

    pub fn stdin(&mut self) -> ChildStdin {
        self.child.stdin.take().expect("taken once")
    }

    pub fn id(&self) -> u32 {
        self.child.id()
    }

    pub fn out(&self) -> String {
        self.out.lock().expect("not poisoned").clone()
    }

    pub fn err(&self) -> String {
        self.err.lock().expect("not poisoned").clone()
    }

    /// Waits until it has printed something that fits.
    pub fn until(&self, what: &str, fits: impl Fn(&Self) -> bool) {
        let begun = Instant::now();
        while !fits(self) {
            let waited = begun.elapsed();
            assert!(
                waited < Duration::from_secs(120),
                "never {what}\nout: {}\nerr: {}",
                tail(&self.out()),
                tail(&self.err())
            );
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    /// Sends a signal by name.
    pub fn signal(&self, name: &str) {
        let status = std::process::Command::new("kill")
            .args([format!("-{name}"), self.child.id().to_string()])
            .status();
        assert!(status.is_ok_and(|s| s.success()), "the drive runs");
    }

    /// Ends it as Ctrl-C does.
    pub fn ctrl_c(self) -> Ended {
        self.signal("INT");
        self.ended()
    }

    /// Waits for its end.
    pub fn ended(mut self) -> Ended {
        let status = self.child.wait().expect("ends");
        for reader in self.readers.drain(..) {
            reader.join().expect("reads");
        }
        Ended {
            status,
            out: self.out(),
            err: self.err(),
        }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn tail(text: &str) -> &str {
    let from = text.len().saturating_sub(2000);
    text.get(from..).unwrap_or(text)
}

fn collect(from: impl Read + Send + 'static, into: &Arc<Mutex<String>>) -> JoinHandle<()> {
    let into = into.clone();
    std::thread::spawn(move || {
        let mut from = BufReader::new(from);
        let mut line = Vec::new();
        while from.read_until(b'\n', &mut line).is_ok_and(|n| n > 0) {
            let text = String::from_utf8_lossy(&line).into_owned();
            into.lock().expect("not poisoned").push_str(&text);
            line.clear();
        }
    })
}

//! A serial line that can be unplugged: a pair of pseudo-terminals made by socat.

use serialport::SerialPort;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Two ends of a line: the program opens one by name, the test holds the other.
pub struct Line {
    folder: PathBuf,
    socat: Option<Child>,
}

impl Line {
    /// A line that is plugged in.
    pub fn new(name: &str) -> Self {
        let folder = super::scene::scene().path(name);
        std::fs::create_dir_all(&folder).expect("a folder");
        let mut line = Self {
            folder,
            socat: None,
        };
        line.plug();
        line
    }

    /// What the program opens.
    pub fn name(&self) -> String {
        self.folder.join("program").display().to_string()
    }

    fn far_end(&self) -> PathBuf {
        self.folder.join("receiver")
    }

    /// Plugs it in, under the name it had.
    pub fn plug(&mut self) {
        let end = |end: &str| format!("pty,raw,echo=0,link={}", self.folder.join(end).display());
        let socat = Command::new("socat")
            .args([end("program"), end("receiver")])
            .stderr(Stdio::null())
            .spawn()
            .expect("socat, which tests/setup.sh installs");
        self.socat = Some(socat);
        let begun = Instant::now();
        while !(self.folder.join("program").exists() && self.far_end().exists()) {
            assert!(begun.elapsed() < Duration::from_secs(20), "no terminals");
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    /// Pulls the cable: both terminals are gone.
    pub fn unplug(&mut self) {
        if let Some(mut socat) = self.socat.take() {
            let _ = socat.kill();
            let _ = socat.wait();
        }
        for end in ["program", "receiver"] {
            let _ = std::fs::remove_file(self.folder.join(end));
        }
    }

    /// The test's end.
    pub fn receiver(&self) -> Box<dyn SerialPort> {
        let path = self.far_end();
        serialport::new(path.to_str().expect("plain path"), 115_200)
            .timeout(Duration::from_secs(10))
            .open()
            .expect("the far end opens")
    }
}

impl Drop for Line {
    fn drop(&mut self) {
        self.unplug();
    }
}

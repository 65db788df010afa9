//! The emulated board: QEMU's `mps2-an386` with our firmware on it, its ports as sockets.

use std::io::ErrorKind::{Interrupted, WouldBlock};
use std::io::{Read, Write};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Mutex, OnceLock, PoisonError};
use std::time::Duration;

/// Nothing came for this long: the guest hangs.
const HUNG: Duration = Duration::from_secs(60);

/// How much of the emulator's time one instruction takes, which is all that its time knows of: it
/// does not wait for us. A machine too busy to feed a port for a while is a source that fell
/// silent, and that ends a session; so its time has to run slower than ours where bytes are
/// compared.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// 1 ns: at the pace of a real machine or slower. A second of its silence is several of ours.
    Slow,
    /// 16 ns: some seconds of what the lamp shows pass in about one of ours.
    Lamp,
    /// 256 ns: the tick counter tells single instructions. For programs that wait for nobody.
    Counted,
}

impl Pace {
    /// The emulator counts in powers of two nanoseconds.
    fn shift(self) -> u32 {
        match self {
            Self::Slow => 0,
            Self::Lamp => 4,
            Self::Counted => 8,
        }
    }
}

/// Builds a board once and returns where its programs are.
pub fn built(package: &str, target: &str) -> PathBuf {
    built_with(package, target, &[])
}

/// Where the boards' programs are.
pub fn boards() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../firmware/boards")
}

/// One of the compiler's own tools.
pub fn llvm(tool: &str) -> PathBuf {
    let asked = |what: &str| {
        let said = Command::new("rustc").args(["--print", what]).output();
        String::from_utf8(said.expect("rustc").stdout)
            .unwrap()
            .trim()
            .to_owned()
    };
    let folder = format!(
        "{}/lib/rustlib/{}/bin",
        asked("sysroot"),
        asked("host-tuple")
    );
    Path::new(&folder).join(tool)
}

/// The same with more words for cargo.
pub fn built_with(package: &str, target: &str, more: &[&str]) -> PathBuf {
    static BUILDING: Mutex<()> = Mutex::new(());
    let _one_at_a_time = BUILDING.lock().unwrap_or_else(PoisonError::into_inner);
    let boards = boards();
    let built = Command::new("cargo")
        .current_dir(&boards)
        .env_remove("RUSTFLAGS")
        .env_remove("CARGO_TARGET_DIR")
        .args(["build", "--release", "-p", package, "--target", target])
        .args(more)
        .output()
        .expect("cargo");
    let said = String::from_utf8_lossy(&built.stderr);
    assert!(
        built.status.success(),
        "{package} for {target} does not build:\n{said}"
    );
    boards.join("target").join(target).join("release")
}

/// The programs of the emulated board.
pub fn programs() -> &'static Path {
    static PROGRAMS: OnceLock<PathBuf> = OnceLock::new();
    PROGRAMS.get_or_init(|| built("cuepost-emulated", "thumbv7em-none-eabihf"))
}

/// A running emulator; stopped when dropped.
pub struct Guest {
    child: Child,
    folder: PathBuf,
    ports: Vec<UnixStream>,
}

impl Guest {
    /// Starts a program with so many of the board's ports, and more words for the emulator.
    pub fn start(program: &str, ports: usize, pace: Pace, more: &[String]) -> Self {
        static NUMBER: AtomicU32 = AtomicU32::new(0);
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let name = format!("cuepost-guest-{}-{number}", std::process::id());
        let folder = std::env::temp_dir().join(name);
        std::fs::create_dir_all(&folder).unwrap();
        let mut command = Command::new("qemu-system-arm");
        command
            .args(["-machine", "mps2-an386", "-nodefaults", "-display", "none"])
            .args(["-monitor", "none", "-icount"])
            .arg(format!("shift={},sleep=on", pace.shift()))
            .args(["-semihosting-config", "enable=on,target=native", "-kernel"])
            .arg(programs().join(program))
            .args(more);
        // We listen before it starts, so nothing has to be tried twice.
        let listening: Vec<UnixListener> = (0..ports)
            .map(|port| {
                let path = folder.join(format!("port{port}"));
                command.arg("-chardev");
                command.arg(format!("socket,id=p{port},path={}", path.display()));
                command.args(["-serial", &format!("chardev:p{port}")]);
                UnixListener::bind(path).unwrap()
            })
            .collect();
        let child = command
            .stdin(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("qemu-system-arm, which tests/setup.sh installs");
        let ports = listening.iter().map(|l| l.accept().unwrap().0).collect();
        Self {
            child,
            folder,
            ports,
        }
    }

    /// Our end of a port.
    pub fn port(&self, number: usize) -> UnixStream {
        let port = self.ports[number].try_clone().unwrap();
        port.set_read_timeout(Some(HUNG)).unwrap();
        port
    }

    /// Everything that comes out of a port from now on, in the order it comes.
    pub fn listen(&self, number: usize) -> Heard {
        let mut port = self.ports[number].try_clone().unwrap();
        let (send, pieces) = channel();
        std::thread::spawn(move || {
            let mut chunk = [0; 4096];
            loop {
                match port.read(&mut chunk) {
                    Ok(0) => return,
                    Ok(read) if send.send(chunk[..read].to_vec()).is_ok() => {}
                    // The whole of this machine may have been held for a while.
                    Err(e) if matches!(e.kind(), Interrupted | WouldBlock) => {}
                    _ => return,
                }
            }
        });
        Heard {
            pieces,
            bytes: Vec::new(),
        }
    }

    /// Sends bytes into a port, as fast as the guest takes them.
    pub fn send(&self, number: usize, bytes: &[u8]) {
        let mut port = &self.ports[number];
        port.write_all(bytes).unwrap();
    }
}

impl Drop for Guest {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

/// What was heard on a port. A port must be heard, or its sender waits.
pub struct Heard {
    pieces: Receiver<Vec<u8>>,
    bytes: Vec<u8>,
}

impl Heard {
    /// Waits until it is so, and returns what was heard.
    pub fn until(&mut self, enough: impl Fn(&[u8]) -> bool) -> &[u8] {
        while !enough(&self.bytes) {
            match self.pieces.recv_timeout(HUNG) {
                Ok(piece) => self.bytes.extend(piece),
                Err(_) => panic!("the guest says no more than {} bytes", self.bytes.len()),
            }
        }
        &self.bytes
    }
}

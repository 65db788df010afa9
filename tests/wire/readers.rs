//! The readers in Python and C that the page offers, run on the golden vectors.

use crate::vectors;
use cuepost_engine::Size;
use cuepost_engine::wire::{Message, Outcome, Refused};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap()
}

/// A folder of this test's own under the target folder.
fn work() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("wire-readers");
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

fn run(command: &mut Command, input: &[u8]) -> String {
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap_or_else(|e| panic!("{command:?}: {e}"));
    child.stdin.take().unwrap().write_all(input).unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "{command:?} failed");
    String::from_utf8(output.stdout).unwrap()
}

/// What both readers must print.
fn expected() -> String {
    let all = vectors::all();
    all.iter()
        .map(|(_, bytes, outcome)| line(bytes, outcome) + "\n")
        .collect()
}

fn line(bytes: &[u8], outcome: &Outcome) -> String {
    let seconds = |s: Option<f32>| s.map_or("unknown".into(), |s| format!("{s:.3} s"));
    let other = |bytes: &[u8]| {
        let body = ::cobs::decode_vec(&bytes[1..bytes.len() - 1]).unwrap();
        format!("kind 0x{:02X}: {} bytes", body[1], body.len() - 6)
    };
    match outcome {
        Outcome::Message(Message::Cue(c)) => {
            let (size, unit) = match c.size {
                Size::Metres(x) => (x, "m"),
                Size::Speed(x) => (x, "m/s"),
                Size::Deceleration(x) => (x, "m/s2"),
                Size::Seconds(x) => (x, "s"),
            };
            format!(
                "cue: lap {} corner {} {} {} {size:.3} {unit}, {}, loss {}, at {} us",
                c.lap,
                c.corner,
                c.phase.name(),
                c.advice.name(),
                c.told.name(),
                seconds(c.loss_s),
                c.time_us
            )
        }
        Outcome::Message(Message::Lap(l)) => format!(
            "lap: {} took {} us, valid {}, gap {}",
            l.lap,
            l.time_us,
            u8::from(l.valid),
            seconds(l.gap_s)
        ),
        Outcome::Refused(Refused::Version(v)) => format!("refused: version {v}"),
        Outcome::Refused(Refused::Checksum | Refused::Cut | Refused::Short) => {
            "refused: damaged".into()
        }
        // The readers leave payloads of kinds they do not print unread.
        Outcome::Message(_) | Outcome::Refused(_) => other(bytes),
        Outcome::Nothing => unreachable!("every vector is a frame"),
    }
}

fn stream() -> Vec<u8> {
    vectors::all().into_iter().flat_map(|(_, b, _)| b).collect()
}

#[test]
fn the_python_reader_reads_the_golden_vectors() {
    let venv = work().join("venv");
    let python = venv.join("bin/python");
    let has_cobs = |python: &Path| {
        let mut command = Command::new(python);
        command
            .args(["-c", "import cobs.cobs"])
            .stderr(Stdio::null());
        command.status().is_ok_and(|s| s.success())
    };
    if !has_cobs(&python) {
        let made = Command::new("python3")
            .args(["-m", "venv"])
            .arg(&venv)
            .status();
        assert!(
            made.is_ok_and(|s| s.success()),
            "needs python3 with its venv module"
        );
        let mut pip = Command::new(&python);
        pip.args(["-m", "pip", "install", "--quiet", "cobs==1.2.2"]);
        let installed = pip.status();
        assert!(
            installed.is_ok_and(|s| s.success()),
            "needs PyPI once, to install `cobs` into {}",
            venv.display()
        );
    }
    let script = root().join("docs/examples/wire/read_wire.py");
    assert_eq!(
        run(Command::new(&python).arg(script), &stream()),
        expected()
    );
}

#[test]
fn the_c_reader_reads_the_golden_vectors() {
    let program = work().join("read_wire");
    let mut cc = Command::new("cc");
    cc.args(["-std=c99", "-Wall", "-Wextra", "-Werror", "-O1", "-o"])
        .arg(&program)
        .arg(root().join("docs/examples/wire/read_wire.c"));
    let compiled = cc.status();
    assert!(
        compiled.is_ok_and(|s| s.success()),
        "needs a C compiler called cc"
    );
    assert_eq!(run(&mut Command::new(&program), &stream()), expected());
}

#[test]
fn both_are_under_sixty_lines() {
    for name in ["read_wire.py", "read_wire.c"] {
        let text = std::fs::read_to_string(root().join("docs/examples/wire").join(name)).unwrap();
        assert!(text.lines().count() < 60, "{name}");
    }
}

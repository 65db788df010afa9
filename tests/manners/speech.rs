//! What the commands print, where, and how wide.

use cuepost_tests::command::{Folder, cuepost};
use std::path::Path;
use std::process::{Command, Output};
use std::sync::OnceLock;

/// Characters in a line of a narrow terminal.
const NARROW: usize = 60;

/// The demo's files, made once.
fn desk() -> &'static Path {
    static DESK: OnceLock<std::path::PathBuf> = OnceLock::new();
    DESK.get_or_init(|| {
        let desk = Path::new(env!("CARGO_TARGET_TMPDIR")).join("manners");
        std::fs::create_dir_all(&desk).expect("a folder");
        let out = desk.join("demo");
        cuepost(&["demo", "--out", &out.display().to_string()]).expect("made");
        desk
    })
}

fn run(words: &[&str], environment: &[(&str, &str)]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_program"))
        .args(words)
        .envs(environment.iter().copied())
        .current_dir(desk())
        .output()
        .expect("runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("text")
}

/// A run of every command that speaks to people and needs no hardware.
const SPEAKING: &[&[&str]] = &[
    &["demo"],
    &["check", "demo/driver.csv"],
    &["check", "demo/quillmere.ref"],
    &["learn", "demo/coach.csv", "-o", "narrow.ref"],
    &["brief", "demo/quillmere.ref"],
    &["replay", "demo/driver.csv", "-r", "demo/quillmere.ref"],
    &["tune", "demo/driver.csv", "-r", "demo/quillmere.ref"],
    &[
        "adapt",
        "demo/quillmere.ref",
        "--grip",
        "0.95",
        "-o",
        "narrow-adapted.ref",
    ],
    &["compare-cars", "demo/coach.csv", "demo/driver.csv"],
    &["lamp", "throttle", "sooner", "12", "m"],
    &["drive", "--list"],
    &[
        "debrief",
        "demo/driver.csv",
        "-r",
        "demo/quillmere.ref",
        "-o",
        "narrow.html",
    ],
    &[
        "drive",
        "--from",
        "demo/driver.csv",
        "--reference",
        "demo/quillmere.ref",
        "--speed",
        "0",
        "--to",
        "lines",
    ],
    &["--help"],
    &["learn", "--help"],
    &["tune", "--help"],
];

#[test]
fn everything_fits_a_narrow_terminal() {
    for words in SPEAKING {
        let narrow = run(words, &[("COLUMNS", "60")]);
        assert!(narrow.status.success(), "{words:?}: {narrow:?}");
        // The one line that the reader of command lines does not wrap.
        let said = text(&narrow.stdout);
        for line in said.lines().filter(|l| !l.starts_with("Usage: ")) {
            assert!(line.chars().count() <= NARROW, "{words:?}: {line}");
        }
    }
}

#[test]
fn nothing_is_lost_on_a_narrow_terminal() {
    // The others print how long they took.
    for words in SPEAKING.iter().filter(|w| !w.contains(&"--help")) {
        if ["tune", "drive"].contains(&words[0]) {
            continue;
        }
        let all = |width: &str| -> Vec<String> {
            let said = text(&run(words, &[("COLUMNS", width)]).stdout);
            let mut words: Vec<String> = said.split_whitespace().map(str::to_owned).collect();
            words.sort();
            words
        };
        assert_eq!(all("60"), all("500"), "{words:?}");
    }
}

#[test]
fn nothing_is_coloured_in_a_pipe() {
    for words in SPEAKING {
        let said = run(words, &[("COLUMNS", "80")]);
        assert!(!said.stdout.contains(&0x1b), "{words:?}");
        assert!(!said.stderr.contains(&0x1b), "{words:?}");
    }
}

#[test]
fn a_terminal_is_spared_colours_that_nobody_wants() {
    let played = |environment: &[(&str, &str)]| {
        let program = env!("CARGO_BIN_EXE_program");
        let output = Command::new("socat")
            .args(["-u", &format!("EXEC:{program} lamp brake sooner 8 m,pty")])
            .arg("STDOUT")
            .env_remove("NO_COLOR")
            .envs(environment.iter().copied())
            .output()
            .expect("socat is there: bash tests/setup.sh");
        let said = text(&output.stdout);
        assert!(said.contains("lamp (###)"), "{said}");
        said.contains("\x1b[1;38;2;")
    };
    assert!(played(&[]));
    assert!(played(&[("NO_COLOR", "")]));
    assert!(!played(&[("NO_COLOR", "1")]));
}

#[test]
fn quiet_leaves_what_was_asked_for() {
    let folder = Folder::new("quiet");
    let (reference, page) = (folder.file("a.ref"), folder.file("a.html"));
    let silent: &[&[&str]] = &[
        &["-q", "learn", "demo/coach.csv", "-o", &reference],
        &["brief", "--quiet", &reference, "-o", &page],
        &[
            "debrief",
            "-q",
            "demo/driver.csv",
            "-r",
            &reference,
            "-o",
            &page,
        ],
        &["thresholds", "-q", "-o", &folder.file("a.toml")],
        &[
            "adapt",
            "-q",
            &reference,
            "--grip",
            "0.9",
            "-o",
            &folder.file("b.ref"),
        ],
        &["man", "-q", &folder.file("man1")],
    ];
    for words in silent {
        let said = run(words, &[]);
        assert!(said.status.success(), "{words:?}: {said:?}");
        assert!(
            said.stdout.is_empty() && said.stderr.is_empty(),
            "{words:?}: {said:?}"
        );
    }
    let asked = ["-q", "replay", "demo/driver.csv", "-r", &reference];
    assert!(text(&run(&asked, &[]).stdout).contains("Lap 2"));
}

#[test]
fn json_is_one_object() {
    for (file, what) in [
        ("demo/driver.csv", "recording"),
        ("demo/quillmere.ref", "reference"),
    ] {
        let said = run(&["check", file, "--json"], &[("COLUMNS", "60")]);
        let object: serde_json::Value = serde_json::from_slice(&said.stdout).expect("JSON");
        assert_eq!(object["what"], what);
        assert!(!text(&said.stdout).contains("NaN"));
    }
    let said = run(&["check", "demo/quillmere.ref", "--json"], &[]);
    let object: serde_json::Value = serde_json::from_slice(&said.stdout).expect("JSON");
    assert_eq!(object["corners"].as_array().map(Vec::len), Some(10));
    assert_eq!(object["corners"][6]["brake_m"], serde_json::Value::Null);
}

#[test]
fn a_missing_file_is_one_line_with_what_to_do() {
    let r = "demo/quillmere.ref";
    let d = "demo/driver.csv";
    let missing: &[&[&str]] = &[
        &["check", "nowhere"],
        &["learn", "nowhere", "-o", "x.ref"],
        &["learn", d, "--landmarks", "nowhere", "-o", "x.ref"],
        &["learn", d, "-o", "nowhere/x.ref"],
        &["brief", "nowhere"],
        &["brief", r, "-o", "nowhere/x.html"],
        &["replay", "nowhere", "-r", r],
        &["replay", d, "-r", "nowhere"],
        &["replay", d, "-r", r, "-t", "nowhere"],
        &["debrief", d, "-r", r, "-o", "nowhere/x.html"],
        &["tune", d, "-r", r, "--marks", "nowhere"],
        &["thresholds", "nowhere"],
        &["adapt", "nowhere", "-o", "x.ref"],
        &["compare-cars", d, "nowhere"],
        &["drive", "--from", "nowhere", "-r", r],
        &[
            "drive", "--from", "udp:5999", "-r", r, "--layout", "nowhere",
        ],
        &["landmarks", "list", "nowhere"],
        &["landmarks", "put", "nowhere", "-r", r, "-o", "x.ref"],
        &["landmarks", "from", d, "-r", r, "--times", "nowhere"],
        &["board", "send", "nowhere"],
        &["board", "thresholds", "nowhere"],
        &["check", "--layout", "nowhere", "packets.txt"],
    ];
    for words in missing {
        let said = run(words, &[]);
        assert_eq!(said.status.code(), Some(2), "{words:?}: {said:?}");
        let error = text(&said.stderr);
        assert_eq!(error.lines().count(), 1, "{words:?}: {error}");
        assert!(error.starts_with("cuepost: "), "{words:?}: {error}");
        assert!(error.contains("nowhere"), "{words:?}: {error}");
        assert!(error.contains("; look at its name"), "{words:?}: {error}");
        assert!(!error.contains("os error"), "{words:?}: {error}");
    }
}

#[test]
fn a_drive_without_a_reference_is_recorded_to_learn_from() {
    let folder = Folder::new("record");
    let (recording, reference) = (folder.file("coach.rec"), folder.file("coach.ref"));
    let from = ["drive", "--from", "demo/coach.csv", "--speed", "0"];
    let said = run(&[&from[..], &["--record", &recording]].concat(), &[]);
    assert!(said.status.success(), "{said:?}");
    assert!(
        text(&said.stderr).contains("no reference: recording only"),
        "{said:?}"
    );
    assert!(!text(&said.stdout).contains("Corner"), "{said:?}");
    cuepost(&["learn", &recording, "-o", &reference]).expect("learned");
    let from_table = folder.file("table.ref");
    let said = run(&["learn", "demo/coach.csv", "-o", &from_table], &[]);
    assert!(said.status.success(), "{said:?}");
    let corners = |path: &str| {
        let said = run(&["check", path, "--json"], &[]);
        let object: serde_json::Value = serde_json::from_slice(&said.stdout).expect("JSON");
        object["corners"].clone()
    };
    assert_eq!(corners(&reference), corners(&from_table));
    for refused in [&["--no-record"][..], &["--to", "page"]] {
        let said = run(&[&from[..], refused].concat(), &[]);
        assert_eq!(said.status.code(), Some(2), "{said:?}");
    }
}

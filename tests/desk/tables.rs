//! The tables that `replay` writes, read back by another program: DuckDB, from PyPI.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// A folder of these tests' own under the target folder.
pub fn work() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("desk");
    std::fs::create_dir_all(&folder).expect("a folder");
    folder
}

pub fn cuepost(args: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_program"))
        .args(args)
        .output()
        .expect("runs");
    let told = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{args:?}: {told}");
    String::from_utf8(output.stdout).expect("text")
}

/// A recording of a simulator at 25 Hz and a reference from its first laps.
pub fn simulator() -> (String, String) {
    let recording = cuepost_tests::csv::data("learn").join("s5_touring.25hz.csv");
    let recording = recording.display().to_string();
    let reference = work().join(format!("s5.{:?}.ref", std::thread::current().id()));
    let reference = reference.display().to_string();
    cuepost(&["learn", &recording, "--lap", "2", "-o", &reference]);
    (recording, reference)
}

fn python() -> PathBuf {
    let venv = work().join("venv");
    let python = venv.join("bin/python");
    let mut has = Command::new(&python);
    has.args(["-c", "import duckdb"]).stderr(Stdio::null());
    if !has.status().is_ok_and(|s| s.success()) {
        let mut make = Command::new("python3");
        make.args(["-m", "venv"]).arg(&venv);
        let made = make.status().is_ok_and(|s| s.success());
        assert!(made, "needs python3 with its venv module");
        let mut pip = Command::new(&python);
        pip.args(["-m", "pip", "install", "--quiet", "duckdb==2.0.1"]);
        let installed = pip.status().is_ok_and(|s| s.success());
        assert!(installed, "needs PyPI once, to install duckdb");
    }
    python
}

/// Rows of a query as JSON objects.
fn query(sql: &str) -> Vec<Value> {
    let script = "import duckdb, json, sys\n\
        q = duckdb.sql(sys.argv[1])\n\
        for row in q.fetchall(): print(json.dumps(dict(zip(q.columns, row))))";
    let output = Command::new(python())
        .args(["-c", script, sql])
        .output()
        .expect("runs");
    let told = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{sql}: {told}");
    let text = String::from_utf8(output.stdout).expect("text");
    let rows = text.lines();
    rows.map(|l| serde_json::from_str(l).expect("JSON"))
        .collect()
}

#[test]
fn another_program_reads_what_the_lines_say() {
    let (recording, reference) = simulator();
    let lines = cuepost(&["replay", &recording, "-r", &reference, "--format", "jsonl"]);
    let lines: Vec<Value> = lines
        .lines()
        .map(|l| serde_json::from_str(l).expect("JSON"))
        .collect();
    for format in ["parquet", "csv"] {
        let prefix = work().join("s5");
        let prefix = prefix.display();
        let out = prefix.to_string();
        let wrote = cuepost(&[
            "replay", &recording, "-r", &reference, "--format", format, "-o", &out,
        ]);
        assert_eq!(wrote.lines().count(), 3, "{wrote}");
        for (table, event) in [("laps", "lap"), ("facts", "corner"), ("cues", "cue")] {
            let rows = query(&format!("select * from '{prefix}.{table}.{format}'"));
            let events: Vec<&Value> = lines.iter().filter(|l| l["event"] == event).collect();
            assert!(!events.is_empty(), "{table}");
            assert_eq!(rows.len(), events.len(), "{table}.{format}");
            for (row, event) in rows.iter().zip(events) {
                for (key, value) in row.as_object().expect("a row") {
                    let same = match key.as_str() {
                        "recording" => value == "s5_touring.25hz",
                        // A CSV reader gives whole numbers back as such.
                        _ => value == &event[key] || value.as_f64() == event[key].as_f64(),
                    };
                    assert!(same, "{table}.{format} {key}: {value} {}", event[key]);
                }
            }
        }
    }
    // The question of the guide.
    let sql = guide_query().replace(
        "season/*.facts.parquet",
        &format!("{}*.facts.parquet", work().join("s5").display()),
    );
    let rows = query(&sql);
    assert!(rows.len() > 3, "{sql}: {rows:?}");
}

/// The first query that `docs/DESK.md` shows.
fn guide_query() -> String {
    let guide = guide();
    let from = guide.find("```sql\n").expect("a query") + 7;
    let length = guide[from..].find("```").expect("its end");
    guide[from..from + length].to_owned()
}

fn guide() -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .expect("root");
    std::fs::read_to_string(root.join("docs/DESK.md")).expect("docs/DESK.md")
}

#[test]
fn the_guide_names_every_column() {
    use cuepost_host::tables::{CUES, FACTS, LAPS};
    let guide = guide();
    for column in LAPS.iter().chain(&CUES).chain(&FACTS) {
        let name = format!("`{}`", column.name);
        assert!(guide.contains(&name), "docs/DESK.md lacks {name}");
    }
}

#[test]
fn what_cannot_be_printed_is_said() {
    let (recording, reference) = simulator();
    let refused = |args: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_program"))
            .args(["replay", &recording, "-r", &reference])
            .args(args)
            .output()
            .expect("runs");
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        String::from_utf8(output.stderr).expect("text")
    };
    let said = refused(&["--format", "parquet"]);
    assert!(said.contains("--output PREFIX"), "{said}");
    let said = refused(&["--format", "jsonl", "-o", "x"]);
    assert!(said.contains("printed"), "{said}");
    let said = refused(&["--format", "parquet", "-o", "/nowhere/x"]);
    assert!(said.contains("/nowhere/x.laps.parquet"), "{said}");
}

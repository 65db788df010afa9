//! Help, manual and completions come from one definition, and their examples work.

use clap::Command;
use cuepost_host::cli::definition;
use cuepost_tests::command::{Folder, cuepost};

/// Every command with the words that name it.
fn every(command: &Command, above: &str, found: &mut Vec<(String, Command)>) {
    let name = format!("{above}{}", command.get_name());
    for below in command.get_subcommands() {
        every(below, &format!("{name} "), found);
    }
    found.push((name, command.clone()));
}

fn commands() -> Vec<(String, Command)> {
    let mut found = Vec::new();
    every(&definition(), "", &mut found);
    assert!(found.len() > 20, "{}", found.len());
    found
}

/// Words of a line as a shell takes them apart, up to what it keeps for itself.
pub fn words(line: &str) -> Vec<String> {
    let mut words = Vec::new();
    let mut quoted = line.split('\'');
    while let Some(plain) = quoted.next() {
        words.extend(plain.split_whitespace().map(str::to_owned));
        words.extend(quoted.next().map(str::to_owned));
    }
    let end = words.iter().position(|w| w == ">").unwrap_or(words.len());
    words.truncate(end);
    words
}

#[test]
fn every_help_has_an_example_and_its_exit_codes() {
    for (name, command) in commands() {
        let short = command.get_after_help().map(ToString::to_string);
        let long = command.get_after_long_help().map(ToString::to_string);
        let (short, long) = (short.unwrap_or_default(), long.unwrap_or_default());
        assert!(short.contains(&format!("\n  {name}")), "{name}: {short}");
        assert!(long.contains(&format!("\n  {name}")), "{name}: {long}");
        assert!(long.contains("Exit code"), "{name}: {long}");
    }
}

#[test]
fn every_example_is_understood() {
    let mut count = 0;
    for (name, command) in commands() {
        let help = command.get_after_help().map(ToString::to_string);
        for line in help.unwrap_or_default().lines() {
            let Some(line) = line.strip_prefix("  ") else {
                continue;
            };
            let read = definition().try_get_matches_from(words(line));
            assert!(read.is_ok(), "{name}: {line}: {:?}", read.err());
            count += 1;
        }
    }
    assert!(count > 30, "{count}");
}

/// What of an example needs hardware, a network, a person, or a file of the reader's own.
const NEEDS_MORE: [&str; 8] = [
    "cuepost board",
    "/dev/",
    "udp:",
    "--page",
    "boards.txt",
    "--press",
    "marks.csv",
    "~/",
];

#[test]
fn every_example_works_as_it_is_pasted() {
    let folder = Folder::new("examples");
    let bin = folder.file("bin");
    std::fs::create_dir_all(&bin).expect("a folder");
    let program = env!("CARGO_BIN_EXE_program");
    std::os::unix::fs::symlink(program, format!("{bin}/cuepost")).expect("linked");
    let mut script = String::from(
        "set -eux\ncuepost demo --out demo\ncuepost landmarks list demo/quillmere.ref > boards.toml\n",
    );
    let mut count = 0;
    for (_, command) in commands() {
        let help = command.get_after_help().map(ToString::to_string);
        let help = help.unwrap_or_default();
        let examples = help.lines().filter_map(|line| line.strip_prefix("  "));
        let lines = examples.filter(|line| NEEDS_MORE.iter().all(|more| !line.contains(more)));
        for line in lines {
            script += &format!("{line}\n");
            count += 1;
        }
    }
    assert!(count > 20, "{count}");
    let path = std::env::var("PATH").unwrap_or_default();
    let done = std::process::Command::new("bash")
        .args(["-c", &script])
        .current_dir(folder.file("."))
        .env("PATH", format!("{bin}:{path}"))
        .output()
        .expect("bash is there");
    let errors = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{errors}");
}

#[test]
fn a_slip_in_an_example_would_be_seen() {
    for line in ["cuepost lern a.csv -o a.ref", "cuepost learn a.csv --nam x"] {
        assert!(definition().try_get_matches_from(words(line)).is_err());
    }
    assert_eq!(
        words("cuepost learn a.csv --name 'Club, dry' > x"),
        ["cuepost", "learn", "a.csv", "--name", "Club, dry"]
    );
}

#[test]
fn the_manual_has_a_page_for_each_command() {
    let folder = Folder::new("manual");
    cuepost(&["man", &folder.file("man1")]).expect("written");
    for (name, command) in commands() {
        let page = folder.file(&format!("man1/{}.1", name.replace(' ', "-")));
        let text = std::fs::read_to_string(&page).unwrap_or_else(|e| panic!("{page}: {e}"));
        let about = command.get_about().expect("says what it does").to_string();
        let first = about
            .split(['-', ',', ':', '\''])
            .next()
            .unwrap_or_default();
        assert!(text.contains(first), "{page}: {first}");
        assert!(text.contains("Example"), "{page}");
    }
}

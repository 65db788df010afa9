//! The guides, followed literally: each page's `sh` blocks are run one after the other, as they
//! stand, in an empty folder beside `docs`. Blocks that need hardware, a network or a person are
//! `console` blocks; of those every command of ours must be understood.

use crate::help::words;
use cuepost_host::cli::definition;
use cuepost_tests::command::{Folder, cuepost};
use std::path::{Path, PathBuf};
use std::process::Command;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .expect("root")
}

/// A page, with what its blocks of one language say.
fn blocks(page: &str, language: &str) -> Vec<String> {
    let path = root().join(page);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{page}: {e}"));
    let mut found = Vec::new();
    let mut block: Option<(bool, String)> = None;
    for line in text.lines().map(str::trim) {
        block = match (block, line.strip_prefix("```")) {
            (None, Some(of)) => Some((of == language, String::new())),
            (Some((ours, said)), Some(_)) => {
                found.extend(ours.then_some(said));
                None
            }
            (Some((ours, said)), None) => Some((ours, said + line + "\n")),
            (None, None) => None,
        };
    }
    assert!(block.is_none(), "{page}: a block without an end");
    found
}

/// Runs what a page says to run, in a folder where `cuepost` is the program of this build.
fn follow(page: &str, least: usize) {
    let said = blocks(page, "sh");
    assert!(said.len() >= least, "{page}: {} blocks", said.len());
    let folder = Folder::new(&format!("guide-{}", page.replace('/', "-")));
    let bin = PathBuf::from(folder.file("bin"));
    std::fs::create_dir_all(&bin).expect("a folder");
    let link = |what: &Path, at: &Path| std::os::unix::fs::symlink(what, at).expect("linked");
    link(
        Path::new(env!("CARGO_BIN_EXE_program")),
        &bin.join("cuepost"),
    );
    link(&root().join("docs"), Path::new(&folder.file("docs")));
    if page == "README.md" {
        recordings(&folder);
    }
    let script = format!("set -eux\n{}", said.concat());
    let path = std::env::var("PATH").unwrap_or_default();
    let done = Command::new("bash")
        .args(["-c", &script])
        .current_dir(folder.file("."))
        .env("PATH", format!("{}:{path}", bin.display()))
        .output()
        .expect("bash is there");
    assert!(
        done.status.success(),
        "{page}:\n{}\n{}",
        String::from_utf8_lossy(&done.stdout),
        String::from_utf8_lossy(&done.stderr)
    );
}

/// The reader's own recordings.
fn recordings(folder: &Folder) {
    let demo = folder.file("demo");
    cuepost(&["demo", "--out", &demo]).expect("made");
    for name in ["coach.csv", "driver.csv"] {
        std::fs::rename(format!("{demo}/{name}"), folder.file(name)).expect("moved");
    }
}

#[test]
fn the_readme_is_followed() {
    follow("README.md", 1);
}

#[test]
fn the_drivers_guide_is_followed() {
    follow("docs/DRIVER.md", 3);
}

#[test]
fn the_coachs_guide_is_followed() {
    follow("docs/COACH.md", 8);
}

#[test]
fn the_hobbyists_guide_is_followed() {
    follow("docs/HOBBYIST.md", 3);
}

#[test]
fn the_engineers_guide_is_followed() {
    follow("docs/ENGINEER.md", 1);
}

#[test]
fn the_command_line_page_is_followed() {
    follow("docs/COMMANDS.md", 1);
}

/// Every page for people.
fn pages() -> Vec<String> {
    let docs = std::fs::read_dir(root().join("docs")).expect("docs");
    let names = docs.map(|entry| entry.expect("an entry").file_name());
    let names = names.map(|name| name.to_string_lossy().into_owned());
    let mut pages: Vec<String> = names
        .filter(|name| name.ends_with(".md"))
        .map(|name| format!("docs/{name}"))
        .collect();
    pages.extend(["README.md".to_owned(), "DEVELOPERS.md".to_owned()]);
    assert!(pages.len() > 15);
    pages
}

#[test]
fn every_command_on_a_page_is_understood() {
    let mut count = 0;
    for page in pages() {
        for block in ["sh", "console", ""].map(|l| blocks(&page, l).concat()) {
            for line in block.lines().filter(|l| l.starts_with("cuepost ")) {
                let line = line.split(" #").next().unwrap_or(line);
                // The names of a page that stand for many.
                if line.contains("SOURCE") || line.contains('|') {
                    continue;
                }
                let read = definition().try_get_matches_from(words(&line.replace('"', "'")));
                assert!(read.is_ok(), "{page}: {line}: {:?}", read.err());
                count += 1;
            }
        }
    }
    assert!(count > 50, "{count}");
}

#[test]
fn every_link_between_pages_leads_somewhere() {
    let mut count = 0;
    for page in pages() {
        let path = root().join(&page);
        let text = std::fs::read_to_string(&path).expect("read");
        for link in text.split("](").skip(1) {
            let link = link.split(')').next().unwrap_or_default();
            if link.contains("://") || link.contains(' ') {
                continue;
            }
            let (file, heading) = link.split_once('#').unwrap_or((link, ""));
            let to = match file {
                "" => path.clone(),
                file => path.parent().expect("a folder").join(file),
            };
            assert!(to.exists(), "{page}: {link}");
            if !heading.is_empty() {
                let there = std::fs::read_to_string(&to).expect("read");
                let known = there.lines().filter(|l| l.starts_with('#')).map(anchor);
                assert!(known.into_iter().any(|a| a == heading), "{page}: {link}");
            }
            count += 1;
        }
    }
    assert!(count > 60, "{count}");
}

/// A heading as links name it.
fn anchor(heading: &str) -> String {
    let text = heading.trim_start_matches('#').trim().to_lowercase();
    let kept = text
        .chars()
        .filter(|c| c.is_alphanumeric() || " -_".contains(*c));
    kept.map(|c| if c == ' ' { '-' } else { c }).collect()
}

#[test]
fn the_readme_is_short_and_its_pictures_are_small() {
    let text = std::fs::read_to_string(root().join("README.md")).expect("read");
    assert!(text.lines().count() < 150);
    for picture in ["driver.png", "debrief.png"] {
        assert!(text.contains(&format!("docs/pictures/{picture}")));
        let bytes = std::fs::read(root().join("docs/pictures").join(picture)).expect(picture);
        assert!(
            bytes.starts_with(b"\x89PNG") && bytes.len() < 250_000,
            "{picture}"
        );
    }
}

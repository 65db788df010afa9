//! Programs killed while they write: a recording is readable up to a fifth of a second before, a
//! reference is the old one or the new one.

use crate::made::circuit;
use crate::random::Random;
use cuepost_host::record::{Fault, Reader};
use cuepost_host::reference_file;
use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// Runs the scribe until it has said so many lines, kills it and returns all it said.
fn killed_after(args: &[&str], lines: usize) -> Vec<String> {
    let mut child = Command::new(env!("CARGO_BIN_EXE_scribe"))
        .args(args)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut all: Vec<String> = said.by_ref().take(lines).map(Result::unwrap).collect();
    child.kill().unwrap();
    child.wait().unwrap();
    all.extend(said.map_while(Result::ok));
    all
}

#[test]
fn a_recording_is_readable_up_to_the_last_flush() {
    let folder = folder("killed-recording");
    let mut random = Random(1);
    for round in 0..20 {
        let file = folder.join(format!("{round}.cue"));
        let lines = 1 + random.below(300);
        let said = killed_after(&["recording", file.to_str().unwrap()], lines);
        let mut read = 0;
        for sample in Reader::new(File::open(&file).unwrap()) {
            match sample {
                Ok(sample) => {
                    assert_eq!(sample.time_us, read * 10_000);
                    read += 1;
                }
                Err(Fault::Cut { .. }) => {}
                Err(other) => panic!("{other}"),
            }
        }
        // 0.2 s at 100 Hz, and the sample that was being written.
        let handed = said.len() as u64;
        assert!(read + 20 >= handed, "{read} read of {handed}");
    }
}

#[test]
fn a_reference_is_the_old_or_the_new_one() {
    let folder = folder("killed-reference");
    let path = |name: &str| folder.join(name);
    let names = ["a.ref", "b.ref", "out.ref"].map(path);
    let [a, b, out] = names.each_ref().map(|p| p.to_str().unwrap());
    let ids = [(&names[0], 100), (&names[1], 120)]
        .map(|(path, nodes)| reference_file::write(path, &circuit(nodes, 3).view()).unwrap());
    reference_file::write(&names[2], &circuit(100, 3).view()).unwrap();
    let mut random = Random(2);
    let mut seen = [0, 0];
    for _ in 0..30 {
        killed_after(&["reference", out, a, b], 1 + random.below(12));
        let (_, id) = reference_file::read(&names[2]).unwrap();
        let which = ids.iter().position(|x| *x == id).expect("one of the two");
        seen[which] += 1;
    }
    assert!(seen.iter().all(|n| *n > 0), "{seen:?}");
}

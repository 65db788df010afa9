//! `cuepost learn` as a user runs it: files in, a file out, faults in one line.

use super::data;
use cuepost_host::reference_file;
use cuepost_tests::command::{Folder, cuepost};
use std::process::{Command, Stdio};

#[test]
fn a_reference_is_written_and_can_be_checked() {
    let folder = Folder::new("learn");
    let (recording, out) = (data("s5_touring.25hz.csv"), folder.file("club.ref"));
    let recording = recording.display().to_string();
    let args = [
        "learn",
        &recording,
        "-o",
        &out,
        "--name",
        "Club circuit",
        "--car",
        "Touring",
    ];
    cuepost(&args).expect("a reference");
    let (kept, _) = reference_file::read(out.as_ref()).expect("readable");
    assert_eq!(kept.session.name, "Club circuit");
    assert_eq!(kept.session.car, "Touring");
    assert_eq!(kept.corners.len(), 10);
    assert!(kept.corners.iter().all(|c| c.facts.usable));
    let size = std::fs::metadata(&out).expect("written").len();
    assert!(size < 16 * 1024, "{size} bytes");
    cuepost(&["check", &out]).expect("checked");
    let lap = ["learn", &recording, "-o", &out, "--lap", "7"];
    let fault = cuepost(&lap).expect_err("no such lap");
    assert!(
        fault.contains("there is no lap 7") && !fault.contains('\n'),
        "{fault}"
    );
}

/// What a recording that breaks off gave before is learned from.
#[test]
fn a_cut_recording_is_used_as_far_as_it_goes() {
    let folder = Folder::new("cut");
    let whole = std::fs::read(data("s1_good12.ubx")).expect("data");
    let cut = folder.file("cut.ubx");
    std::fs::write(&cut, &whole[..whole.len() - 37]).expect("written");
    cuepost(&["learn", &cut, "-o", &folder.file("a.ref")]).expect("a reference");
}

#[test]
fn what_cannot_be_learned_is_one_line_with_the_file() {
    let folder = Folder::new("faults");
    let out = folder.file("x.ref");
    let write = |name: &str, text: &str| {
        let path = folder.file(name);
        std::fs::write(&path, text).expect("written");
        path
    };
    let empty = write("empty.csv", "");
    let foreign = write("letter.txt", "Dear all,\nthe track day is on Sunday.\n");
    let blind = write("blind.csv", "time_s,speed_mps\n0,10\n0.1,10\n0.2,11\n");
    let short = write(
        "short.csv",
        "time_s,x_m,y_m,speed_mps\n0,0,0,10\n0.1,1,0,10\n0.2,2,0,10\n",
    );
    for file in [&empty, &foreign, &blind, &short] {
        let fault = cuepost(&["learn", file, "-o", &out]).expect_err(file);
        assert!(fault.contains(file.as_str()), "{fault}");
        assert!(!fault.contains('\n'), "{fault}");
        assert!(!std::path::Path::new(&out).exists(), "nothing is written");
    }
    let good = data("s1_good12.clean.csv").display().to_string();
    for start in ["1,2", "600,1169,500", "-5000,0,90"] {
        let fault = cuepost(&["learn", &good, "-o", &out, "--start", start]).expect_err(start);
        assert!(fault.contains("start"), "{fault}");
    }
}

/// As with `cuepost learn … | head -1`: who has read enough goes away, and that is no fault.
#[test]
fn a_reader_that_went_away_is_no_fault() {
    let folder = Folder::new("pipe");
    let recording = data("s5_touring.25hz.csv").display().to_string();
    let reference = folder.file("club.ref");
    let learn = vec!["learn", &recording, "-o", &reference];
    for args in [learn, vec!["check", &reference], vec!["brief", &reference]] {
        let mut child = Command::new(env!("CARGO_BIN_EXE_program"))
            .args(&args)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("started");
        drop(child.stdout.take());
        let out = child.wait_with_output().expect("ended");
        let said = String::from_utf8_lossy(&out.stderr);
        assert!(out.status.success(), "{args:?}: {said}");
        assert!(!said.contains("panic"), "{args:?}: {said}");
    }
}

//! Another kind of source than the reference's: said by `drive` as `replay` says it.

use crate::scene::{program, scene};
use cuepost_engine::reference::SourceKind;
use cuepost_host::reference_file;

#[test]
fn a_source_of_another_kind_is_said_once() {
    let (mut store, _) = reference_file::read(&scene().reference()).expect("a reference");
    for (made, warned) in [
        (SourceKind::Simulator, 1),
        (SourceKind::Receiver, 0),
        (SourceKind::Unknown, 0),
    ] {
        store.session.source = made;
        let reference = scene().path(&format!("made-from-{made:?}.ref"));
        reference_file::write(&reference, &store.view()).expect("written");
        for live in [scene().nmea_file().to_str().expect("text"), "-"] {
            let output = program()
                .args(["drive", "--speed", "0", "--to", "lines", "--no-record"])
                .args(["--from", live, "--reference"])
                .arg(&reference)
                .stdin(std::fs::File::open(scene().nmea_file()).expect("there"))
                .output()
                .expect("runs");
            assert!(output.status.success(), "{output:?}");
            let said = String::from_utf8_lossy(&output.stdout);
            let lines = said.lines().filter(|l| l.contains("their lags differ"));
            assert_eq!(lines.count(), warned, "{made:?} {live}: {said}");
        }
    }
}

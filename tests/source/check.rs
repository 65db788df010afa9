//! `cuepost check` as its user runs it.

use crate::data;
use std::path::Path;
use std::process::Command;

/// Exit code, standard output, standard error.
fn check(file: &Path, more: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_program"))
        .arg("check")
        .arg(file)
        .args(more)
        .output()
        .expect("the program runs");
    let text = |bytes| String::from_utf8(bytes).expect("text");
    let code = output.status.code().expect("it exits by itself");
    (code, text(output.stdout), text(output.stderr))
}

/// The words behind a name in the report.
fn line<'a>(report: &'a str, name: &str) -> &'a str {
    report
        .lines()
        .find_map(|line| line.strip_prefix(&format!("{name:<11} ")))
        .unwrap_or_else(|| panic!("no `{name}` in\n{report}"))
}

#[test]
fn a_receivers_recording() {
    let (code, report, errors) = check(&data("gnss/s2_faulty25.nmea"), &[]);
    assert_eq!((code, errors.as_str()), (0, ""));
    assert_eq!(line(&report, "what"), "NMEA 0183 sentences, 387451 bytes");
    assert_eq!(line(&report, "read"), "1991 RMC, 2000 GGA, 2000 VTG");
    assert_eq!(
        line(&report, "samples"),
        "1989, over 1 min 21.680 s, 25 a second"
    );
    assert!(line(&report, "noise").starts_with("speed 0.05"), "{report}");
    assert!(
        line(&report, "refused").starts_with("8 x wrong or missing checksum, first at line 43"),
        "{report}"
    );
}

#[test]
fn a_table_and_what_was_decided() {
    let columns = ["--column", "time_s=time", "--column", "speed_mps=speed"];
    let (code, report, _) = check(&data("faults/07a_semicolon_decimal_comma.csv"), &columns);
    assert_eq!(code, 0);
    assert!(
        report.contains("values apart by semicolons, decimals with a comma"),
        "{report}"
    );
    assert!(
        line(&report, "read").contains("speed (speed, m/s)"),
        "{report}"
    );
    assert_eq!(line(&report, "not used"), "distance");
}

#[test]
fn a_slow_source_is_told_to_be_faster() {
    let (code, report, _) = check(&data("receivers/haicom-305N.log"), &[]);
    assert_eq!(code, 0);
    let samples = line(&report, "samples");
    assert!(
        samples.ends_with("1 a second: too few, let the source send 10 or more"),
        "{samples}"
    );
}

#[test]
fn what_cannot_be_read_exits_with_2_and_one_line() {
    let folder = std::env::temp_dir().join(format!("cuepost-check-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let write = |name: &str, bytes: &[u8]| {
        let path = folder.join(name);
        std::fs::write(&path, bytes).unwrap();
        path
    };
    let whole = std::fs::read(data("gnss/s1_good25.nmea")).unwrap();
    for (path, words) in [
        (write("empty.csv", b""), "is empty"),
        (write("sheet.xlsx", b"PK\x03\x04...."), "unpack it"),
        (write("noise.bin", &[0xaa; 300_000]), "not a recording"),
        (write("long.csv", &[b'x'; 300_000]), "no line names columns"),
        (write("cut.nmea", &whole[..10_050]), "cut off here"),
        (folder.join("nowhere.csv"), "No such file"),
        (
            data("faults/07c_ambiguous.csv"),
            "line 1: no column with a time",
        ),
    ] {
        let (code, report, errors) = check(&path, &[]);
        assert_eq!(code, 2, "{}", path.display());
        assert_eq!(errors.lines().count(), 1, "{errors}");
        assert!(errors.contains(&path.display().to_string()), "{errors}");
        assert!(errors.contains(words), "{errors}");
        // What was read before is told.
        assert_eq!(
            report.contains("samples"),
            path.ends_with("cut.nmea"),
            "{report}"
        );
    }
    std::fs::remove_dir_all(&folder).unwrap();
}

//! Two hours, a kill in the middle, a full disk.

use crate::running::Running;
use crate::scene::{program, record, scene};
use cuepost_engine::Sample;
use cuepost_engine::wire::{FRAME_MAX, Message, encode};
use cuepost_host::record::Reader;
use std::io::Write;
use std::net::TcpStream;
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

fn recorded(path: &Path) -> Vec<Sample> {
    let file = std::fs::File::open(path).expect("recorded");
    Reader::new(file).filter_map(Result::ok).collect()
}

/// Two hours at 50 Hz: the driver's laps over and over, two samples for each of the scene's.
fn two_hours() -> Vec<Sample> {
    let laps = &scene().samples;
    let begin = laps[0].time_us;
    let length = laps[laps.len() - 1].time_us - begin + 40_000;
    let mut out = Vec::with_capacity(360_000);
    for round in 0.. {
        for pair in laps.windows(2) {
            let at = pair[0].time_us - begin + round * length;
            if out.len() == 360_000 {
                return out;
            }
            out.push(Sample {
                time_us: at,
                ..pair[0]
            });
            out.push(Sample {
                time_us: at + 20_000,
                ..halfway(&pair[0], &pair[1])
            });
        }
    }
    out
}

fn halfway(a: &Sample, b: &Sample) -> Sample {
    use cuepost_engine::Position::Geodetic;
    let mid = |x: i32, y: i32| ((i64::from(x) + i64::from(y)) / 2) as i32;
    let position = match (a.position, b.position) {
        (
            Some(Geodetic { lat_e7, lon_e7 }),
            Some(Geodetic {
                lat_e7: lat,
                lon_e7: lon,
            }),
        ) => Some(Geodetic {
            lat_e7: mid(lat_e7, lat),
            lon_e7: mid(lon_e7, lon),
        }),
        _ => None,
    };
    let speed_mps = a.speed_mps.zip(b.speed_mps).map(|(x, y)| (x + y) / 2.0);
    Sample {
        position,
        speed_mps,
        ..*a
    }
}

/// Resident memory of a process, KiB; `None` once it has ended.
fn resident_kib(id: u32) -> Option<u64> {
    let status = std::fs::read_to_string(format!("/proc/{id}/status")).ok()?;
    let line = status.lines().find(|l| l.starts_with("VmRSS:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

#[test]
fn two_hours_at_50_hz_memory_flat_and_nothing_lost() {
    let scene = scene();
    let samples = two_hours();
    let source = scene.path("soak-in.rec");
    record(&source, &samples);
    let out = scene.path("soak-out.rec");
    let drive = Running::drive(&[
        "--from",
        source.to_str().expect("plain path"),
        "--speed",
        "0",
        "--to",
        "page",
        "--page-port",
        "0",
        "--to",
        "lines",
        "--record",
        out.to_str().expect("plain path"),
    ]);
    drive.until("serving", |d| d.out().contains("pages: http://"));
    // A browser that never reads.
    let link = drive.out();
    let address = link
        .split("http://")
        .nth(1)
        .and_then(|a| a.split('/').next());
    let address = address.expect("an address").to_owned();
    let mut browser = TcpStream::connect(&address).expect("connects");
    write!(browser, "GET /events HTTP/1.1\r\nHost: {address}\r\n\r\n").expect("asks");

    // Memory against how much is recorded.
    let length = |p: &Path| std::fs::metadata(p).map_or(0, |m| m.len());
    let whole = length(&source);
    let mut seen: Vec<(u64, u64)> = Vec::new();
    while let Some(kib) = resident_kib(drive.id()) {
        seen.push((length(&out) * 100 / whole, kib));
        std::thread::sleep(Duration::from_millis(50));
        if drive.out().contains("nothing lost") {
            break;
        }
    }
    let ended = drive.ended();
    assert!(ended.status.success(), "{}", ended.err);
    assert!(
        ended.out.contains("360000 samples, nothing lost"),
        "{}",
        ended.out
    );
    assert_eq!(recorded(&out), samples);
    let most = |from: u64, to: u64| {
        let within = seen.iter().filter(|(p, _)| (from..to).contains(p));
        within.map(|(_, kib)| *kib).max()
    };
    let (early, late) = (most(20, 50), most(80, 101));
    eprintln!("resident KiB at 20-50 %: {early:?}, at 80-100 %: {late:?}");
    if let (Some(early), Some(late)) = (early, late) {
        // The pages keep laps, corners and cues, up to a bound; nothing else grows.
        assert!(
            late < early + 8 * 1024,
            "{early} KiB, then {late} KiB: {seen:?}"
        );
    } else {
        panic!("too fast to be watched: {seen:?}");
    }
}

#[test]
fn killed_in_a_drive_the_recording_is_there_up_to_the_last_second() {
    let path = scene().path("killed.rec");
    let mut drive = Running::drive(&[
        "--from",
        "-",
        "--to",
        "jsonl",
        "--record",
        path.to_str().expect("plain path"),
    ]);
    let mut stdin = drive.stdin();
    let begun = Instant::now();
    let mut sent_us = 0;
    // At the pace it was driven, for three seconds.
    for s in &scene().samples {
        let at = Duration::from_micros(s.time_us - scene().samples[0].time_us);
        if at > Duration::from_secs(3) {
            break;
        }
        std::thread::sleep(at.saturating_sub(begun.elapsed()));
        let mut frame = [0; FRAME_MAX];
        let length = encode(&Message::Sample(*s), &mut frame).expect("fits");
        stdin.write_all(&frame[..length]).expect("written");
        sent_us = s.time_us;
    }
    drive.signal("KILL");
    let ended = drive.ended();
    assert!(!ended.status.success());
    let got = recorded(&path);
    let last_us = got.last().expect("samples").time_us;
    assert!(sent_us - last_us <= 1_000_000, "{sent_us} {last_us}");
    assert_eq!(got, scene().samples[..got.len()]);

    // Cut within a frame, as a crash of the machine may leave it: `check` says where.
    let bytes = std::fs::read(&path).expect("there");
    let torn = scene().path("torn.rec");
    std::fs::write(&torn, &bytes[..bytes.len() - 5]).expect("written");
    let output = program().arg("check").arg(&torn).output().expect("runs");
    let said = String::from_utf8_lossy(&output.stdout).into_owned()
        + &String::from_utf8_lossy(&output.stderr);
    assert!(
        said.contains("cut off here") && said.contains(": byte "),
        "{said}"
    );
}

#[test]
fn a_full_disk_is_said_and_the_drive_goes_on() {
    let scene = scene();
    // A file system of its own that is soon full, seen by this drive alone.
    let folder = scene.path("small");
    std::fs::create_dir_all(&folder).expect("a folder");
    let kept_path = scene.path("kept.rec");
    let script = "mount -t tmpfs -o size=64k tmpfs \"$1\" || exit 99; shift; \"$@\"; s=$?; \
                  cp \"$FULL\" \"$KEPT\" && exit $s";
    let root = std::fs::metadata("/proc/self").is_ok_and(|m| m.uid() == 0);
    let drive = program();
    let full = folder.join("full.rec");
    let output = Command::new("unshare")
        .arg(if root { "-m" } else { "-Urm" })
        .args(["sh", "-c", script, "sh"])
        .arg(&folder)
        .arg(drive.get_program())
        .args(["drive", "--speed", "0", "--to", "jsonl", "--reference"])
        .arg(scene.reference())
        .arg("--from")
        .arg(scene.recording())
        .arg("--record")
        .arg(&full)
        .env("FULL", &full)
        .env("KEPT", &kept_path)
        .output()
        .expect("`unshare` of util-linux runs");
    let (out, err) = (
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr),
    );
    assert!(
        output.status.success(),
        "no small file system can be made here (root or user namespaces are needed), or the drive \
         failed: {err}"
    );
    assert_eq!(out, crate::scene::replayed(&scene.recording()));
    assert!(err.contains("the disk is full"), "{err}");
    assert!(!err.contains("nothing lost"), "{err}");
    let kept = recorded(&kept_path);
    // What fitted is there.
    assert!(!kept.is_empty() && kept.len() < scene.samples.len());
    assert_eq!(kept, scene.samples[..kept.len()]);
}

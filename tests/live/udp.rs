//! Simulators on UDP: real datagrams over loopback, lost, out of order, repeated, restarted.

use crate::running::Running;
use crate::scene::{replayed, scene};
use cuepost_engine::wire::{FRAME_MAX, Message, encode};
use cuepost_engine::{Position, Sample};
use cuepost_host::record::Reader;
use std::net::UdpSocket;
use std::path::Path;
use std::time::{Duration, Instant};

/// A port nobody listens on just now.
fn free_port() -> u16 {
    let socket = UdpSocket::bind("127.0.0.1:0").expect("a port");
    socket.local_addr().expect("an address").port()
}

/// A drive that listens, and a socket that sends to it.
fn listening(record: &Path, words: &[&str]) -> (Running, UdpSocket) {
    let from = format!("udp:{}", free_port());
    let mut all = vec!["--from", &from, "--to", "jsonl", "--record"];
    all.push(record.to_str().expect("plain path"));
    all.extend(words);
    let drive = Running::drive(&all);
    drive.until("listening", |d| d.err().contains("recording to"));
    let socket = UdpSocket::bind("127.0.0.1:0").expect("a port");
    socket
        .connect(from.replace("udp:", "127.0.0.1:"))
        .expect("loopback");
    (drive, socket)
}

fn recorded(record: &Path) -> Vec<Sample> {
    let file = std::fs::File::open(record).expect("recorded");
    Reader::new(file).filter_map(Result::ok).collect()
}

/// Sends datagrams and waits now and then until the drive has caught up: what the system's own
/// buffer cannot hold is not what is tested. `good` is how many samples the first `n` make.
fn send(socket: &UdpSocket, record: &Path, datagrams: &[Vec<u8>], good: impl Fn(usize) -> usize) {
    for (n, bytes) in datagrams.iter().enumerate() {
        socket.send(bytes).expect("sent");
        if n % 200 == 199 || n + 1 == datagrams.len() {
            let begun = Instant::now();
            while recorded(record).len() < good(n + 1) {
                let waited = begun.elapsed();
                assert!(
                    waited < Duration::from_secs(60),
                    "{n}: {}",
                    recorded(record).len()
                );
                std::thread::sleep(Duration::from_millis(5));
            }
        }
    }
}

fn layout() -> String {
    format!("{}/data/faults/sim1.toml", env!("CARGO_MANIFEST_DIR"))
}

/// A record of the invented packet that `sim1.toml` describes.
fn packet(counter: u32, s: &Sample) -> Vec<u8> {
    let (east, north) = match s.position {
        Some(Position::Local { east_mm, north_mm }) => (east_mm, north_mm),
        _ => panic!("a plane position"),
    };
    let mut b = b"SIM1".to_vec();
    b.extend(1u16.to_le_bytes());
    b.extend(36u16.to_le_bytes());
    b.extend(counter.to_le_bytes());
    b.extend(((s.time_us / 1000) as u32).to_le_bytes());
    for v in [
        east as f32 * 1e-3,
        north as f32 * 1e-3,
        0.0,
        s.speed_mps.unwrap_or_default(),
        0.0,
    ] {
        b.extend(v.to_le_bytes());
    }
    b
}

/// A simulator's samples: a circle at 50 Hz.
fn circle(count: u64) -> Vec<Sample> {
    (0..count)
        .map(|i| {
            let a = i as f64 * 0.02 * 30.0 / 200.0;
            Sample {
                time_us: i * 20_000,
                position: Some(Position::Local {
                    east_mm: (200_000.0 * a.cos()) as i64,
                    north_mm: (200_000.0 * a.sin()) as i64,
                }),
                speed_mps: Some(30.0),
                ..Sample::default()
            }
        })
        .collect()
}

#[test]
fn lost_swapped_repeated_and_restarted_packets() {
    let record = scene().path("udp.rec");
    let layout = layout();
    let (drive, socket) = listening(&record, &["--layout", &layout]);
    let samples = circle(3000);
    // Counter near its end, so that it wraps within the session.
    let first = u32::MAX - 1000;
    let packets: Vec<Vec<u8>> = (0u32..)
        .zip(&samples)
        .map(|(i, s)| packet(first.wrapping_add(i), s))
        .collect();
    let mut order: Vec<usize> = Vec::new();
    for i in 0..packets.len() {
        match i % 100 {
            7 => {}                      // lost
            20 => order.extend([i + 1]), // swapped with the next
            21 => order.extend([i - 1]), // late
            50 => order.extend([i, i]),  // twice
            _ => order.push(i),
        }
    }
    let sent: Vec<Vec<u8>> = order.iter().map(|i| packets[*i].clone()).collect();
    let good = |n: usize| {
        let mut newest = None;
        let rises = |i: &&usize| {
            let rises = newest.is_none_or(|m| **i > m);
            newest = newest.max(Some(**i));
            rises
        };
        order[..n].iter().filter(rises).count()
    };
    send(&socket, &record, &sent, good);
    // The simulator starts again: counter and time from 0.
    let again: Vec<Vec<u8>> = (0u32..)
        .zip(&circle(500))
        .map(|(i, s)| packet(i, s))
        .collect();
    send(&socket, &record, &again, |n| 3000 - 30 - 30 + n);
    let want = 3000 - 30 - 30 + 500;
    let ended = drive.ctrl_c();
    assert!(ended.status.success(), "{}", ended.err);
    let got = recorded(&record);
    assert_eq!(got.len(), want);
    // Each sample once, in order, in two sessions.
    let falls = got
        .windows(2)
        .filter(|w| w[1].time_us <= w[0].time_us)
        .count();
    assert_eq!(falls, 1);
    assert_eq!(got[want - 500].time_us, 0);
    for count in [
        "30 late packet",
        "30 repeated packet",
        "60 packet lost on the way",
    ] {
        assert!(ended.err.contains(count), "{count}: {}", ended.err);
    }
    assert_eq!(replayed(&record), ended.out);
}

#[test]
fn our_own_frames_over_udp_give_what_replay_gives() {
    let scene = scene();
    let record = scene.path("udp-wire.rec");
    let (drive, socket) = listening(&record, &[]);
    let frame = |s: &Sample| {
        let mut frame = [0; FRAME_MAX];
        let length = encode(&Message::Sample(*s), &mut frame).expect("fits");
        frame[..length].to_vec()
    };
    let frames: Vec<Vec<u8>> = scene.samples.iter().map(frame).collect();
    send(&socket, &record, &frames, |n| n);
    let want = replayed(&scene.recording());
    let ended = drive.ctrl_c();
    assert_eq!(ended.out, want);
    assert_eq!(recorded(&record).len(), scene.samples.len());
}

#[test]
fn lines_of_text_over_udp_with_and_without_line_ends() {
    let record = scene().path("udp-csv.rec");
    let header = ["--header", "time_s,x_m,y_m,speed_mps"];
    let (drive, socket) = listening(&record, &header);
    let mut lines = Vec::new();
    for (n, s) in circle(200).iter().enumerate() {
        let Some(Position::Local { east_mm, north_mm }) = s.position else {
            continue;
        };
        let end = if n % 2 == 0 { "" } else { "\r\n" };
        let line = format!(
            "{:.3},{:.3},{:.3},30.0{end}",
            s.time_us as f64 * 1e-6,
            east_mm as f64 * 1e-3,
            north_mm as f64 * 1e-3
        );
        lines.push(line.into_bytes());
    }
    send(&socket, &record, &lines, |n| n);
    let ended = drive.ctrl_c();
    assert!(ended.status.success(), "{}", ended.err);
    assert_eq!(recorded(&record), circle(200));
}

#[test]
fn it_listens_to_this_machine_only_unless_told_otherwise() {
    let record = scene().path("udp-here.rec");
    let (drive, _socket) = listening(&record, &[]);
    assert!(
        drive.err().contains("from UDP 127.0.0.1:"),
        "{}",
        drive.err()
    );
    // A second drive on the same port is told so.
    let port = drive.err().split("127.0.0.1:").nth(1).map(str::to_owned);
    let port = port
        .and_then(|p| p.lines().next().map(str::to_owned))
        .expect("a port");
    let other = Running::drive(&["--from", &format!("udp:{port}"), "--no-record"]).ended();
    assert_eq!(other.status.code(), Some(2));
    assert!(other.err.contains("already in use"), "{}", other.err);
    assert!(drive.ctrl_c().status.success());
}

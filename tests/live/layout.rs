//! Datagrams of another size, order or number than expected (fault 16), and late ones (25).

use cuepost_host::live::layout::{Layout, PacketReader, Refused, Step};

/// The datagrams of a file: arrival in milliseconds and bytes.
fn datagrams(text: &str) -> Vec<(u64, Vec<u8>)> {
    let parse = |line: &str| {
        let mut words = line.split_whitespace();
        let at_ms = words.next()?.parse().ok()?;
        let hex = words.next()?.trim_matches('-');
        let bytes = (0..hex.len())
            .step_by(2)
            .map(|i| u8::from_str_radix(&hex[i..i + 2], 16).expect("hex"))
            .collect();
        Some((at_ms, bytes))
    };
    text.lines()
        .filter(|l| !l.starts_with('#'))
        .filter_map(parse)
        .collect()
}

fn reader() -> PacketReader {
    let layout = Layout::parse(include_str!("../data/faults/sim1.toml")).expect("a good layout");
    PacketReader::new(layout)
}

#[test]
fn fault_16a_each_good_record_is_taken_once_and_each_bad_one_counted() {
    let mut reader = reader();
    let mut times_ms = Vec::new();
    let mut refused = Vec::new();
    for (at_ms, bytes) in datagrams(include_str!("../data/faults/16a_udp_datagrams.txt")) {
        reader.push(&bytes, at_ms * 1000, |step| match step {
            Step::Sample(s) => {
                assert_eq!(s.speed_mps, Some(30.0));
                times_ms.push(s.time_us / 1000);
            }
            Step::Refused(why) => refused.push(why),
            Step::Record { .. } => {}
            Step::Restart => panic!("nothing restarted"),
        });
    }
    // Counters 10, 11, 12, 15, 17; their times are 1000 ms and 10 ms a count.
    assert_eq!(times_ms, [1000, 1010, 1020, 1050, 1070]);
    assert_eq!(
        refused,
        [
            Refused::Unknown,  // version 2
            Refused::Cut,      // cut to 20 bytes
            Refused::Late,     // 16 after 17
            Refused::Repeated, // 17 again
            Refused::Unknown,  // the other byte order
            Refused::Empty,
        ]
    );
    assert_eq!(
        reader.counts().lost,
        3,
        "13, 14 and 16 were missing when overtaken"
    );
}

#[test]
fn fault_16b_the_wrap_loses_nothing_and_the_restart_is_a_new_session() {
    let mut reader = reader();
    let mut sessions = vec![Vec::new()];
    for (at_ms, bytes) in datagrams(include_str!("../data/faults/16b_udp_wrap_restart.txt")) {
        reader.push(&bytes, at_ms * 1000, |step| match step {
            Step::Sample(s) => sessions.last_mut().expect("one").push(s.time_us / 1000),
            Step::Restart => sessions.push(Vec::new()),
            Step::Refused(why) => panic!("{why:?}"),
            Step::Record { .. } => {}
        });
    }
    assert_eq!(
        sessions,
        [vec![90_000, 90_020, 90_040, 90_060], vec![0, 20]]
    );
    assert_eq!(reader.counts().lost, 0);
    assert_eq!(reader.counts().restarts, 1);
}

/// Packets that arrive up to a second late keep the device's own time: its steps are what laps are
/// made of, and no offset of the clocks is ever reckoned with.
/// https://github.com/Lora-net/picoGW_packet_forwarder/issues/13
#[test]
fn fault_25_times_are_the_devices_however_late_they_arrive() {
    let mut reader = reader();
    let (mut device_ms, mut sample_us) = (Vec::new(), Vec::new());
    let pairs = include_str!("../data/faults/25_clock_pairs.csv");
    for (counter, line) in (1u32..).zip(pairs.lines().skip(1)) {
        let (host, device) = line.split_once(',').expect("two columns");
        let device: f64 = device.parse().expect("milliseconds");
        let host: f64 = host.parse().expect("milliseconds");
        let time_ms = device as u32;
        let mut packet = b"SIM1".to_vec();
        packet.extend_from_slice(&1u16.to_le_bytes());
        packet.extend_from_slice(&36u16.to_le_bytes());
        packet.extend_from_slice(&counter.to_le_bytes());
        packet.extend_from_slice(&time_ms.to_le_bytes());
        for value in [0.0f32, 0.0, 0.0, 30.0, 0.0] {
            packet.extend_from_slice(&value.to_le_bytes());
        }
        reader.push(&packet, (host * 1e3) as u64, |step| match step {
            Step::Sample(s) => sample_us.push(s.time_us),
            Step::Record { .. } => {}
            other => panic!("{other:?}"),
        });
        device_ms.push(u64::from(time_ms));
    }
    assert_eq!(sample_us.len(), 300);
    let us: Vec<u64> = device_ms.iter().map(|ms| ms * 1000).collect();
    assert_eq!(sample_us, us);
}

#[test]
fn check_shows_decoded_values_and_why_a_packet_is_none() {
    let data = concat!(env!("CARGO_MANIFEST_DIR"), "/data/faults/");
    let output = crate::scene::program()
        .args(["check", "--layout", &format!("{data}sim1.toml")])
        .arg(format!("{data}16a_udp_datagrams.txt"))
        .output()
        .expect("runs");
    assert!(output.status.success(), "{output:?}");
    let text = String::from_utf8(output.stdout).expect("text");
    for part in [
        "car: heading_rad=0 speed_mps=30 time_ms=1000 x_m=0 y_m=0",
        "-> 1.020 s: x 0.6 m, y 0 m, 30.00 m/s",
        "refused: car: 2 at 4, not 1",
        "refused: packet cut short",
        "refused: late packet",
        "10 packets, 5 samples, 3 lost on the way",
    ] {
        assert!(text.contains(part), "{part}\n{text}");
    }
}

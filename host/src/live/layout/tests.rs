//! The layout file and the reader, on packets made here byte by byte.

use super::file::{Layout, LayoutError};
use super::reader::{PacketReader, Refused, Step};
use cuepost_engine::{Position, Sample};

const TWO_KINDS: &str = r#"
name = "two kinds"
byte_order = "big"

[[packet]]
name = "motion"
size = 18
match = [{ offset = 0, type = "u8", value = 1 }]
counter = { offset = 1, type = "u8" }
[packet.channels]
time_ms = { offset = 2, type = "u32" }
x_m = { offset = 6, type = "f32" }
y_m = { offset = 10, type = "f32", scale = -1 }
speed_kmh = { offset = 14, type = "f32" }

[[packet]]
name = "pedals"
size = 8
match = [{ offset = 0, type = "u8", value = 2 }]
[packet.channels]
time_ms = { offset = 2, type = "u32" }
brake = { offset = 6, type = "u8", scale = 0.00392156862745098 }
throttle = { offset = 7, type = "u8", scale = 0.00392156862745098 }
"#;

fn motion(counter: u8, time_ms: u32, x: f32, y: f32, kmh: f32) -> Vec<u8> {
    let mut b = vec![1, counter];
    b.extend(time_ms.to_be_bytes());
    for v in [x, y, kmh] {
        b.extend(v.to_be_bytes());
    }
    b
}

fn pedals(time_ms: u32, brake: u8, throttle: u8) -> Vec<u8> {
    let mut b = vec![2, 0];
    b.extend(time_ms.to_be_bytes());
    b.extend([brake, throttle]);
    b
}

fn samples(reader: &mut PacketReader, datagram: &[u8]) -> Vec<Sample> {
    let mut out = Vec::new();
    reader.push(datagram, 0, |step| {
        if let Step::Sample(s) = step {
            out.push(s);
        }
    });
    out
}

fn reader(text: &str) -> PacketReader {
    PacketReader::new(Layout::parse(text).expect("a good layout"))
}

fn refused(reader: &PacketReader, why: Refused) -> u64 {
    reader.counts().refused[why as usize]
}

#[test]
fn two_kinds_of_one_time_make_one_sample() {
    let mut r = reader(TWO_KINDS);
    assert!(samples(&mut r, &motion(0, 20, 1.5, 2.5, 36.0)).is_empty());
    let got = samples(&mut r, &pedals(20, 255, 0));
    assert_eq!(
        got,
        [Sample {
            time_us: 20_000,
            position: Some(Position::Local {
                east_mm: 1500,
                north_mm: -2500
            }),
            speed_mps: Some(10.0),
            brake: Some(1.0),
            throttle: Some(0.0),
            ..Sample::default()
        }]
    );
}

#[test]
fn a_missing_partner_is_not_waited_for_longer_than_the_next_packet() {
    let mut r = reader(TWO_KINDS);
    samples(&mut r, &motion(0, 20, 0.0, 0.0, 36.0));
    let got = samples(&mut r, &motion(1, 40, 0.0, 0.0, 36.0));
    assert_eq!(got.len(), 1);
    assert_eq!((got[0].time_us, got[0].brake), (20_000, None));
    // Pedals alone are no sample.
    samples(&mut r, &pedals(40, 1, 1));
    samples(&mut r, &pedals(60, 1, 1));
    samples(&mut r, &pedals(80, 1, 1));
    assert_eq!(refused(&r, Refused::Unjoined), 1);
    // The partner of a sample that is out already came too late.
    samples(&mut r, &pedals(20, 1, 1));
    assert_eq!(refused(&r, Refused::Late), 1);
}

#[test]
fn rarer_packets_hold_for_a_stated_time() {
    let text = TWO_KINDS.replace("name = \"pedals\"", "name = \"pedals\"\nhold_ms = 50");
    let mut r = reader(&text);
    samples(&mut r, &pedals(0, 255, 0));
    let held = samples(&mut r, &motion(0, 50, 0.0, 0.0, 36.0));
    assert_eq!(held[0].brake, Some(1.0));
    let gone = samples(&mut r, &motion(1, 60, 0.0, 0.0, 36.0));
    assert_eq!(gone[0].brake, None);
}

#[test]
fn an_array_entry_is_found_by_its_index() {
    let text = r#"
        time = "arrival"
        [[packet]]
        name = "cars"
        size = 25
        index = { offset = 0, type = "u8" }
        [packet.channels]
        x_m = { offset = 1, type = "f32", stride = 12 }
        y_m = { offset = 5, type = "f32", stride = 12 }
        speed_mps = { offset = 9, type = "f32", stride = 12 }
    "#;
    let mut r = reader(text);
    let mut b = vec![1u8];
    for v in [1f32, 2.0, 3.0, 4.0, 5.0, 6.0] {
        b.extend(v.to_le_bytes());
    }
    let got = samples(&mut r, &b);
    assert_eq!(got[0].speed_mps, Some(6.0));
    b[0] = 2;
    assert!(samples(&mut r, &b).is_empty(), "no such entry");
    assert_eq!(refused(&r, Refused::Cut), 1);
}

#[test]
fn known_by_size_alone_means_that_size_and_no_other() {
    let text = TWO_KINDS.replace("match = [{ offset = 0, type = \"u8\", value = 1 }]", "");
    let mut r = reader(&text);
    let mut long = motion(0, 20, 0.0, 0.0, 36.0);
    long.extend([0; 4]);
    samples(&mut r, &long);
    assert_eq!(refused(&r, Refused::Unknown), 1);
    assert_eq!(r.counts().records, 0);
}

#[test]
fn a_restart_forgets_the_half_sample() {
    let mut r = reader(TWO_KINDS);
    samples(&mut r, &motion(0, 90_000, 0.0, 0.0, 36.0));
    let mut steps = 0;
    r.push(&pedals(0, 255, 255), 0, |s| {
        // The first pedals of all: nothing to compare with, so no restart is seen yet.
        assert!(!matches!(s, Step::Restart));
        steps += 1;
    });
    assert!(steps > 0);
    let mut restarts = 0;
    r.push(&motion(0, 0, 0.0, 0.0, 36.0), 0, |s| {
        restarts += u32::from(matches!(s, Step::Restart));
    });
    assert_eq!(restarts, 1);
    let got = samples(&mut r, &pedals(0, 255, 0));
    assert_eq!((got.len(), got[0].time_us), (1, 0));
}

#[test]
fn nothing_a_network_can_carry_panics() {
    // A small linear congruential generator is random enough for bytes.
    let mut state = 1u64;
    let mut byte = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 56) as u8
    };
    let mut r = reader(TWO_KINDS);
    for _ in 0..20_000 {
        let length = usize::from(byte()) % 40;
        let mut b: Vec<u8> = (0..length).map(|_| byte()).collect();
        if let Some(first) = b.first_mut() {
            *first %= 3;
        }
        let mut last = None;
        r.push(&b, 0, |s| match s {
            Step::Restart => last = None,
            Step::Sample(s) => {
                assert!(last.is_none_or(|t| t < s.time_us), "time rises");
                last = Some(s.time_us);
            }
            _ => {}
        });
    }
    assert!(r.counts().samples > 0 && refused(&r, Refused::Unknown) > 0);
}

#[test]
fn mistakes_in_a_layout_are_named() {
    let cases = [
        ("", "kinds of packet"),
        ("packet = 3", "packet"),
        (&TWO_KINDS.replace("f32\"", "f33\""), "f33"),
        (
            &TWO_KINDS.replace("offset = 14", "offset = 15"),
            "speed_kmh at offset 15 ends beyond",
        ),
        (
            &TWO_KINDS.replace("speed_kmh", "speed_kph"),
            "no channel is called \"speed_kph\"",
        ),
        (
            &TWO_KINDS
                .replace("value = 2", "value = 1")
                .replace("size = 8", "size = 18"),
            "nothing tells it from",
        ),
        (&TWO_KINDS.replace("x_m", "lat_deg"), "no position"),
        (&TWO_KINDS.replace("speed_kmh", "steer"), "no speed"),
        (&TWO_KINDS.replace("scale = -1", "scale = 0"), "scale"),
        (
            &TWO_KINDS.replace("scale = -1", "stride = 4"),
            "a stride needs",
        ),
        (
            &TWO_KINDS.replace(
                "counter = { offset = 1, type = \"u8\" }",
                "counter = { offset = 1, type = \"f32\" }",
            ),
            "counter must be",
        ),
        (&TWO_KINDS.replace("size = 8", "size = 0"), "a size of 0"),
        (&TWO_KINDS.replace("size = 8\n", ""), "give one of size"),
        (&TWO_KINDS.replace("brake =", "time_s ="), "say the same"),
        (&format!("join_ms = -1\n{TWO_KINDS}"), "join_ms"),
        (
            &format!("tune = \"arrival\"\n{TWO_KINDS}"),
            "unknown field `tune`",
        ),
        (
            &format!("time = \"arrival\"\n{TWO_KINDS}"),
            "use one of them",
        ),
    ];
    for (text, part) in cases {
        let error = Layout::parse(text).expect_err(part).to_string();
        assert!(error.contains(part), "{part:?} not in: {error}");
    }
    let error = Layout::parse("a = \"b").expect_err("no TOML");
    assert!(matches!(error, LayoutError::Toml(_)));
}

//! Frames out and back in, whole and damaged.

mod longest;

use super::*;
use crate::sample::{Position, Sample};
use longest::longest;
use std::vec::Vec;

fn frame(message: &Message) -> Vec<u8> {
    let mut out = [0; FRAME_MAX];
    let n = encode(message, &mut out).unwrap();
    out[..n].to_vec()
}

/// What a fresh reader makes of some bytes.
fn read(bytes: &[u8]) -> Vec<Outcome> {
    let mut reader = FrameReader::<BODY_MAX>::new();
    bytes
        .iter()
        .map(|&b| reader.feed(b))
        .filter(|o| *o != Outcome::Nothing)
        .collect()
}

#[test]
fn every_kind_goes_out_fits_and_comes_back() {
    let all = longest();
    assert_eq!(all.len(), Kind::ALL.len());
    for (message, kind) in all.iter().zip(Kind::ALL) {
        assert_eq!(message.kind(), *kind);
        assert_eq!(Kind::from_byte(*kind as u8), Some(*kind));
        let bytes = frame(message);
        assert_eq!(bytes.iter().filter(|b| **b == 0).count(), 2);
        assert_eq!(read(&bytes), [Outcome::Message(message.clone())]);
    }
}

#[test]
fn one_or_two_flipped_bits_never_become_another_message() {
    for message in longest() {
        let good = frame(&message);
        let after = frame(&Message::Query(Query::Status));
        let check = |bits: &[usize]| {
            let mut bytes = good.clone();
            for bit in bits {
                bytes[bit / 8] ^= 1 << (bit % 8);
            }
            bytes.extend_from_slice(&after);
            let got: Vec<_> = read(&bytes)
                .into_iter()
                .filter_map(|o| match o {
                    Outcome::Message(m) => Some(m),
                    _ => None,
                })
                .collect();
            let last = got.last().expect("the next whole frame is read");
            assert_eq!(*last, Message::Query(Query::Status));
            // A flipped delimiter may leave the message whole: the same, never another.
            assert!(got[..got.len() - 1].iter().all(|m| *m == message));
        };
        for a in 0..good.len() * 8 {
            check(&[a]);
            if good.len() < 40 {
                (a + 1..good.len() * 8).for_each(|b| check(&[a, b]));
            }
        }
    }
}

/// What the `postcard` crate writes is the definition.
#[test]
fn payloads_are_what_postcard_writes() {
    fn check<T: serde::Serialize>(value: &T) {
        let (mut ours, mut theirs) = ([0; 512], [0; 512]);
        let mut sink = put::Sink::Slice(&mut ours, 0);
        sink.put(value).unwrap();
        let n = sink.finish().unwrap();
        let theirs = postcard::to_slice(value, &mut theirs).unwrap();
        assert_eq!(&ours[..n], theirs);
    }
    for message in longest() {
        let mut theirs = [0; BODY_MAX];
        let n = theirs_of(&message, &mut theirs);
        let mut ours = [0; BODY_MAX];
        let mut sink = put::Sink::Slice(&mut ours, 0);
        message.put(&mut sink).unwrap();
        let m = sink.finish().unwrap();
        assert_eq!(ours[..m], theirs[..n], "{message:?}");
    }
    for bit in 0..64 {
        let x = 1u64 << bit;
        for x in [x, x - 1, !x] {
            let (s, long) = (x as i16, x as i64);
            check(&(x, long, x as u32, x as i32, x as u16, s, x as u8, x as i8));
        }
    }
    check(&(
        f32::MIN_POSITIVE,
        1e300f64,
        'ß',
        "naïve",
        (),
        Some(Some(false)),
    ));
    check(&(
        None::<u8>,
        [1u16, 300, 65535],
        &[1u32, 2][..],
        Position::Geodetic {
            lat_e7: -1,
            lon_e7: 1,
        },
    ));
    check(&crate::thresholds::Config::default());
}

/// The payload as the `postcard` crate writes it.
fn theirs_of(message: &Message, out: &mut [u8]) -> usize {
    macro_rules! each {
        ($($name:ident),+) => {
            match message {
                $(Message::$name(x) => postcard::to_slice(x, out).unwrap().len(),)+
            }
        };
    }
    each!(
        Sample, Begin, Piece, Commit, Settings, Query, Header, Mark, Cue, Phase, Lap, Corner,
        Health, Pace, Ack, Status
    )
}

/// A frame of our version around any payload.
fn wrap(version: u8, kind: u8, payload: &[u8]) -> Vec<u8> {
    let mut body = std::vec![version, kind];
    body.extend_from_slice(payload);
    body.extend_from_slice(&frame::crc32(&body).to_le_bytes());
    let mut out = [0; 1024];
    let mut cobs = cobs::Encoder::new(&mut out);
    body.iter().for_each(|b| cobs.push(*b).unwrap());
    cobs.close().unwrap();
    cobs.raw(0).unwrap();
    let n = cobs.len();
    out[..n].to_vec()
}

#[test]
fn versions_and_kinds_that_are_not_ours_are_named() {
    let query = [0];
    assert_eq!(
        read(&wrap(VERSION, 0x06, &query)),
        [Outcome::Message(Message::Query(Query::Status))]
    );
    for version in (0..=255).filter(|v| *v != VERSION) {
        let got = read(&wrap(version, 0x06, &query));
        assert_eq!(got, [Outcome::Refused(Refused::Version(version))]);
    }
    for kind in (0..=255).filter(|k| Kind::from_byte(*k).is_none()) {
        let got = read(&wrap(VERSION, kind, &query));
        assert_eq!(got, [Outcome::Refused(Refused::Kind(kind))]);
    }
}

#[test]
fn payloads_with_bytes_missing_left_over_or_spelt_otherwise_are_refused() {
    for message in longest() {
        let mut payload = [0; BODY_MAX];
        let n = theirs_of(&message, &mut payload);
        let kind = message.kind();
        let refused = |payload: &[u8]| {
            let got = read(&wrap(VERSION, kind as u8, payload));
            assert_eq!(got, [Outcome::Refused(Refused::Payload(kind))]);
        };
        (0..n).for_each(|end| refused(&payload[..end]));
        refused(&payload[..n + 1]);
    }
    // A varint with needless bytes, a flag that is neither, a variant there is not.
    for (kind, payload) in [
        (Kind::Commit, &[0x00, 0x81, 0x00, 0x05][..]),
        (Kind::Query, &[0x80, 0x00]),
        (Kind::Query, &[0x02]),
        (Kind::Phase, &[1, 1, 9, 0, 0, 0, 0, 0]),
        (Kind::Lap, &[1, 0, 0, 2, 0]),
        (Kind::Mark, &[0, 0, 0, 1, 0xFF]),
    ] {
        let got = read(&wrap(VERSION, kind as u8, payload));
        assert_eq!(got, [Outcome::Refused(Refused::Payload(kind))], "{kind:?}");
    }
}

#[test]
fn absurd_values_are_refused_by_field_on_both_sides() {
    let sample = Sample::default();
    let nan = f32::NAN;
    for (bad, field) in [
        (
            Sample {
                speed_mps: Some(nan),
                ..sample
            },
            "speed_mps",
        ),
        (
            Sample {
                speed_mps: Some(-0.1),
                ..sample
            },
            "speed_mps",
        ),
        (
            Sample {
                speed_mps: Some(201.0),
                ..sample
            },
            "speed_mps",
        ),
        (
            Sample {
                direction_rad: Some(f32::INFINITY),
                ..sample
            },
            "direction_rad",
        ),
        (
            Sample {
                position_sd_m: Some(-1.0),
                ..sample
            },
            "position_sd_m",
        ),
        (
            Sample {
                speed_sd_mps: Some(nan),
                ..sample
            },
            "speed_sd_mps",
        ),
        (
            Sample {
                long_acc_mps2: Some(nan),
                ..sample
            },
            "long_acc_mps2",
        ),
        (
            Sample {
                lat_acc_mps2: Some(1e9),
                ..sample
            },
            "lat_acc_mps2",
        ),
        (
            Sample {
                yaw_rate_rps: Some(nan),
                ..sample
            },
            "yaw_rate_rps",
        ),
        (
            Sample {
                brake: Some(1.01),
                ..sample
            },
            "brake",
        ),
        (
            Sample {
                throttle: Some(nan),
                ..sample
            },
            "throttle",
        ),
        (
            Sample {
                steer: Some(nan),
                ..sample
            },
            "steer",
        ),
        (
            Sample {
                time_us: u64::MAX,
                ..sample
            },
            "time_us",
        ),
        (
            Sample {
                position: Some(Position::Geodetic {
                    lat_e7: 900_000_001,
                    lon_e7: 0,
                }),
                ..sample
            },
            "lat_e7",
        ),
        (
            Sample {
                position: Some(Position::Local {
                    east_mm: 0,
                    north_mm: i64::MIN,
                }),
                ..sample
            },
            "north_mm",
        ),
    ] {
        let message = Message::Sample(bad);
        let mut out = [0; FRAME_MAX];
        assert_eq!(encode(&message, &mut out), Err(EncodeFault::Value(field)));
        let n = frame::encode_unchecked(&message, &mut out).unwrap();
        assert_eq!(
            read(&out[..n]),
            [Outcome::Refused(Refused::Value(Kind::Sample, field))]
        );
    }
}

#[test]
fn a_frame_longer_than_the_reader_is_dropped_whole_and_the_next_one_read() {
    let mut reader = FrameReader::<64>::new();
    let long = frame(&longest()[2]);
    let short = frame(&Message::Query(Query::Status));
    let mut got = Vec::new();
    for byte in long.iter().chain(&[7; 5000]).chain(&short) {
        match reader.feed(*byte) {
            Outcome::Nothing => {}
            other => got.push(other),
        }
    }
    assert_eq!(
        got,
        [
            Outcome::Refused(Refused::Overlong),
            Outcome::Refused(Refused::Overlong),
            Outcome::Message(Message::Query(Query::Status)),
        ]
    );
    assert_eq!(reader.accepted(), 1);
    assert_eq!(reader.refused()[Refused::Overlong.index()], 2);
}

#[test]
fn an_output_too_small_is_said() {
    for message in longest() {
        let n = frame(&message).len();
        let mut out = std::vec![0; n];
        assert_eq!(encode(&message, &mut out), Ok(n));
        for short in 0..n {
            let result = encode(&message, &mut out[..short]);
            assert_eq!(result, Err(EncodeFault::TooSmall));
        }
    }
}

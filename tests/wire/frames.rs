//! Frames out and back in: every kind, other versions, other spellings, absurd values.

use crate::messages::{frame, longest, payload, read, typical, wrap};
use cuepost_engine::wire::*;
use cuepost_engine::{Position, Sample};

#[test]
fn every_kind_goes_out_fits_and_comes_back() {
    let all = [typical(), longest()];
    let kinds = all.iter().flat_map(|_| Kind::ALL);
    assert!(all.iter().all(|list| list.len() == Kind::ALL.len()));
    for (message, kind) in all.iter().flatten().zip(kinds) {
        assert_eq!(message.kind(), *kind);
        assert_eq!(Kind::from_byte(*kind as u8), Some(*kind));
        let bytes = frame(message);
        let zeros = bytes.iter().filter(|b| **b == 0).count();
        assert_eq!((zeros, bytes[0], bytes[bytes.len() - 1]), (2, 0, 0));
        // The same frame around the same payload, made with another COBS.
        assert_eq!(bytes, wrap(VERSION, *kind as u8, &payload(&bytes)));
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
        let whole = payload(&frame(&message));
        let kind = message.kind();
        let refused = |payload: &[u8]| {
            let got = read(&wrap(VERSION, kind as u8, payload));
            assert_eq!(got, [Outcome::Refused(Refused::Payload(kind))]);
        };
        (0..whole.len()).for_each(|end| refused(&whole[..end]));
        refused(&[&whole[..], &[0]].concat());
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
fn an_output_too_small_is_said() {
    for message in longest() {
        let n = frame(&message).len();
        let mut out = vec![0; n];
        assert_eq!(encode(&message, &mut out), Ok(n));
        for short in 0..n {
            let result = encode(&message, &mut out[..short]);
            assert_eq!(result, Err(EncodeFault::TooSmall));
        }
    }
}

#[test]
fn text_that_would_move_a_cursor_is_not_sent_and_not_read() {
    let mark = Message::Mark(Mark {
        text: "\u{1b}[2J".try_into().unwrap(),
        ..Mark::default()
    });
    let mut out = [0; FRAME_MAX];
    assert_eq!(encode(&mark, &mut out), Err(EncodeFault::Value("text")));
    let n = frame::encode_unchecked(&mark, &mut out).unwrap();
    let refused = Refused::Value(Kind::Mark, "text");
    assert_eq!(read(&out[..n]), [Outcome::Refused(refused)]);
}

//! What only this folder can see. Everything else about frames is tested from outside, in the
//! repository's `tests/wire`.

use super::*;
use crate::sample::{Position, Sample};
use std::vec::Vec;

/// What the `postcard` crate writes is the definition.
#[test]
fn payloads_are_what_postcard_writes() {
    fn check<T: serde::Serialize>(value: &T) {
        let (mut ours, mut theirs) = ([0; 512], [0; 512]);
        let mut sink = put::Sink::Slice(&mut ours, 0);
        sink.put(value).unwrap();
        let n = sink.len();
        let theirs = postcard::to_slice(value, &mut theirs).unwrap();
        assert_eq!(&ours[..n], theirs);
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

#[test]
fn a_frame_longer_than_the_reader_is_dropped_whole_and_the_next_one_read() {
    let mut reader = FrameReader::<64>::new();
    let frame = |message: &Message| {
        let mut out = [0; FRAME_MAX];
        let n = encode(message, &mut out).unwrap();
        out[..n].to_vec()
    };
    let long = frame(&Message::Piece(Piece {
        object: Object::Reference,
        crc: 1,
        offset: 0,
        data: heapless::Vec::from_slice(&[0xA5; PIECE_MAX]).unwrap(),
    }));
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

/// The longest of every kind that is sent to a board fits its reader, and no other kind is read.
#[test]
fn a_board_reads_what_is_sent_to_boards() {
    let far = Some(f32::MAX);
    let sample = Sample {
        time_us: u64::MAX,
        position: Some(Position::Local {
            east_mm: i64::MIN,
            north_mm: i64::MIN,
        }),
        speed_mps: far,
        direction_rad: far,
        position_sd_m: far,
        speed_sd_mps: far,
        long_acc_mps2: far,
        lat_acc_mps2: far,
        yaw_rate_rps: far,
        brake: far,
        throttle: far,
        steer: far,
        gear: Some(i8::MIN),
    };
    let (object, crc) = (Object::Config, u32::MAX);
    let mut entries = heapless::Vec::new();
    while entries.push((entries.len() as u8, u32::MAX)).is_ok() {}
    let longest = [
        Message::Sample(sample),
        Message::Begin(Begin {
            object,
            crc,
            total: u32::MAX,
        }),
        Message::Piece(Piece {
            object,
            crc,
            offset: u32::MAX,
            data: heapless::Vec::from_slice(&[0xA5; PIECE_MAX]).unwrap(),
        }),
        Message::Commit(Commit {
            object,
            crc,
            total: u32::MAX,
        }),
        Message::Settings(Settings { entries }),
        Message::Query(Query::Settings),
    ];
    let kinds = Kind::ALL.iter().filter(|kind| kind.to_board());
    assert!(kinds.copied().eq(longest.iter().map(Message::kind)));
    let mark = Message::Mark(Mark::default());
    let mut reader = FrameReader::<BODY_TO_BOARD_MAX, true>::new();
    for message in longest.iter().chain([&mark]) {
        // Some of these values are out of range: then that is why they are refused.
        let mut room = [0; FRAME_MAX];
        let size = frame::encode_unchecked(message, &mut room).unwrap();
        let read = room[..size].iter().map(|byte| reader.feed(*byte));
        match read.last().unwrap() {
            Outcome::Message(read) => assert_eq!(&read, message),
            Outcome::Refused(Refused::Value(kind, _)) => assert_eq!(kind, message.kind()),
            Outcome::Refused(Refused::Kind(kind)) => assert_eq!(kind, mark.kind() as u8),
            other => panic!("{:?}: {other:?}", message.kind()),
        }
    }
}

//! What only this folder can see. Everything else about frames is tested from outside, in the
//! repository's `tests/wire`.

use super::*;
use crate::sample::Position;
use std::vec::Vec;

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

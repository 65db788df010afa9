//! Framing: COBS, CRC-32 and the postcard format against published vectors.

use cuepost_engine::wire::cobs::{Decoder, Full, stuff};
use cuepost_engine::wire::frame::crc32;
use cuepost_engine::wire::{FRAME_MAX, Message, encode};
use cuepost_engine::{PaceEvent, Position, Sample};

fn stuffed(data: &[u8]) -> Vec<u8> {
    let mut out = vec![0; data.len() + data.len() / 254 + 2];
    out[1..=data.len()].copy_from_slice(data);
    let n = stuff(&mut out, data.len()).unwrap();
    out.truncate(n);
    // Not a byte more than it takes is needed.
    let mut exact = [&[0], data, &vec![0; n - 1 - data.len()]].concat();
    assert_eq!(stuff(&mut exact, data.len()), Ok(n));
    assert_eq!(exact, out);
    exact[1..=data.len()].copy_from_slice(data);
    assert_eq!(stuff(&mut exact[..n - 1], data.len()), Err(Full));
    out
}

fn unstuffed(data: &[u8]) -> Vec<u8> {
    let mut decoder = Decoder::default();
    let out = data.iter().filter_map(|b| decoder.push(*b)).collect();
    assert!(decoder.complete());
    out
}

fn run(from: u8, to: u8) -> Vec<u8> {
    (from..=to).collect()
}

/// Method: Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on
/// Networking 7(2), 1999. Vectors from memory, and the same from PyPI `cobs` 1.2.2 and the crate
/// `cobs` 0.3.
#[test]
fn cobs_vectors() {
    let vectors: [(Vec<u8>, Vec<u8>); 12] = [
        (vec![], vec![1]),
        (vec![0], vec![1, 1]),
        (vec![0, 0], vec![1, 1, 1]),
        (vec![0, 0x11, 0], vec![1, 2, 0x11, 1]),
        (vec![0x11, 0x22, 0, 0x33], vec![3, 0x11, 0x22, 2, 0x33]),
        (
            vec![0x11, 0x22, 0x33, 0x44],
            vec![5, 0x11, 0x22, 0x33, 0x44],
        ),
        (vec![0x11, 0, 0, 0], vec![2, 0x11, 1, 1, 1]),
        (run(1, 254), [vec![0xFF], run(1, 254)].concat()),
        (run(0, 254), [vec![1, 0xFF], run(1, 254)].concat()),
        (
            run(1, 255),
            [vec![0xFF], run(1, 254), vec![2, 255]].concat(),
        ),
        (
            [run(2, 255), vec![0]].concat(),
            [vec![0xFF], run(2, 255), vec![1, 1]].concat(),
        ),
        (
            [run(3, 255), vec![0, 1]].concat(),
            [vec![0xFE], run(3, 255), vec![2, 1]].concat(),
        ),
    ];
    for (plain, coded) in vectors {
        assert_eq!(stuffed(&plain), coded);
        assert_eq!(unstuffed(&coded), plain);
        assert_eq!(cobs::encode_vec(&plain), coded);
    }
}

/// At most one byte for every 254 (documentation of the crate `cobs2`, docs.rs/cobs2).
#[test]
fn cobs_overhead() {
    for (n, more) in [(1, 1), (254, 1), (255, 2), (508, 2), (509, 3)] {
        assert_eq!(stuffed(&vec![1; n]).len(), n + more);
    }
}

/// Check value of CRC-32/ISO-HDLC in the CRC RevEng catalogue (reveng.sourceforge.io/crc-catalogue;
/// value from memory, recomputed bit by bit). The other 32-bit ones of the catalogue give 0xE3069283
/// (ISCSI) and 0x0376E6E7 (MPEG-2).
#[test]
fn crc_catalogue() {
    assert_eq!(crc32(b"123456789"), 0xCBF4_3926);
    // "CRC-32" bit by bit from the catalogue's parameters: 0x04C11DB7 reflected, all ones in and out.
    let bitwise = |data: &[u8]| {
        !data.iter().fold(u32::MAX, |crc, byte| {
            (0..8).fold(crc ^ u32::from(*byte), |c, _| {
                (c >> 1) ^ (0xEDB8_8320 * (c & 1))
            })
        })
    };
    let all = run(0, 255);
    assert_eq!(bitwise(b"123456789"), 0xCBF4_3926);
    assert_eq!(crc32(&all), bitwise(&all));
}

/// The payload of a pace message begins with its lap, a u16.
fn lap_bytes(lap: u16) -> Vec<u8> {
    let pace = PaceEvent {
        lap,
        ratio: 1.0,
        time_us: 0,
    };
    let payload = payload(&Message::Pace(pace));
    payload[..payload.len() - 5].to_vec()
}

fn payload(message: &Message) -> Vec<u8> {
    let mut out = [0; FRAME_MAX];
    let n = encode(message, &mut out).unwrap();
    let body = unstuffed(&out[1..n - 1]);
    body[2..body.len() - 4].to_vec()
}

/// Rows of the postcard wire format (github.com/jamesmunns/postcard, `spec/src/wire-format.md` at
/// 5a5276c5). The row for the i16 32767 reads `FF FF 02` there, which is an erratum: zigzag gives
/// 65534, and the crate writes `FE FF 03`.
#[test]
fn postcard_rows() {
    let rows: [(u16, &[u8]); 7] = [
        (0, &[0]),
        (127, &[0x7F]),
        (128, &[0x80, 1]),
        (16_383, &[0xFF, 0x7F]),
        (16_384, &[0x80, 0x80, 1]),
        (16_385, &[0x81, 0x80, 1]),
        (65_535, &[0xFF, 0xFF, 3]),
    ];
    for (value, bytes) in rows {
        assert_eq!(lap_bytes(value), bytes);
        assert_eq!(postcard::to_stdvec(&value).unwrap(), bytes);
    }
    let rows: [(i16, &[u8]); 9] = [
        (0, &[0]),
        (-1, &[1]),
        (1, &[2]),
        (63, &[0x7E]),
        (-64, &[0x7F]),
        (64, &[0x80, 1]),
        (-65, &[0x81, 1]),
        (32_767, &[0xFE, 0xFF, 3]),
        (-32_768, &[0xFF, 0xFF, 3]),
    ];
    for (value, bytes) in rows {
        assert_eq!(postcard::to_stdvec(&value).unwrap(), bytes);
        let sample = Sample {
            position: Some(Position::Geodetic {
                lat_e7: value.into(),
                lon_e7: 0,
            }),
            ..Sample::default()
        };
        // Time 0, a position, in degrees, then the latitude: the wider type has the same bytes.
        let payload = payload(&Message::Sample(sample));
        assert_eq!(payload[..3], [0, 1, 0]);
        assert_eq!(payload[3..3 + bytes.len()], *bytes);
    }
    let speed = Sample {
        steer: Some(-32.005_859_375_f64 as f32),
        ..Sample::default()
    };
    let bytes = payload(&Message::Sample(speed));
    let steer = bytes.len() - 6;
    assert_eq!(bytes[steer..], [1, 0x00, 0x06, 0x00, 0xC2, 0]);
    // A struct is its fields: 300, -2, true, none, 1.0.
    let fields = (300u16, -2i16, true, None::<u8>, 1.0f32);
    assert_eq!(
        postcard::to_stdvec(&fields).unwrap(),
        [0xAC, 2, 3, 1, 0, 0, 0, 0x80, 0x3F]
    );
    let stuffing = [5, 0xAC, 2, 3, 1, 1, 1, 3, 0x80, 0x3F];
    assert_eq!(stuffed(&postcard::to_stdvec(&fields).unwrap()), stuffing);
}

/// The spec allows a varint needless bytes and the crate reads some of them (`80 80 00` is 0); a
/// frame with one is refused here, so that a message has one spelling only.
#[test]
fn needless_bytes_of_a_varint() {
    assert_eq!(postcard::from_bytes::<u16>(&[0x80, 0x80, 0]), Ok(0));
    assert!(postcard::from_bytes::<u16>(&[0x80, 0x80, 0x80, 0]).is_err());
    assert!(postcard::from_bytes::<u16>(&[0xFF, 0xFF, 7]).is_err());
    let pace = PaceEvent {
        lap: 0,
        ratio: 1.0,
        time_us: 0,
    };
    let mut body = vec![cuepost_engine::wire::VERSION, 0x46];
    body.extend(payload(&Message::Pace(pace)));
    let read = |body: &[u8]| {
        let framed = [body, &crc32(body).to_le_bytes()].concat();
        cuepost_engine::wire::frame::decode_body(&framed)
    };
    assert_eq!(read(&body), Ok(Message::Pace(pace)));
    body.splice(2..3, [0x80, 0x80, 0]);
    assert_eq!(
        read(&body),
        Err(cuepost_engine::wire::Refused::Payload(
            cuepost_engine::wire::Kind::Pace
        ))
    );
}

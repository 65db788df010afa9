//! Bytes of any kind: no panic, bounded output, the same for any division of the stream.

use cuepost_engine::Sample;
use cuepost_engine::receiver::{Counts, Receiver};
use cuepost_host::source::{self, Kind, Options, Stream};
use proptest::collection::vec;
use proptest::prelude::*;

/// Whole messages, to be damaged.
const GOOD: [&[u8]; 6] = [
    b"$GNRMC,130000.00,A,4537.23193,N,00917.28461,E,140.430,88.98,140625,,,A*4C\r\n",
    b"$GNVTG,88.98,T,,M,140.430,N,260.076,K,A*15\r\n",
    b"$GNGGA,130000.00,4537.23193,N,00917.28461,E,1,14,0.75,398.4,M,47.5,M,,*4E\r\n",
    b"$GNRMC,130000.04,A,4537.23200,N,00917.28684,E,140.493,89.07,140625,,,A*46\r\n",
    b"\xb5\x62\x01\x07\x5c\x00",
    b"time_s;speed_kmh;lat_deg;lon_deg\n0,5;12,5;45,5;9,5\n",
];

/// Noise, pieces of messages and whole ones, one after another.
fn stream() -> impl Strategy<Value = Vec<u8>> {
    let piece = prop_oneof![
        vec(any::<u8>(), 0..60),
        vec(
            prop_oneof![
                Just(b'$'),
                Just(b'*'),
                Just(b','),
                Just(0xb5),
                Just(0x62),
                0u8..128
            ],
            0..60
        ),
        (0..GOOD.len(), 0..120usize, any::<(u8, u8)>()).prop_map(|(at, cut, (place, bit))| {
            let mut bytes = GOOD[at].to_vec();
            // One in four is whole.
            if place >= 64 {
                let place = usize::from(place) % bytes.len();
                bytes[place] ^= 1 << (bit % 8);
                bytes.truncate(cut);
            }
            bytes
        }),
    ];
    vec(piece, 0..30).prop_map(|pieces| pieces.concat())
}

fn receive(bytes: &[u8], pieces: &[usize]) -> (Vec<Sample>, Counts) {
    let mut receiver = Receiver::default();
    let mut samples = Vec::new();
    let mut rest = bytes;
    let mut pieces = pieces.iter().cycle();
    while !rest.is_empty() {
        let piece = (*pieces.next().unwrap_or(&1)).clamp(1, rest.len());
        let (head, tail) = rest.split_at(piece);
        match head {
            [byte] => receiver.push(*byte, |sample| samples.push(sample)),
            _ => receiver.push_slice(head, |sample| samples.push(sample)),
        }
        rest = tail;
    }
    receiver.finish(|sample| samples.push(sample));
    (samples, *receiver.counts())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_000))]

    #[test]
    fn a_receiver_gives_the_same_however_the_stream_is_divided(
        bytes in stream(),
        pieces in vec(1..200usize, 1..8),
    ) {
        let whole = receive(&bytes, &[bytes.len()]);
        prop_assert_eq!(&receive(&bytes, &[1]), &whole);
        prop_assert_eq!(&receive(&bytes, &pieces), &whole);
        let (samples, counts) = whole;
        prop_assert!(samples.windows(2).all(|pair| pair[0].time_us < pair[1].time_us));
        prop_assert!(samples.len() <= bytes.len() / 20 + 1);
        prop_assert_eq!(counts.samples as usize, samples.len());
    }

}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn any_file_is_read_or_refused(bytes in stream()) {
        let cursor = std::io::Cursor::new(bytes);
        if let Ok(recording) = source::read(cursor, &Options::default()) {
            let items: Vec<_> = recording.collect();
            let errors = items.iter().filter(|item| item.is_err()).count();
            prop_assert!(errors <= 1);
            prop_assert!(errors == 0 || items.last().is_some_and(Result::is_err));
        }
    }

    #[test]
    fn any_stream_of_any_kind(bytes in stream(), piece in 1..100usize, kind in 0..5usize) {
        let kinds = [None, Some(Kind::Csv), Some(Kind::Mixed), Some(Kind::WireRecording), None];
        let mut stream = Stream::new(Options { kind: kinds[kind], ..Options::default() });
        for piece in bytes.chunks(piece) {
            if stream.push(piece, |_| {}).is_err() {
                break;
            }
        }
        let _ = stream.finish(|_| {});
        prop_assert!(stream.report().is_none_or(|report| report.bytes <= bytes.len() as u64));
    }

    #[test]
    fn any_table(
        rows in vec(vec("[-+0-9.,;:eE\" nainf#%]{0,12}", 0..7), 0..20),
        separator in prop_oneof![Just(","), Just(";"), Just("\t")],
    ) {
        let mut table = ["t_s", "x_m", "y_m", "speed_mps", "brake", "course_rad"].join(separator);
        for row in rows {
            table.push('\n');
            table.push_str(&row.join(separator));
        }
        if let Ok(recording) = source::read(std::io::Cursor::new(table), &Options::default()) {
            for sample in recording.flatten() {
                prop_assert!(sample.speed_mps.is_none_or(|v| v.is_finite() && v >= 0.0));
                prop_assert!(sample.brake.is_none_or(|b| (0.0..=1.0).contains(&b)));
            }
        }
    }
}

//! Files to their end, streams of every kind, and our own recordings.

use crate::{data, open, read_all};
use cuepost_engine::Sample;
use cuepost_engine::reference::SourceKind;
use cuepost_engine::wire::{FRAME_MAX, Header, Message, encode};
use cuepost_host::source::{self, Fault, Kind, Options, Stream};
use std::io::Cursor;

fn push_all(bytes: &[u8], piece: usize) -> (Vec<Sample>, Stream) {
    let mut stream = Stream::new(Options::default());
    let mut samples = Vec::new();
    for piece in bytes.chunks(piece) {
        stream
            .push(piece, |sample| samples.push(sample))
            .expect("a stream");
    }
    stream
        .finish(|sample| samples.push(sample))
        .expect("an end");
    (samples, stream)
}

#[test]
fn a_stream_gives_what_the_file_gives() {
    for (name, kind) in [
        ("gnss/s1_good25.nmea", Kind::Nmea),
        ("gnss/s1_good25.ubx", Kind::Ubx),
        ("gnss/s2_faulty25.mixed", Kind::Mixed),
        ("receivers/ublox-zed-f9r.log", Kind::Mixed),
    ] {
        let (samples, report, error) = open(name, &[]);
        assert!(error.is_none());
        assert_eq!(report.kind, kind, "{name}");
        let bytes = std::fs::read(data(name)).unwrap();
        for piece in [1, 37, 4096] {
            let (pushed, stream) = push_all(&bytes, piece);
            assert_eq!(pushed, samples, "{name} in pieces of {piece}");
            assert_eq!(stream.source_kind(), SourceKind::Receiver);
        }
    }
}

#[test]
fn a_log_cut_within_a_sentence_says_so_after_what_was_read() {
    let bytes = std::fs::read(data("gnss/s1_good25.nmea")).unwrap();
    let cut = &bytes[..194 * 100 + 40];
    let mut recording = source::read(Cursor::new(cut.to_vec()), &Options::default()).unwrap();
    let items: Vec<_> = recording.by_ref().collect();
    assert_eq!(items.len(), 101);
    let error = items.into_iter().next_back().unwrap().unwrap_err();
    assert!(matches!(error.fault, Fault::Cut));
    assert_eq!(
        error.to_string(),
        "line 301 (byte 19440): cut off here; everything before was read"
    );
}

#[test]
fn refusals_of_a_log_name_line_and_byte() {
    let (_, report, _) = open("gnss/s2_faulty25.nmea", &[]);
    let first = &report.refused[0];
    assert_eq!(first.reason, "wrong or missing checksum");
    let (line, byte) = (first.first.line.unwrap(), first.first.byte.unwrap());
    let bytes = std::fs::read(data("gnss/s2_faulty25.nmea")).unwrap();
    let before = bytes[..byte as usize]
        .iter()
        .filter(|b| **b == b'\n')
        .count();
    assert_eq!(line as usize, before + 1);
    assert_eq!(bytes[byte as usize], b'$');
}

#[test]
fn a_receiver_without_anything_to_use_is_told_what_to_send() {
    let bytes =
        b"$GPGSV,3,1,11,03,03,111,00,04,15,270,00,06,01,010,00,13,06,292,00*74\r\n".repeat(5);
    let recording = source::read(Cursor::new(bytes), &Options::default()).unwrap();
    let items: Vec<_> = recording.collect();
    let words = items[0].as_ref().unwrap_err().to_string();
    assert!(
        words.contains("let the receiver send RMC or NAV-PVT"),
        "{words}"
    );
}

/// A recording of our own: a header, samples, a mark.
fn recorded(samples: &[Sample]) -> Vec<u8> {
    let header = Header {
        source: SourceKind::Simulator,
        ..Header::default()
    };
    let mut bytes = Vec::new();
    let mut put = |message: &Message| {
        let mut frame = [0; FRAME_MAX];
        let length = encode(message, &mut frame).expect("a frame");
        bytes.extend_from_slice(&frame[..length]);
    };
    put(&Message::Header(header));
    for sample in samples {
        put(&Message::Sample(*sample));
    }
    bytes
}

#[test]
fn our_own_recordings_are_read_as_they_were_written() {
    let (samples, _, _) = open("gnss/s1_good25.ubx", &[]);
    let bytes = recorded(&samples);
    let mut recording = source::read(Cursor::new(bytes.clone()), &Options::default()).unwrap();
    let read: Vec<Sample> = recording.by_ref().map(Result::unwrap).collect();
    assert_eq!(read, samples);
    assert_eq!(recording.report().kind, Kind::WireRecording);
    assert_eq!(recording.source_kind(), SourceKind::Simulator);

    let cut = bytes[..bytes.len() - 5].to_vec();
    let recording = source::read(Cursor::new(cut), &Options::default()).unwrap();
    let items: Vec<_> = recording.collect();
    assert_eq!(items.len(), samples.len());
    assert!(matches!(
        items.last().unwrap(),
        Err(error) if matches!(error.fault, Fault::Cut)
    ));
}

#[test]
fn a_reference_given_for_a_recording_is_named() {
    let mut bytes = cuepost_engine::reference::MAGIC.to_vec();
    bytes.extend([0; 100]);
    let words = source::read(Cursor::new(bytes), &Options::default())
        .err()
        .unwrap();
    assert!(
        words.to_string().contains("give it with --reference"),
        "{words}"
    );
}

#[test]
fn errors_of_a_file_name_it() {
    let error = read_all(&data("faults/17_cobs_stream.bin"), &Options::default());
    let words = match error {
        Err(error) => error.to_string(),
        Ok((samples, ..)) => panic!("{} samples", samples.len()),
    };
    assert!(words.contains("17_cobs_stream.bin: "), "{words}");
}

//! Bytes to samples: NMEA, UBX, wire frames and tables, and two well-known crates on the same
//! bytes. Bytes a second, and elements a second, an element being an epoch.
//!
//! `cargo bench -p cuepost-host --bench decode`

mod common;
#[path = "common/processor.rs"]
mod processor;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use cuepost_engine::Sample;
use cuepost_engine::receiver::Receiver;
use cuepost_engine::wire::{BODY_MAX, FrameReader, Message, Outcome};
use cuepost_host::source::{Kind, Options, Stream, read};
use processor::{Processor, criterion};
use std::hint::black_box;

fn received(bytes: &[u8]) -> u64 {
    let (mut count, mut sum) = (0, 0);
    let mut receiver = Receiver::default();
    let mut take = |sample: Sample| {
        count += 1;
        sum ^= sample.time_us;
    };
    for piece in bytes.chunks(4096) {
        receiver.push_slice(piece, &mut take);
    }
    receiver.finish(&mut take);
    black_box(sum);
    count
}

fn framed(bytes: &[u8]) -> u64 {
    let mut reader = FrameReader::<BODY_MAX>::new();
    let mut count = 0;
    for byte in bytes {
        if let Outcome::Message(Message::Sample(sample)) = reader.feed(*byte) {
            black_box(sample.time_us);
            count += 1;
        }
    }
    count
}

fn table(bytes: &[u8]) -> u64 {
    let mut stream = Stream::of_kind(Kind::Csv, Vec::new());
    let mut count = 0;
    for piece in bytes.chunks(65_536) {
        stream.push(piece, |_| count += 1).expect("a whole table");
    }
    stream.finish(|_| count += 1).expect("a whole table");
    count
}

/// As a recording is opened: its kind found, its clock surveyed.
fn opened(bytes: &[u8]) -> u64 {
    let recording = read(
        Box::new(std::io::Cursor::new(bytes.to_vec())),
        &Options::default(),
    );
    recording
        .expect("a recording")
        .filter(Result::is_ok)
        .count() as u64
}

/// The `nmea` crate, line by line.
fn nmea_crate(bytes: &[u8]) -> u64 {
    let text = str::from_utf8(bytes).expect("ASCII");
    let mut count = 0;
    for line in text.lines() {
        if let Ok(nmea::ParseResult::RMC(rmc)) = nmea::parse_str(line) {
            black_box(rmc.lat);
            count += 1;
        }
    }
    count
}

/// The `ublox` crate, over the same pieces.
fn ublox_crate(bytes: &[u8]) -> u64 {
    use ublox::{UbxPacket, proto23::PacketRef};
    let mut parser = ublox::ParserBuilder::new()
        .with_protocol::<ublox::proto23::Proto23>()
        .with_fixed_buffer::<256>();
    let mut count = 0;
    for piece in bytes.chunks(4096) {
        let mut packets = parser.consume_ubx(piece);
        while let Some(packet) = packets.next() {
            if let Ok(UbxPacket::Proto23(PacketRef::NavPvt(pvt))) = packet {
                black_box(pvt.latitude());
                count += 1;
            }
        }
    }
    count
}

fn benches(criterion: &mut Criterion<Processor>) {
    let samples = common::usual(20).samples;
    let (nmea, ubx) = (common::nmea(&samples), common::ubx(&samples));
    let (wire, csv) = (common::wire(&samples), common::csv(&samples));
    type Read = fn(&[u8]) -> u64;
    let ways: [(&str, &[u8], Read); 7] = [
        ("nmea, ours", &nmea, received),
        ("nmea, crate nmea", &nmea, nmea_crate),
        ("ubx, ours", &ubx, received),
        ("ubx, crate ublox", &ubx, ublox_crate),
        ("wire", &wire, framed),
        ("csv", &csv, table),
        ("csv, as a recording", &csv, opened),
    ];
    for (name, bytes, read) in ways {
        assert_eq!(read(bytes), samples.len() as u64, "{name}");
        let mut group = criterion.benchmark_group("decode");
        group.throughput(Throughput::ElementsAndBytes {
            elements: samples.len() as u64,
            bytes: bytes.len() as u64,
        });
        group.bench_with_input(BenchmarkId::from_parameter(name), bytes, |b, bytes| {
            b.iter(|| read(black_box(bytes)));
        });
        group.finish();
    }
}

criterion_group!(name = all; config = criterion(); targets = benches);
criterion_main!(all);

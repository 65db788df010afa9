mod bench;
mod tell;
mod transfer;

use crate::port::NoPort;
use crate::settings::{Key, Settings};
use bench::{Bench, frame};
use cuepost_engine::wire::{self, Ack, Answer, Message, Query, REFUSALS, Refuse, Refused, Status};
use cuepost_engine::{HealthState, Position, Sample, Why};
use std::vec;
use std::vec::Vec;

const STATUS: Message = Message::Query(Query::Status);

fn status(bench: &mut Bench) -> Status {
    match bench.ask(&STATUS).as_slice() {
        [Message::Status(status)] => *status,
        other => panic!("{other:?}"),
    }
}

/// A sample on the ring of radius 200 m, at 30 m/s.
fn sample(n: u32) -> Message {
    let time_s = f64::from(n) / 25.0;
    let angle = 30.0 * time_s / 200.0;
    Message::Sample(Sample {
        time_us: u64::from(n) * 40_000,
        position: Some(Position::Local {
            east_mm: (200e3 * angle.cos()) as i64,
            north_mm: (200e3 * angle.sin()) as i64,
        }),
        speed_mps: Some(30.0),
        ..Sample::default()
    })
}

fn set(key: Key, value: u32) -> Message {
    let mut changes = wire::Settings::default();
    changes.entries.push((key as u8, value)).unwrap();
    Message::Settings(changes)
}

/// The same numbers every time.
fn noise(seed: u32, len: usize) -> Vec<u8> {
    let mut state = seed;
    let mut bytes = vec![];
    for _ in 0..len {
        state ^= state << 13;
        state ^= state >> 17;
        state ^= state << 5;
        bytes.push(state as u8);
    }
    bytes
}

#[test]
fn a_new_board_says_so() {
    let status = status(&mut Bench::new());
    assert_eq!((status.reference, status.config), (None, None));
    assert_eq!(
        (status.health, status.why),
        (HealthState::Lost, Why::Searching)
    );
    assert_eq!(status.transfer, None);
}

#[test]
fn settings_are_set_told_and_kept() {
    let mut bench = Bench::new();
    assert_eq!(bench.answer(&set(Key::Sounder, 1)), Answer::Done);
    assert_eq!(bench.answer(&set(Key::StripBrightness, 200)), Answer::Done);
    let refused = Answer::Refused {
        why: Refuse::Setting,
        expected: Key::Lamp as u32,
        got: 7,
    };
    assert_eq!(bench.answer(&set(Key::Lamp, 7)), refused);
    let expected = Settings {
        sounder: true,
        strip_brightness: 200,
        ..Settings::default()
    };
    let mut bench = bench.again();
    let told = bench.ask(&Message::Query(Query::Settings));
    assert_eq!(told, [Message::Settings(expected.to_message())]);
}

#[test]
fn another_version_is_named_and_the_next_frame_read() {
    let mut bench = Bench::new();
    // A whole frame of version 9: version, kind, payload, checksum, framed.
    let mut body = vec![9, 6, 0];
    body.extend(wire::frame::crc32(&body).to_le_bytes());
    let mut framed = [0; 64];
    framed[2..2 + body.len()].copy_from_slice(&body);
    let len = wire::cobs::stuff(&mut framed[1..], body.len()).unwrap();
    bench.computer.send(&framed[..len + 2]);
    let told = bench.ask(&STATUS);
    let refused = Ack {
        kind: 0,
        answer: Answer::Refused {
            why: Refuse::Version,
            expected: u32::from(wire::VERSION),
            got: 9,
        },
    };
    assert_eq!(told[0], Message::Ack(refused));
    let Message::Status(status) = told[1] else {
        panic!("{told:?}");
    };
    assert_eq!(status.counts.frames_refused[Refused::Version(9).index()], 1);
}

#[test]
fn what_only_boards_say_is_refused() {
    let mut bench = Bench::new();
    let health = Message::Status(Status::default());
    let refused = Answer::Refused {
        why: Refuse::Kind,
        expected: 0,
        got: health.kind() as u32,
    };
    assert_eq!(bench.answer(&health), refused);
}

#[test]
fn garbage_on_every_port_is_counted_and_the_board_goes_on() {
    let mut bench = Bench::new();
    for seed in 1..40 {
        bench.receiver.send(&noise(seed, 700));
        bench.computer.send(&noise(seed + 1_000, 700));
        // A zero ends what the noise began.
        bench.computer.send(&[0]);
        bench.run();
        bench.heard();
        let counts = status(&mut bench).counts;
        assert_eq!(counts.frames, seed);
        assert!(counts.frames_refused.iter().sum::<u32>() >= seed);
    }
}

#[test]
fn every_cut_and_every_flipped_bit_of_a_frame_costs_that_frame_only() {
    let whole = frame(&set(Key::Sounder, 1));
    let mut spoilt: Vec<Vec<u8>> = (2..whole.len() - 1)
        .map(|cut| whole[..cut].to_vec())
        .collect();
    for at in 1..whole.len() - 1 {
        for bit in 0..8 {
            let mut flipped = whole.clone();
            flipped[at] ^= 1 << bit;
            spoilt.push(flipped);
        }
    }
    let mut bench = Bench::new();
    for bytes in &spoilt {
        bench.computer.send(bytes);
        let now = status(&mut bench);
        assert_eq!(now.reference, None);
    }
    let refused: u32 = status(&mut bench).counts.frames_refused.iter().sum();
    assert!(refused as usize >= spoilt.len());
    assert_eq!(bench.board.settings(), &Settings::default());
    assert_eq!(REFUSALS, status(&mut bench).counts.frames_refused.len());
}

#[test]
fn a_computer_that_does_not_read_loses_whole_messages_and_is_told_how_many() {
    let mut bench = Bench::new();
    bench.computer.set_credit(0);
    let mut asked = 0;
    while bench.board.status().counts.lost_out == 0 {
        bench.computer.send(&frame(&STATUS));
        bench.run();
        asked += 1;
    }
    bench.computer.set_credit(5);
    bench.run();
    bench.computer.set_credit(usize::MAX);
    bench.run();
    // Every frame that comes is whole: `heard` fails otherwise.
    assert_eq!(bench.heard().len(), asked - 1);
    let counts = status(&mut bench).counts;
    assert_eq!(counts.lost_out, 1);
    assert!(counts.fill_out > 500);
}

#[test]
fn flash_is_left_alone_while_the_car_is_driven() {
    let mut bench = Bench::new();
    assert_eq!(bench.answer(&set(Key::Source, 1)), Answer::Done);
    bench.ask(&sample(1));
    let busy = Answer::Refused {
        why: Refuse::Busy,
        expected: 0,
        got: 0,
    };
    assert_eq!(bench.answer(&set(Key::Lamp, 0)), busy);
    bench.now_us += 2_000_000;
    assert_eq!(bench.answer(&set(Key::Lamp, 0)), Answer::Done);
}

#[test]
fn samples_of_the_source_that_is_not_set_are_not_taken() {
    let mut bench = Bench::new();
    bench.ask(&sample(1));
    assert_eq!(status(&mut bench).why, Why::Searching);
    assert_eq!(bench.answer(&set(Key::Source, 1)), Answer::Done);
    bench.ask(&sample(2));
    bench.now_us += 1_500_000;
    let now = status(&mut bench);
    assert_eq!((now.health, now.why), (HealthState::Lost, Why::Gap));
    assert_eq!(bench.notes.state(), Some((HealthState::Lost, Why::Gap)));
}

/// A port that is not there takes what is written and never has anything.
#[test]
fn a_board_may_lack_ports() {
    let mut chunk = [0; super::CHUNK];
    assert!(super::taken(&mut NoPort, &mut chunk).is_empty());
}

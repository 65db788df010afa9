//! References and configurations over the wire: all or nothing.

use super::bench::{Bench, ring};
use super::{noise, sample, set, status};
use crate::settings::Key;
use crate::store::Part;
use cuepost_engine::file::id;
use cuepost_engine::wire::{Answer, Begin, Commit, Message, Object, PIECE_MAX, Piece, Refuse};
use cuepost_engine::{Config, HealthState};
use std::vec;
use std::vec::Vec;

fn begin(object: Object, file: &[u8], name: u32) -> Message {
    Message::Begin(Begin {
        object,
        total: file.len() as u32,
        crc: name,
    })
}

fn commit(object: Object, file: &[u8], name: u32) -> Message {
    Message::Commit(Commit {
        object,
        total: file.len() as u32,
        crc: name,
    })
}

fn piece(object: Object, name: u32, offset: usize, bytes: &[u8]) -> Message {
    Message::Piece(Piece {
        object,
        crc: name,
        offset: offset as u32,
        data: bytes.iter().copied().collect(),
    })
}

/// Sends a file under a name and returns the answer to the commit.
fn send(bench: &mut Bench, object: Object, file: &[u8], name: u32) -> Answer {
    let began = bench.answer(&begin(object, file, name));
    assert_eq!(began, Answer::Continue { offset: 0 });
    for (i, bytes) in file.chunks(PIECE_MAX).enumerate() {
        let taken = bench.answer(&piece(object, name, i * PIECE_MAX, bytes));
        let offset = (i * PIECE_MAX + bytes.len()) as u32;
        assert_eq!(taken, Answer::Continue { offset });
    }
    bench.answer(&commit(object, file, name))
}

fn send_whole(bench: &mut Bench, object: Object, file: &[u8]) -> Answer {
    send(bench, object, file, id(file).unwrap())
}

fn refused(answer: Answer) -> Refuse {
    match answer {
        Answer::Refused { why, .. } => why,
        other => panic!("{other:?}"),
    }
}

/// What the board has in use, in its flash and in its memory.
fn in_use(bench: &Bench) -> (Option<u32>, Vec<u8>, u64) {
    let kept = bench.board.inner.store.part(Part::Reference);
    let lap_time_us = bench.board.inner.rooms.reference.session.lap_time_us;
    (
        bench.board.inner.reference,
        kept.unwrap_or(&[]).to_vec(),
        lap_time_us,
    )
}

#[test]
fn a_reference_is_in_use_once_it_is_whole_and_outlives_the_power() {
    let (small, large) = (ring(100.0), ring(200.0));
    let mut bench = Bench::new();
    for file in [&small, &large, &small] {
        assert_eq!(
            send_whole(&mut bench, Object::Reference, file),
            Answer::Done
        );
        assert_eq!(status(&mut bench).reference, id(file));
        bench = bench.again();
        assert_eq!(status(&mut bench).reference, id(file));
        assert_eq!(in_use(&bench).1, *file);
    }
}

#[test]
fn a_reference_that_ends_at_any_byte_leaves_the_old_one() {
    let (old, new) = (ring(100.0), ring(150.0));
    let name = id(&new).unwrap();
    let mut bench = Bench::new();
    send_whole(&mut bench, Object::Reference, &old);
    let before = in_use(&bench);
    for cut in 0..new.len() {
        // The sender stops, and asks for the rest to be used all the same.
        bench.board.inner.store.abandon();
        bench.answer(&begin(Object::Reference, &new, name));
        for (i, bytes) in new[..cut].chunks(PIECE_MAX).enumerate() {
            bench.answer(&piece(Object::Reference, name, i * PIECE_MAX, bytes));
        }
        let answer = bench.answer(&commit(Object::Reference, &new, name));
        let expected = Answer::Refused {
            why: Refuse::Offset,
            expected: cut as u32,
            got: 0,
        };
        assert_eq!(answer, expected);
        assert_eq!(in_use(&bench), before, "cut at {cut}");
        // What was cut off on its way to the sender is sent as if it were whole.
        bench.board.inner.store.abandon();
        if cut > 0 {
            let name = id(&new[..cut]).unwrap_or(0);
            let answer = send(&mut bench, Object::Reference, &new[..cut], name);
            assert_eq!(refused(answer), Refuse::Whole, "cut at {cut}");
            assert_eq!(in_use(&bench), before, "cut at {cut}");
        }
    }
    let mut bench = bench.again();
    assert_eq!(in_use(&bench), before);
    assert_eq!(
        send_whole(&mut bench, Object::Reference, &new),
        Answer::Done
    );
}

#[test]
fn a_pulled_cable_goes_on_where_it_stopped() {
    let file = ring(200.0);
    let name = id(&file).unwrap();
    let mut bench = Bench::new();
    bench.answer(&begin(Object::Reference, &file, name));
    bench.answer(&piece(Object::Reference, name, 0, &file[..100]));
    let transfer = status(&mut bench).transfer.unwrap();
    assert_eq!((transfer.have, transfer.total), (100, file.len() as u32));
    let again = bench.answer(&begin(Object::Reference, &file, name));
    assert_eq!(again, Answer::Continue { offset: 100 });
    for (i, bytes) in file[100..].chunks(PIECE_MAX).enumerate() {
        bench.answer(&piece(Object::Reference, name, 100 + i * PIECE_MAX, bytes));
    }
    assert_eq!(
        bench.answer(&commit(Object::Reference, &file, name)),
        Answer::Done
    );
    assert_eq!(status(&mut bench).reference, Some(name));
}

#[test]
fn a_whole_with_the_right_checksum_but_nonsense_in_it_is_refused() {
    let old = ring(100.0);
    let mut bench = Bench::new();
    send_whole(&mut bench, Object::Reference, &old);
    let before = in_use(&bench);
    for seed in 1..60 {
        // A damaged body whose checksum was made to fit.
        let mut file = ring(150.0);
        let len = file.len();
        let at = noise(seed, 8);
        let place = 13 + usize::from(u16::from_le_bytes([at[3], at[4]])) % (len - 17);
        file[place] ^= at[5] | 1;
        let sum = cuepost_engine::wire::frame::crc32(&file[..len - 4]);
        file[len - 4..].copy_from_slice(&sum.to_le_bytes());
        match send(&mut bench, Object::Reference, &file, sum) {
            // Some changes give another valid reference; then it is the one in use.
            Answer::Done => {
                assert_eq!(status(&mut bench).reference, Some(sum));
                send_whole(&mut bench, Object::Reference, &old);
            }
            answer => {
                assert_eq!(refused(answer), Refuse::Content);
                assert_eq!(in_use(&bench), before, "byte {place}");
            }
        }
    }
}

#[test]
fn a_configuration_for_the_reference_part_and_the_other_way_round_is_refused() {
    let mut bench = Bench::new();
    let reference = ring(100.0);
    let mut config = vec![0; 1_536];
    let len = Config::default().encode(&mut config).unwrap();
    config.truncate(len);
    let answer = send_whole(&mut bench, Object::Config, &reference[..]);
    assert_eq!(refused(answer), Refuse::Content);
    let answer = send_whole(&mut bench, Object::Reference, &config);
    assert_eq!(refused(answer), Refuse::Content);
    assert_eq!(
        send_whole(&mut bench, Object::Config, &config),
        Answer::Done
    );
    assert_eq!(
        send_whole(&mut bench, Object::Reference, &reference),
        Answer::Done
    );
    let now = status(&mut bench.again());
    assert_eq!((now.config, now.reference), (id(&config), id(&reference)));
}

#[test]
fn a_reference_too_large_is_refused_before_a_byte_is_sent() {
    let mut bench = Bench::new();
    let answer = bench.answer(&begin(Object::Reference, &[0; 16_384], 7));
    assert_eq!(refused(answer), Refuse::TooLarge);
}

#[test]
fn samples_reach_the_engine_once_there_is_a_reference() {
    let mut bench = Bench::new();
    bench.answer(&set(Key::Source, 1));
    bench.ask(&sample(0));
    assert_eq!(status(&mut bench).counts.admitted, 0);
    bench.now_us += 2_000_000;
    send_whole(&mut bench, Object::Reference, &ring(200.0));
    for n in 1..50 {
        bench.ask(&sample(n));
    }
    let now = status(&mut bench);
    let refused: u32 = now.counts.refused.iter().sum();
    assert_eq!(now.counts.admitted + refused, 49);
    assert_ne!(now.health, HealthState::Standing);
}

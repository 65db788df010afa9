//! Recordings out and back in, whole, damaged and on disks that are full.

use super::*;
use cuepost_engine::wire::{FRAME_MAX, Header, Mark, Message, encode};
use cuepost_engine::{Position, Sample};
use std::io::{self, Write};

fn sample(i: u64) -> Sample {
    Sample {
        time_us: i * 40_000,
        position: Some(Position::Local {
            east_mm: i as i64 * 1000,
            north_mm: -5,
        }),
        speed_mps: Some(25.0),
        ..Sample::default()
    }
}

fn header() -> Header {
    Header {
        conditions: "dry".try_into().unwrap(),
        ..Header::default()
    }
}

fn recording(samples: u64) -> Vec<u8> {
    let mut writer = Writer::new(Vec::new(), Pace::Live, &header()).unwrap();
    for i in 0..samples {
        writer.sample(&sample(i)).unwrap();
    }
    writer.finish().unwrap()
}

#[test]
fn samples_header_and_marks_come_back() {
    let mut writer = Writer::new(Vec::new(), Pace::Bulk, &header()).unwrap();
    let mark = Mark {
        time_us: 40_000,
        corner: Some(3),
        text: "wide".try_into().unwrap(),
        ..Mark::default()
    };
    for i in 0..5000 {
        writer.sample(&sample(i)).unwrap();
        if i == 1 {
            writer.mark(&mark).unwrap();
        }
    }
    let bytes = writer.finish().unwrap();
    assert!(looks_like(&bytes[..4096]));
    let mut reader = Reader::new(&bytes[..]);
    assert_eq!(reader.header(), Some(&header()));
    let read: Vec<Sample> = reader.by_ref().map(Result::unwrap).collect();
    assert_eq!(read, (0..5000).map(sample).collect::<Vec<_>>());
    assert_eq!(reader.marks(), [mark]);
    assert_eq!(reader.at(), bytes.len() as u64);
}

#[test]
fn a_cut_is_named_wherever_it_falls_and_nothing_before_it_is_lost() {
    let bytes = recording(6);
    let frame_ends: Vec<usize> = (1..bytes.len())
        .filter(|i| bytes[*i] == 0 && bytes[i - 1] != 0)
        .collect();
    for end in 0..=bytes.len() {
        let mut faults = Vec::new();
        let mut count = 0;
        for item in Reader::new(&bytes[..end]) {
            match item {
                Ok(_) => count += 1,
                Err(fault) => faults.push(fault),
            }
        }
        let whole = frame_ends.iter().filter(|e| **e < end).count();
        assert_eq!(count, whole.saturating_sub(1), "cut at {end}");
        match &faults[..] {
            [] => {}
            [Fault::Cut { at }] => {
                let (before, behind) = bytes.split_at(*at as usize);
                assert!((*at as usize) < end && before.ends_with(&[0]) && behind[0] != 0);
            }
            other => panic!("{other:?}"),
        }
        // Only where nothing but delimiters stands behind the last frame is there no cut.
        let rest = &bytes[whole.checked_sub(1).map_or(0, |i| frame_ends[i])..end];
        assert_eq!(faults.is_empty(), rest.iter().all(|b| *b == 0), "{end}");
    }
}

#[test]
fn damage_costs_one_sample_and_says_where() {
    let mut bytes = recording(10);
    let at = bytes.len() / 2;
    bytes[at] ^= 0x10;
    let items: Vec<_> = Reader::new(&bytes[..]).collect();
    let faults: Vec<_> = items.iter().filter_map(|i| i.as_ref().err()).collect();
    assert!(items.len() - faults.len() >= 8, "{items:?}");
    assert!(!faults.is_empty());
    for fault in faults {
        let Fault::Frame { at: frame, .. } = fault else {
            panic!("{fault}")
        };
        assert!(at.abs_diff(*frame as usize) < FRAME_MAX);
        assert!(fault.to_string().starts_with(&format!("byte {frame}: ")));
    }
}

#[test]
fn another_version_is_named_once_and_ends_the_reading() {
    let mut bytes = vec![0];
    for _ in 0..3 {
        let mut body = vec![9, 0x20, 1, 2, 3];
        body.extend(cuepost_engine::wire::frame::crc32(&body).to_le_bytes());
        let mut out = [0; 64];
        out[1..=body.len()].copy_from_slice(&body);
        let n = cuepost_engine::wire::cobs::stuff(&mut out, body.len()).unwrap();
        bytes.extend_from_slice(&out[..n]);
        bytes.push(0);
    }
    assert!(looks_like(&bytes));
    let items: Vec<_> = Reader::new(&bytes[..]).collect();
    assert!(
        matches!(items[..], [Err(Fault::Version { at: 1, found: 9 })]),
        "{items:?}"
    );
}

#[test]
fn other_files_do_not_look_like_recordings() {
    assert!(!looks_like(b""));
    assert!(!looks_like(b"time_s,lat_deg,lon_deg,speed_mps\n0,1,2,3\n"));
    assert!(!looks_like(&[0; 4096]));
    assert!(!looks_like(&[0xB5, 0x62, 1, 7, 92, 0, 0, 0, 0, 0]));
    // A port that talks nonsense first.
    let mut noisy = b"boot ok\r\n\xFF\xFE".to_vec();
    noisy.extend(recording(1));
    assert!(looks_like(&noisy));
}

#[test]
fn absurd_values_are_recorded_as_unknown() {
    let mut writer = Writer::new(Vec::new(), Pace::Live, &header()).unwrap();
    let bad = Sample {
        position: Some(Position::Geodetic {
            lat_e7: i32::MAX,
            lon_e7: 0,
        }),
        speed_mps: Some(f32::NAN),
        brake: Some(2.0),
        throttle: Some(0.5),
        ..sample(7)
    };
    writer.sample(&bad).unwrap();
    assert_eq!(writer.blanked(), 3);
    let bytes = writer.finish().unwrap();
    let read: Vec<_> = Reader::new(&bytes[..]).map(Result::unwrap).collect();
    let good = Sample {
        position: None,
        speed_mps: None,
        throttle: Some(0.5),
        ..sample(7)
    };
    assert_eq!(read, [good]);
}

/// Takes a number of bytes, then is full until it is emptied.
#[derive(Debug)]
struct Disk {
    bytes: Vec<u8>,
    room: usize,
}

impl Write for Disk {
    fn write(&mut self, data: &[u8]) -> io::Result<usize> {
        if self.room == 0 {
            return Err(io::ErrorKind::StorageFull.into());
        }
        let n = data.len().min(self.room);
        self.room -= n;
        self.bytes.extend_from_slice(&data[..n]);
        Ok(n)
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Target for Disk {
    fn sync(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[test]
fn a_full_disk_is_said_and_nothing_is_lost_when_there_is_room_again() {
    let disk = Disk {
        bytes: Vec::new(),
        room: 1000,
    };
    let mut writer = Writer::new(disk, Pace::Live, &header()).unwrap();
    let faults = (0..200).filter(|i| writer.sample(&sample(*i)).is_err());
    assert!(faults.count() > 100);
    writer.target_mut().room = usize::MAX;
    writer.sample(&sample(200)).unwrap();
    assert_eq!(writer.lost(), 0);
    let bytes = writer.finish().unwrap().bytes;
    let read: Vec<Sample> = Reader::new(&bytes[..]).map(Result::unwrap).collect();
    assert_eq!(read, (0..=200).map(sample).collect::<Vec<_>>());
}

#[test]
fn a_disk_full_for_long_costs_whole_samples_that_are_counted() {
    let disk = Disk {
        bytes: Vec::new(),
        room: 999,
    };
    let mut writer = Writer::new(disk, Pace::Live, &header()).unwrap();
    let many = 60_000;
    for i in 0..many {
        let _ = writer.sample(&sample(i));
    }
    writer.target_mut().room = usize::MAX;
    let lost = writer.lost();
    let bytes = writer.finish().unwrap().bytes;
    let (read, faults): (Vec<_>, Vec<_>) = Reader::new(&bytes[..]).partition(Result::is_ok);
    assert!(lost > 0);
    // The frame that was half written when the rest was dropped is cut.
    assert!(faults.len() <= 1, "{faults:?}");
    assert!(
        (read.len() as u64 + lost).abs_diff(many) <= 1,
        "{} {lost}",
        read.len()
    );
}

#[test]
fn messages_of_other_kinds_are_passed_over() {
    let mut bytes = recording(2);
    let mut out = [0; FRAME_MAX];
    let query = Message::Query(cuepost_engine::wire::Query::Status);
    let n = encode(&query, &mut out).unwrap();
    bytes.extend_from_slice(&out[..n]);
    let mut reader = Reader::new(&bytes[..]);
    assert_eq!(reader.by_ref().filter(Result::is_ok).count(), 2);
    assert_eq!(reader.others(), 1);
}

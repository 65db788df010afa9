//! UBX frames, alone and mixed with sentences.

use super::test_nmea::{read, sentence};
use super::{Counts, Reason};
use crate::sample::{Position, Sample};
use std::vec::Vec;

/// A frame of class, identity and payload.
fn ubx(class: u8, id: u8, payload: &[u8]) -> Vec<u8> {
    let length = (payload.len() as u16).to_le_bytes();
    let mut bytes = std::vec![0xb5, 0x62, class, id, length[0], length[1]];
    bytes.extend(payload);
    let (a, b) = bytes[2..].iter().fold((0u8, 0u8), |(a, b), &byte| {
        let a = a.wrapping_add(byte);
        (a, b.wrapping_add(a))
    });
    bytes.extend([a, b]);
    bytes
}

/// A NAV-PVT at 10:00 and some milliseconds, 20 m/s eastward.
fn pvt(ms: u32) -> Vec<u8> {
    let mut p = [0u8; 92];
    p[4..6].copy_from_slice(&2026u16.to_le_bytes());
    (p[6], p[7], p[8]) = (6, 14, 10);
    p[10] = (ms / 1000) as u8;
    p[11] = 0b111;
    p[16..20].copy_from_slice(&((ms % 1000) * 1_000_000).to_le_bytes());
    (p[20], p[21]) = (3, 1);
    p[24..28].copy_from_slice(&95_000_000i32.to_le_bytes());
    p[28..32].copy_from_slice(&455_000_000i32.to_le_bytes());
    p[40..44].copy_from_slice(&2000u32.to_le_bytes());
    p[60..64].copy_from_slice(&20_000i32.to_le_bytes());
    p[64..68].copy_from_slice(&9_000_000i32.to_le_bytes());
    p[68..72].copy_from_slice(&70u32.to_le_bytes());
    ubx(1, 7, &p)
}

fn rmc(ms: u32) -> Vec<u8> {
    let text = std::format!(
        "GNRMC,1000{:05.2},A,4530.0,N,00930.0,E,38.877,90.0,140626,,,A",
        f64::from(ms) / 1000.0
    );
    sentence(&text).into_bytes()
}

fn hex(text: &str) -> Vec<u8> {
    let digits: Vec<u8> = text
        .chars()
        .map(|c| c.to_digit(16).unwrap() as u8)
        .collect();
    digits
        .chunks(2)
        .map(|pair| pair[0] << 4 | pair[1])
        .collect()
}

fn times(read: &(Vec<Sample>, Counts)) -> Vec<u64> {
    read.0.iter().map(|s| s.time_us - 36_000_000_000).collect()
}

#[test]
fn a_frame_that_another_library_reads_alike() {
    // Decoded by pyubx2 1.4.0: lat 48.1173, lon 11.5166667, gSpeed 52674 mm/s, headMot 350.82,
    // sAcc 50 mm/s, fixType 3, 10:17:36 with nano -120000.
    let bytes = hex(concat!(
        "b56201075c0000ca5b07e80705110a11243719000000402bfeff0301000ecb4ddd06081eae1c7852080044",
        "9b0700dc050000c409000020cb000030dfffff78000000c2cd0000104f170232000000c0d401006e000000",
        "0000000000000000000000009ba8",
    ));
    assert_eq!(bytes.len(), 100);
    let (samples, counts) = read(&bytes);
    assert_eq!(counts.refused_total(), 0);
    let sample = samples[0];
    let place = Position::Geodetic {
        lat_e7: 481_173_000,
        lon_e7: 115_166_667,
    };
    assert_eq!(sample.position, Some(place));
    assert!((sample.speed_mps.unwrap() - 52.674).abs() < 1e-5);
    assert!((sample.direction_rad.unwrap().to_degrees() - 99.18).abs() < 1e-3);
    assert!((sample.speed_sd_mps.unwrap() - 0.05).abs() < 1e-6);
    assert!((sample.position_sd_m.unwrap() - 1.5 / 2f32.sqrt()).abs() < 1e-6);
    let second = 10 * 3600 + 17 * 60 + 36;
    assert_eq!(sample.time_us, second * 1_000_000 - 120);
}

#[test]
fn other_messages_pass_by() {
    // Checksums computed over frames of pyubx2 1.4.0: MON-VER poll, CFG-RATE, NAV-PVT poll, ACK.
    let bytes =
        hex("b5620a0400000e34b562060806006400010001007a12b562010700000819b562050102000608163f");
    let (samples, counts) = read(&bytes);
    assert!(samples.is_empty());
    assert_eq!((counts.other_ubx, counts.refused_total()), (4, 0));
}

#[test]
fn the_short_form_is_read() {
    let long = pvt(100);
    let (samples, _) = read(&ubx(1, 7, &long[6..90]));
    assert_eq!(samples.len(), 1);
    assert_eq!(samples, read(&long).0);
}

#[test]
fn no_fix_is_a_sample_without_a_position() {
    let mut payload = pvt(100)[6..98].to_vec();
    payload[21] = 0;
    let (samples, counts) = read(&ubx(1, 7, &payload));
    assert_eq!((samples[0].position, samples[0].speed_mps), (None, None));
    assert_eq!(counts.voids, 1);
    payload[11] = 0b01;
    let (samples, counts) = read(&ubx(1, 7, &payload));
    assert!(samples.is_empty());
    assert_eq!(counts.refused(Reason::NoTime).count, 1);
}

#[test]
fn a_cut_frame_does_not_take_the_next_along() {
    let bytes = [
        &pvt(100)[..50],
        &pvt(200),
        b"\xb5\x62\x01\x07\xff\xff",
        &pvt(300),
    ]
    .concat();
    let read = read(&bytes);
    assert_eq!(times(&read), [200_000, 300_000]);
    assert_eq!(read.1.refused(Reason::Checksum).count, 1);
    assert_eq!(read.1.refused(Reason::Length).count, 1);
}

#[test]
fn many_false_starts_end() {
    let mut bytes = b"\xb5\x62\x01\x07\x5c\x00".repeat(50);
    bytes.extend(pvt(100));
    assert_eq!(times(&read(&bytes)), [100_000]);
}

#[test]
fn a_mix_tells_each_epoch_once_and_prefers_ubx() {
    for sentence_first in [false, true] {
        let mut bytes = Vec::new();
        for k in 0..20 {
            let (a, b) = (pvt(k * 100), rmc(k * 100));
            bytes.extend(if sentence_first { [b, a] } else { [a, b] }.concat());
        }
        let read = read(&bytes);
        let expected: Vec<u64> = (0..20).map(|k| k * 100_000).collect();
        assert_eq!(times(&read), expected);
        let from_ubx = read.0.iter().filter(|s| s.speed_sd_mps.is_some()).count();
        // When the sentence comes first, the first epoch cannot know that a frame will follow.
        assert_eq!(from_ubx, if sentence_first { 19 } else { 20 });
        assert_eq!(read.1.refused_total(), 0);
    }
}

#[test]
fn a_lost_frame_is_filled_by_its_sentence() {
    let mut bytes = Vec::new();
    for k in 0..6 {
        let mut frame = pvt(k * 100);
        if k == 3 {
            frame[40] ^= 4;
        }
        bytes.extend([frame, rmc(k * 100)].concat());
    }
    let read = read(&bytes);
    assert_eq!(
        times(&read),
        [0, 100_000, 200_000, 300_000, 400_000, 500_000]
    );
    assert_eq!(read.0[3].speed_sd_mps, None);
}

#[test]
fn rounded_times_of_sentences_are_the_frames_epochs() {
    // 18 Hz: 0.0556 s is written 0.06 in a sentence with two decimals.
    let mut bytes = Vec::new();
    for k in 0..18u32 {
        let us = f64::from(k) * 1e6 / 18.0;
        bytes.extend(pvt((us / 1e3).round() as u32));
        bytes.extend(rmc((us / 1e3).round() as u32));
    }
    assert_eq!(read(&bytes).0.len(), 18);
}

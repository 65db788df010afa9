//! UBX frames of NAV-PVT, the old 84-byte and the present 92-byte form.
//!
//! Other messages are not skipped by their length, which a transmission error may have made absurd:
//! the search for the next start goes on one byte after the false or foreign one.

use super::clock::{DAY_US, Stamp, day_number};
use super::nmea::Fix;

/// First byte of every frame.
pub(super) const START: u8 = 0xb5;
const SECOND: u8 = 0x62;
const HEADER: usize = 6;
const PVT: [u8; 2] = [0x01, 0x07];
/// The classes of messages there are, from NAV to HNR.
const CLASSES: [u8; 15] = [
    0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x09, 0x0a, 0x0b, 0x0d, 0x10, 0x13, 0x21, 0x27, 0x28,
];
/// Longest frame taken: header, 92 bytes, checksum.
pub(super) const FRAME_MAX: usize = HEADER + 92 + 2;

/// What a NAV-PVT says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Pvt {
    /// `None` while the receiver does not vouch for its time.
    pub stamp: Option<Stamp>,
    /// `None` without a fix.
    pub solution: Option<Solution>,
}

/// A fix with its velocity and accuracy.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Solution {
    pub fix: Fix,
    /// Ground speed, mm/s.
    pub speed_mmps: Option<u32>,
    /// Heading of motion, 1e-5 degree clockwise from north.
    pub course_e5deg: Option<i32>,
    /// Horizontal accuracy, mm.
    pub h_acc_mm: Option<u32>,
    /// Speed accuracy, mm/s.
    pub s_acc_mmps: Option<u32>,
}

/// What lies at a start byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Frame<'a> {
    /// A NAV-PVT with a right checksum; `used` bytes from the start on.
    Pvt { payload: &'a [u8], used: usize },
    /// A NAV-PVT with a wrong checksum.
    WrongSum,
    /// A NAV-PVT of an impossible length.
    WrongLength,
    /// Another message.
    Other,
    /// No frame at all.
    Nothing,
    /// More bytes are needed, this many in all.
    Short { need: usize },
}

/// Reads the frame at the start of `bytes`, whose first byte is [`START`].
pub(super) fn frame(bytes: &[u8]) -> Frame<'_> {
    let Some((header, rest)) = bytes.split_first_chunk::<HEADER>() else {
        let second = bytes.get(1).is_none_or(|&byte| byte == SECOND);
        return if second {
            Frame::Short { need: HEADER }
        } else {
            Frame::Nothing
        };
    };
    let [_, second, class, id, low, high] = *header;
    if second != SECOND || !CLASSES.contains(&class) {
        return Frame::Nothing;
    }
    if [class, id] != PVT {
        return Frame::Other;
    }
    let length = usize::from(u16::from_le_bytes([low, high]));
    match length {
        84 | 92 => {}
        // An empty one is a question to the receiver.
        0 => return Frame::Other,
        _ => return Frame::WrongLength,
    }
    let used = length.wrapping_add(HEADER + 2);
    let Some((payload, sums)) = rest.split_at_checked(length) else {
        return Frame::Short { need: used };
    };
    let &[a, b, ..] = sums else {
        return Frame::Short { need: used };
    };
    let covered = header.iter().skip(2).chain(payload);
    if checksum(covered) == (a, b) {
        Frame::Pvt { payload, used }
    } else {
        Frame::WrongSum
    }
}

/// The two sums over class, identity, length and payload: Fletcher's, modulo 256 (RFC 1145).
fn checksum<'a>(covered: impl Iterator<Item = &'a u8>) -> (u8, u8) {
    covered.fold((0u8, 0u8), |(a, b), &byte| {
        let a = a.wrapping_add(byte);
        (a, b.wrapping_add(a))
    })
}

/// Reads the payload of a NAV-PVT.
pub(super) fn parse(payload: &[u8]) -> Option<Pvt> {
    let valid = byte(payload, 11)?;
    let stamp = if valid & 0b11 == 0b11 {
        Some(stamp(payload)?)
    } else {
        None
    };
    // Fix types 1 to 4: dead reckoning, two, three dimensions, both combined; 5 is time only.
    let fix_ok = byte(payload, 21)? & 1 == 1 && (1..=4).contains(&byte(payload, 20)?);
    let invalid_llh = byte(payload, 78)? & 1 == 1;
    let (lon_e7, lat_e7) = (i32_at(payload, 24)?, i32_at(payload, 28)?);
    let possible = lat_e7.unsigned_abs() <= 900_000_000
        && lon_e7.unsigned_abs() <= 1_800_000_000
        && (lat_e7, lon_e7) != (0, 0);
    if !fix_ok || invalid_llh || !possible {
        return Some(Pvt {
            stamp,
            solution: None,
        });
    }
    // Standing receivers give a course that means nothing and say so in its accuracy (degrees).
    let course_means = u32_at(payload, 72)? < 90 * 100_000;
    let solution = Solution {
        fix: Fix { lat_e7, lon_e7 },
        speed_mmps: u32::try_from(i32_at(payload, 60)?).ok(),
        course_e5deg: Some(i32_at(payload, 64)?).filter(|_| course_means),
        h_acc_mm: Some(u32_at(payload, 40)?).filter(|&acc| acc != u32::MAX),
        s_acc_mmps: Some(u32_at(payload, 68)?).filter(|&acc| acc != u32::MAX),
    };
    Some(Pvt {
        stamp,
        solution: Some(solution),
    })
}

/// Date and time of day; the nanoseconds are signed and may reach back over midnight.
fn stamp(payload: &[u8]) -> Option<Stamp> {
    let year = i32::from(byte(payload, 4)?) | i32::from(byte(payload, 5)?) << 8;
    let day = day_number(year, byte(payload, 6)?, byte(payload, 7)?);
    let (hour, minute) = (i64::from(byte(payload, 8)?), i64::from(byte(payload, 9)?));
    let second = i64::from(byte(payload, 10)?);
    let nano = i64::from(i32_at(payload, 16)?);
    if hour > 23 || minute > 59 || second > 60 || nano.unsigned_abs() > 1_000_000_000 {
        return None;
    }
    let second_of_day = hour * 3600 + minute * 60 + second;
    // To the nearest microsecond.
    let tod_us = (second_of_day * 1_000_000_000 + nano + 500).div_euclid(1000);
    if tod_us < 0 {
        let day = day.map(|day| day.saturating_sub(1));
        return Some(Stamp {
            tod_us: tod_us + DAY_US,
            day,
        });
    }
    Some(Stamp { tod_us, day })
}

fn byte(payload: &[u8], at: usize) -> Option<u8> {
    payload.get(at).copied()
}

fn u32_at(payload: &[u8], at: usize) -> Option<u32> {
    let bytes = payload.get(at..)?.first_chunk::<4>()?;
    Some(u32::from_le_bytes(*bytes))
}

fn i32_at(payload: &[u8], at: usize) -> Option<i32> {
    u32_at(payload, at).map(u32::cast_signed)
}

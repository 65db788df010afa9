//! UBX frames of NAV-PVT, the old 84-byte and the present 92-byte form, and of HNR-PVT, which
//! receivers with their own inertial sensors send more often.
//!
//! Other messages are not skipped by their length, which a transmission error may have made absurd:
//! the search for the next start goes on one byte after the false or foreign one.

use super::clock::{DAY_US, Stamp, day_number};
use super::nmea::Fix;

/// First byte of every frame.
pub(super) const START: u8 = 0xb5;
const SECOND: u8 = 0x62;
const HEADER: usize = 6;
const NAV_PVT: [u8; 2] = [0x01, 0x07];
const HNR_PVT: [u8; 2] = [0x28, 0x00];
/// Length of an HNR-PVT.
const HNR_LENGTH: usize = 72;
/// The classes of messages there are, from NAV to HNR.
const CLASSES: [u8; 15] = [
    0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x09, 0x0a, 0x0b, 0x0d, 0x10, 0x13, 0x21, 0x27, 0x28,
];
/// Longest frame taken: header, 92 bytes, checksum.
pub(super) const FRAME_MAX: usize = HEADER + 92 + 2;

/// What a NAV-PVT or HNR-PVT says.
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
    /// A NAV-PVT or HNR-PVT with a right checksum; `used` bytes from the start on.
    Pvt { payload: &'a [u8], used: usize },
    /// One with a wrong checksum.
    WrongSum,
    /// One of an impossible length.
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
    if second != SECOND {
        return Frame::Nothing;
    }
    let length = usize::from(u16::from_le_bytes([low, high]));
    match ([class, id], length) {
        (NAV_PVT, 84 | 92) | (HNR_PVT, HNR_LENGTH) => {}
        // An empty one is a question to the receiver.
        (NAV_PVT | HNR_PVT, 1..) => return Frame::WrongLength,
        _ if CLASSES.contains(&class) => return Frame::Other,
        _ => return Frame::Nothing,
    }
    let used = length.wrapping_add(HEADER + 2);
    let Some((payload, sums)) = rest.split_at_checked(length) else {
        return Frame::Short { need: used };
    };
    let &[a, b, ..] = sums else {
        return Frame::Short { need: used };
    };
    let [_, _, covered @ ..] = header;
    // Not chained: a loop over each slice costs half of one over both.
    if checksum(checksum((0, 0), covered), payload) == (a, b) {
        Frame::Pvt { payload, used }
    } else {
        Frame::WrongSum
    }
}

/// The two sums over class, identity, length and payload: Fletcher's, modulo 256 (RFC 1145).
///
/// Four bytes at once: of each word the even bytes are summed in one pair of 16-bit lanes and the
/// odd ones in another. The second sum is what the first was at every byte: four times what it was
/// before each word, and within the word its four bytes count 4, 3, 2 and 1 times.
fn checksum(before: (u8, u8), covered: &[u8]) -> (u8, u8) {
    let (words, rest) = covered.as_chunks::<4>();
    let (mut a, mut b) = (u32::from(before.0), u32::from(before.1));
    // In 16 words no lane outgrows its 16 bits: 255 times 16, and 255 times 120.
    for block in words.chunks(16) {
        let (mut even, mut odd, mut even_before, mut odd_before) = (0u32, 0u32, 0u32, 0u32);
        for word in block {
            let word = u32::from_le_bytes(*word);
            even_before = even_before.wrapping_add(even);
            odd_before = odd_before.wrapping_add(odd);
            even = even.wrapping_add(word & 0x00ff_00ff);
            odd = odd.wrapping_add(word >> 8 & 0x00ff_00ff);
        }
        let (first, third) = (even & 0xffff, even >> 16);
        let (second, fourth) = (odd & 0xffff, odd >> 16);
        let sum_before = (even_before & 0xffff)
            .wrapping_add(even_before >> 16)
            .wrapping_add(odd_before & 0xffff)
            .wrapping_add(odd_before >> 16);
        b = b
            .wrapping_add(a.wrapping_mul(block.len() as u32 * 4))
            .wrapping_add(sum_before.wrapping_mul(4))
            .wrapping_add(first * 4 + second * 3 + third * 2 + fourth);
        a = a.wrapping_add(first + second + third + fourth);
    }
    rest.iter().fold((a as u8, b as u8), |(a, b), &byte| {
        let a = a.wrapping_add(byte);
        (a, b.wrapping_add(a))
    })
}

/// Where things are in a payload, bytes. Date and time are at the same places in all.
struct Layout {
    nano: usize,
    fix_type: usize,
    flags: usize,
    /// Flags whose lowest bit says that the place is invalid.
    flags3: Option<usize>,
    lon: usize,
    lat: usize,
    speed: usize,
    course: usize,
    h_acc: usize,
    s_acc: usize,
    course_acc: usize,
}

const NAV: Layout = Layout {
    nano: 16,
    fix_type: 20,
    flags: 21,
    flags3: Some(78),
    lon: 24,
    lat: 28,
    speed: 60,
    course: 64,
    h_acc: 40,
    s_acc: 68,
    course_acc: 72,
};

const HNR: Layout = Layout {
    nano: 12,
    fix_type: 16,
    flags: 17,
    flags3: None,
    lon: 20,
    lat: 24,
    speed: 36,
    course: 44,
    h_acc: 52,
    s_acc: 60,
    course_acc: 64,
};

/// Reads the payload of a NAV-PVT or HNR-PVT.
pub(super) fn parse(payload: &[u8]) -> Option<Pvt> {
    let at = if payload.len() == HNR_LENGTH {
        &HNR
    } else {
        &NAV
    };
    let valid = byte(payload, 11)?;
    let stamp = if valid & 0b11 == 0b11 {
        Some(stamp(payload, at.nano)?)
    } else {
        None
    };
    // Fix types 1 to 4: dead reckoning, two, three dimensions, both combined; 5 is time only.
    let fix_type = byte(payload, at.fix_type)?;
    let fix_ok = byte(payload, at.flags)? & 1 == 1 && (1..=4).contains(&fix_type);
    let invalid = match at.flags3 {
        Some(flags3) => byte(payload, flags3)? & 1 == 1,
        None => false,
    };
    let (lon_e7, lat_e7) = (i32_at(payload, at.lon)?, i32_at(payload, at.lat)?);
    let possible = lat_e7.unsigned_abs() <= 900_000_000
        && lon_e7.unsigned_abs() <= 1_800_000_000
        && (lat_e7, lon_e7) != (0, 0);
    if !fix_ok || invalid || !possible {
        return Some(Pvt {
            stamp,
            solution: None,
        });
    }
    // Standing receivers give a course that means nothing and say so in its accuracy (degrees).
    let course_means = u32_at(payload, at.course_acc)? < 90 * 100_000;
    let solution = Solution {
        fix: Fix { lat_e7, lon_e7 },
        speed_mmps: u32::try_from(i32_at(payload, at.speed)?).ok(),
        course_e5deg: Some(i32_at(payload, at.course)?).filter(|_| course_means),
        h_acc_mm: Some(u32_at(payload, at.h_acc)?).filter(|&acc| acc != u32::MAX),
        s_acc_mmps: Some(u32_at(payload, at.s_acc)?).filter(|&acc| acc != u32::MAX),
    };
    Some(Pvt {
        stamp,
        solution: Some(solution),
    })
}

/// Date and time of day; the nanoseconds are signed and may reach back over midnight.
fn stamp(payload: &[u8], nano_at: usize) -> Option<Stamp> {
    let year = i32::from(byte(payload, 4)?) | i32::from(byte(payload, 5)?) << 8;
    let day = day_number(year, byte(payload, 6)?, byte(payload, 7)?);
    let (hour, minute) = (i64::from(byte(payload, 8)?), i64::from(byte(payload, 9)?));
    let second = i64::from(byte(payload, 10)?);
    let nano = i32_at(payload, nano_at)?;
    if hour > 23 || minute > 59 || second > 60 || nano.unsigned_abs() > 1_000_000_000 {
        return None;
    }
    let second_of_day = hour * 3600 + minute * 60 + second;
    // To the nearest microsecond.
    let tod_us = second_of_day * 1_000_000 + i64::from((nano + 500).div_euclid(1000));
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_sum_as_bytes_do() {
        let mut state = 1u32;
        let mut bytes = [0u8; 200];
        for length in 0..bytes.len() {
            for byte in &mut bytes {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                *byte = if length % 3 == 0 {
                    255
                } else {
                    (state >> 24) as u8
                };
            }
            let plain = bytes[..length].iter().fold((7u8, 201u8), |(a, b), &byte| {
                let a = a.wrapping_add(byte);
                (a, b.wrapping_add(a))
            });
            assert_eq!(checksum((7, 201), &bytes[..length]), plain, "{length}");
        }
    }
}

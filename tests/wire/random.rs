//! Random messages and numbers, the same for the same seed on every machine.

use crate::messages::longest;
use cuepost_engine::check::Check;
use cuepost_engine::wire::*;

/// SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA
/// 2014; constants from memory).
#[derive(Clone, Copy, Debug)]
pub struct Random(pub u64);

impl Random {
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number below `end`; what is lost to rounding does not matter here.
    pub fn below(&mut self, end: usize) -> usize {
        (self.bits() % end.max(1) as u64) as usize
    }

    pub fn byte(&mut self) -> u8 {
        self.bits() as u8
    }
}

/// A message with random content: one of every kind whose payload is shaken until it is valid, so
/// that every field takes values it was not written with.
pub fn message(random: &mut Random, seeds: &[(u8, Vec<u8>)]) -> Message {
    let (kind, seed) = &seeds[random.below(seeds.len())];
    let mut payload = seed.clone();
    let mut best = None;
    for _ in 0..8 {
        let at = random.below(payload.len());
        let before = payload[at];
        payload[at] ^= 1 << random.below(8);
        match body(*kind, &payload) {
            Some(message) => best = Some(message),
            None => payload[at] = before,
        }
    }
    best.or_else(|| body(*kind, seed)).expect("seeds are valid")
}

/// Kind and payload of one of every kind.
pub fn seeds() -> Vec<(u8, Vec<u8>)> {
    let all = [crate::messages::typical(), longest()];
    all.iter()
        .flatten()
        .map(|m| {
            (
                m.kind() as u8,
                crate::messages::payload(&crate::messages::frame(m)),
            )
        })
        .collect()
}

fn body(kind: u8, payload: &[u8]) -> Option<Message> {
    let mut body = vec![VERSION, kind];
    body.extend_from_slice(payload);
    body.extend_from_slice(&frame::crc32(&body).to_le_bytes());
    let message = frame::decode_body(&body).ok()?;
    assert_eq!(message.check(), Ok(()));
    Some(message)
}

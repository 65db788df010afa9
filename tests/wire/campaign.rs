//! Damaged frames by the hundred thousand: none may be taken for another message, and the whole
//! frame behind the damage is always read.
//!
//! `CUEPOST_FRAMES=10000000 cargo test --release -p cuepost-tests --test wire campaign -- --nocapture`
//! runs ten million and prints the table.

use crate::messages::frame;
use crate::random::{Random, message, seeds};
use cuepost_engine::wire::*;

/// What is done to a frame.
const DAMAGE: [&str; 8] = [
    "1 bit flipped",
    "2 to 16 bits flipped",
    "a burst of bytes overwritten",
    "the beginning lost",
    "the end lost",
    "a stretch inside lost",
    "joined to another, delimiters lost",
    "garbage put in",
];

fn damage(random: &mut Random, how: usize, bytes: &mut Vec<u8>, other: &[u8]) {
    let n = bytes.len();
    match how {
        0 => flip(random, bytes),
        1 => (0..2 + random.below(15)).for_each(|_| flip(random, bytes)),
        2 => {
            let from = random.below(n);
            let to = (from + 1 + random.below(12)).min(n);
            bytes[from..to].iter_mut().for_each(|b| *b = random.byte());
        }
        3 => drop(bytes.drain(..1 + random.below(n))),
        4 => bytes.truncate(random.below(n)),
        5 => {
            let from = random.below(n);
            let to = (from + 1 + random.below(12)).min(n);
            bytes.drain(from..to);
        }
        6 => {
            bytes.pop();
            bytes.extend_from_slice(&other[1..]);
        }
        _ => {
            let at = random.below(n + 1);
            let garbage: Vec<u8> = (0..1 + random.below(40)).map(|_| random.byte()).collect();
            bytes.splice(at..at, garbage);
        }
    }
}

fn flip(random: &mut Random, bytes: &mut [u8]) {
    let bit = random.below(bytes.len() * 8);
    bytes[bit / 8] ^= 1 << (bit % 8);
}

/// One row of the table.
#[derive(Clone, Copy, Debug, Default)]
struct Row {
    frames: u64,
    /// Refused once or more.
    refused: u64,
    /// Read as what it was: only bytes outside the frame were touched.
    untouched: u64,
    /// Gone without a trace: nothing between two delimiters was left of it.
    vanished: u64,
    /// Taken for something else.
    wrong: u64,
}

#[test]
fn campaign_of_damaged_frames() {
    let frames = std::env::var("CUEPOST_FRAMES").map_or(200_000, |n| {
        n.parse().expect("CUEPOST_FRAMES is a number of frames")
    });
    let seed = 0x5EED_0017;
    let seeds = seeds();
    let mut random = Random(seed);
    let mut rows = [Row::default(); DAMAGE.len()];
    let mut reasons = [0; REFUSALS];
    let mut reader = FrameReader::<BODY_MAX>::new();
    for i in 0..frames {
        let how = i as usize % DAMAGE.len();
        let original = message(&mut random, &seeds);
        let other = message(&mut random, &seeds);
        let good = frame(&original);
        let mut bytes = good.clone();
        damage(&mut random, how, &mut bytes, &frame(&other));
        // The frame behind it, told from all others by its time.
        let next = Message::Health(cuepost_engine::HealthEvent {
            state: cuepost_engine::HealthState::Ok,
            why: cuepost_engine::Why::Good,
            time_us: 1 << 40 | i,
        });
        let row = &mut rows[how];
        row.frames += 1;
        let (mut read, mut refused) = (Vec::new(), 0);
        for byte in bytes.iter().chain(&frame(&next)) {
            match reader.feed(*byte) {
                Outcome::Nothing => {}
                Outcome::Message(m) => read.push(m),
                Outcome::Refused(why) => {
                    reasons[why.index()] += 1;
                    refused += 1;
                }
            }
        }
        let last = read.pop();
        assert_eq!(
            last,
            Some(next),
            "seed {seed:#x}, frame {i}: the next frame was lost"
        );
        let known = |m: &&Message| **m == original || (how == 6 && **m == other);
        let same = read.iter().filter(known).count();
        row.wrong += (read.len() - same) as u64;
        row.refused += u64::from(refused > 0);
        row.untouched += u64::from(refused == 0 && same > 0);
        row.vanished += u64::from(refused == 0 && read.is_empty());
        assert_eq!(
            read.len(),
            same,
            "seed {seed:#x}, frame {i}: {read:?} from {original:?}"
        );
    }
    print(&rows, &reasons);
    assert!(
        rows.iter()
            .all(|r| r.wrong == 0 && r.refused * 2 > r.frames)
    );
}

fn print(rows: &[Row], reasons: &[u64; REFUSALS]) {
    println!("| damage | frames | refused | untouched | vanished | taken for another |");
    println!("|---|---|---|---|---|---|");
    for (name, r) in DAMAGE.iter().zip(rows) {
        let Row {
            frames,
            refused,
            untouched,
            vanished,
            wrong,
        } = r;
        println!("| {name} | {frames} | {refused} | {untouched} | {vanished} | {wrong} |");
    }
    println!("refused by reason, in the order of the page: {reasons:?}");
}

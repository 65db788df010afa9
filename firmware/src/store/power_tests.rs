//! The power fails at every single step of a change: every byte of an erase, every word written.

use super::strict_flash::StrictFlash;
use super::*;
use std::vec::Vec;

const REFERENCE: u32 = 1_100;

fn some_bytes(len: u32, seed: u32) -> Vec<u8> {
    (0..len)
        .map(|i| (i.wrapping_mul(2_246_822_519).wrapping_add(seed) >> 11) as u8)
        .collect()
}

/// Cuts the power at each step of writing a new reference and looks what is there at power-up,
/// then changes it once more to see that the store can still be written.
fn cut_everywhere<const WORD: usize, const SECTOR: usize>() {
    let region = Region {
        begin: 0,
        slot_bytes: 4_096,
    };
    let (old, new, next) = (
        some_bytes(REFERENCE, 1),
        some_bytes(REFERENCE + 90, 2),
        some_bytes(300, 3),
    );
    let settings = some_bytes(30, 4);
    let flash = StrictFlash::<WORD, SECTOR>::new(2 * 4_096);
    let mut store = Store::open(flash, region).unwrap();
    store.replace(Part::Settings, &settings).unwrap();
    store.replace(Part::Reference, &old).unwrap();
    let before = store.release().mapped().to_vec();

    let mut uncut = Store::open(StrictFlash::<WORD, SECTOR>::found(&before), region).unwrap();
    uncut.replace(Part::Reference, &new).unwrap();
    let steps = uncut.release().steps;
    assert!(
        steps > 4_096,
        "an erase byte by byte and the words after it"
    );

    let mut taken = 0;
    for cut in 0..=steps {
        let mut flash = StrictFlash::<WORD, SECTOR>::found(&before);
        flash.steps_left = cut;
        let mut store = Store::open(flash, region).unwrap();
        let done = store.replace(Part::Reference, &new);
        let mut store = Store::open(store.release().power_up(), region).unwrap();
        let found = store.part(Part::Reference);
        assert!(found == Some(&*old) || found == Some(&*new), "cut at {cut}");
        assert!(
            done.is_err() || found == Some(&*new),
            "cut at {cut}: said done"
        );
        taken += u64::from(found == Some(&*new));
        assert_eq!(store.part(Part::Settings), Some(&*settings), "cut at {cut}");
        store.replace(Part::Reference, &next).unwrap();
        assert_eq!(store.part(Part::Reference), Some(&*next), "cut at {cut}");
        assert_eq!(store.part(Part::Settings), Some(&*settings), "cut at {cut}");
    }
    // The new one is in use only once its header is: never before the last words are written.
    assert!((1..=256).contains(&taken), "{taken}");
}

#[test]
fn words_of_one_byte() {
    cut_everywhere::<1, 4_096>();
}

#[test]
fn words_of_four_bytes() {
    cut_everywhere::<4, 2_048>();
}

#[test]
fn pages_of_256_bytes() {
    cut_everywhere::<256, 4_096>();
}

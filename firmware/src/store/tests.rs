use super::strict_flash::StrictFlash;
use super::*;
use std::vec::Vec;

type Flash = StrictFlash<4, 1024>;

const REGION: Region = Region {
    begin: 1024,
    slot_bytes: 4096,
};

fn empty() -> Store<Flash> {
    Store::open(Flash::new(1024 + 2 * 4096), REGION).unwrap()
}

/// Bytes that differ from one seed to another.
fn some_bytes(len: u32, seed: u32) -> Vec<u8> {
    (0..len)
        .map(|i| (i.wrapping_mul(2_654_435_761).wrapping_add(seed) >> 13) as u8)
        .collect()
}

fn reopened<const W: usize, const S: usize>(
    store: Store<StrictFlash<W, S>>,
    region: Region,
) -> Store<StrictFlash<W, S>> {
    Store::open(store.release().power_up(), region).unwrap()
}

#[test]
fn an_empty_flash_holds_nothing() {
    let store = empty();
    assert!(PARTS.iter().all(|part| store.part(*part).is_none()));
}

#[test]
fn what_is_kept_outlives_the_power() {
    let mut store = empty();
    let (settings, config) = (some_bytes(40, 1), some_bytes(700, 2));
    store.replace(Part::Settings, &settings).unwrap();
    store.replace(Part::Config, &config).unwrap();
    for round in 0..5 {
        let reference = some_bytes(1_200 + round, round);
        store.replace(Part::Reference, &reference).unwrap();
        store = reopened(store, REGION);
        assert_eq!(store.part(Part::Reference), Some(&*reference));
        assert_eq!(store.part(Part::Settings), Some(&*settings));
        assert_eq!(store.part(Part::Config), Some(&*config));
    }
}

#[test]
fn a_transfer_in_pieces_of_any_size_goes_on_where_it_stopped() {
    for size in [1, 7, 128, 256, 1_000] {
        let mut store = empty();
        let whole = some_bytes(1_500, 3);
        let crc = crc32(&whole);
        assert_eq!(store.begin(Part::Reference, 1_500, crc), Ok(0));
        let mut have = 0;
        for piece in whole.chunks(size) {
            // Announced again, as after a pulled cable: nothing is lost.
            assert_eq!(store.begin(Part::Reference, 1_500, crc), Ok(have));
            have = store.piece(crc, have, piece).unwrap();
        }
        assert_eq!(have, 1_500);
        assert_eq!(
            store.part(Part::Reference),
            None,
            "not in use before the commit"
        );
        store.commit(crc).unwrap();
        assert_eq!(store.part(Part::Reference), Some(&*whole));
    }
}

#[test]
fn what_does_not_fit_or_follow_is_refused_and_the_old_part_stays() {
    let mut store = empty();
    let old = some_bytes(500, 4);
    store.replace(Part::Reference, &old).unwrap();
    let room = Part::Reference.room(4_096);
    let new = some_bytes(900, 5);
    let crc = crc32(&new);

    assert_eq!(
        store.begin(Part::Reference, 0, crc),
        Err(StoreFault::TooLarge(room))
    );
    assert_eq!(
        store.begin(Part::Reference, room + 1, crc),
        Err(StoreFault::TooLarge(room))
    );
    assert_eq!(store.piece(crc, 0, &new), Err(StoreFault::Transfer(0)));
    assert_eq!(store.commit(crc), Err(StoreFault::Transfer(0)));

    assert_eq!(store.begin(Part::Reference, 900, crc), Ok(0));
    assert_eq!(
        store.piece(crc ^ 1, 0, &new),
        Err(StoreFault::Transfer(crc))
    );
    assert_eq!(store.piece(crc, 1, &new), Err(StoreFault::Offset(0)));
    assert_eq!(store.piece(crc, 0, &new[..300]), Ok(300));
    assert_eq!(
        store.piece(crc, 0, &new[..300]),
        Err(StoreFault::Offset(300))
    );
    assert_eq!(
        store.piece(crc, 300, &some_bytes(601, 0)),
        Err(StoreFault::Offset(300))
    );
    assert_eq!(store.commit(crc), Err(StoreFault::Offset(300)));
    assert_eq!(store.piece(crc, 300, &new[300..]), Ok(900));
    assert_eq!(store.whole(crc), Ok(&*new));
    store.abandon();
    assert_eq!(store.commit(crc), Err(StoreFault::Transfer(0)));
    assert_eq!(store.part(Part::Reference), Some(&*old));
    let store = reopened(store, REGION);
    assert_eq!(store.part(Part::Reference), Some(&*old));
}

#[test]
fn a_region_that_does_not_suit_is_refused() {
    let cases = [
        (1_000, 4_096),
        (1_024, 4_000),
        (2_048, 4_096),
        (0, 2_048),
        (u32::MAX - 1_023, 4_096),
    ];
    for (begin, slot_bytes) in cases {
        let flash = Flash::new(1024 + 2 * 4096);
        let opened = Store::open(flash, Region { begin, slot_bytes });
        assert!(
            matches!(opened, Err(StoreFault::Region)),
            "{begin} {slot_bytes}"
        );
    }
}

#[test]
fn any_flipped_bit_in_the_newer_slot_brings_the_older_one_back() {
    let (old, new) = (some_bytes(60, 6), some_bytes(70, 7));
    let mut store = empty();
    store.replace(Part::Reference, &old).unwrap();
    store.replace(Part::Reference, &new).unwrap();
    let good = store.release().mapped().to_vec();
    let newer = REGION.begin as usize + 4_096;
    let header = newer..newer + 36;
    let part = newer + Part::Reference.offset() as usize;
    for at in header.chain(part..part + new.len()) {
        for bit in 0..8 {
            let mut bytes = good.clone();
            bytes[at] ^= 1 << bit;
            let store = Store::open(Flash::found(&bytes), REGION).unwrap();
            assert_eq!(
                store.part(Part::Reference),
                Some(&*old),
                "byte {at} bit {bit}"
            );
        }
    }
}

#[test]
fn the_number_of_a_slot_wraps() {
    let mut header = Header::EMPTY;
    header.sequence = u32::MAX;
    let mut bytes = std::vec![0xFF; 1024 + 2 * 4096];
    bytes[1024..1024 + 36].copy_from_slice(&header.to_bytes());
    let mut store = Store::open(Flash::found(&bytes), REGION).unwrap();
    for round in 0..3 {
        let part = some_bytes(50, round);
        store.replace(Part::Settings, &part).unwrap();
        store = reopened(store, REGION);
        assert_eq!(store.part(Part::Settings), Some(&*part));
    }
}

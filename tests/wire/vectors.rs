//! The golden vectors of `docs/examples/wire/vectors.txt`, both ways.

use crate::messages::{frame, longest, payload, read, typical, wrap};
use cuepost_engine::wire::*;
use std::fmt::Write;

/// Name, bytes and what a reader must make of them.
pub fn all() -> Vec<(String, Vec<u8>, Outcome)> {
    let good = |name: String, m: Message| (name, frame(&m), Outcome::Message(m));
    let name = |m: &Message| format!("{:?}", m.kind()).to_lowercase();
    let mut all: Vec<_> = typical()
        .into_iter()
        .map(|m| good(name(&m), m))
        .chain(
            longest()
                .into_iter()
                .map(|m| good(name(&m) + "-longest", m)),
        )
        .collect();
    let cue = frame(&typical()[8]);
    let mut damaged = cue.clone();
    damaged[9] ^= 0x04;
    let bad = [
        ("damaged", damaged, Refused::Checksum),
        ("cut", [&cue[..20], &[0]].concat(), Refused::Cut),
        ("empty", vec![0, 1, 0], Refused::Short),
        (
            "newer-version",
            wrap(2, 0x41, &payload(&cue)),
            Refused::Version(2),
        ),
        (
            "unknown-kind",
            wrap(VERSION, 0x7F, &[1, 2]),
            Refused::Kind(0x7F),
        ),
        (
            "needless-byte",
            wrap(VERSION, 0x06, &[0x80, 0]),
            Refused::Payload(Kind::Query),
        ),
        (
            "left-over",
            wrap(VERSION, 0x06, &[0, 0]),
            Refused::Payload(Kind::Query),
        ),
        (
            "not-a-number",
            wrap(VERSION, 0x46, &[2, 0, 0, 0xC0, 0x7F, 0]),
            Refused::Value(Kind::Pace, "ratio"),
        ),
    ];
    all.extend(bad.map(|(name, bytes, why)| (name.to_owned(), bytes, Outcome::Refused(why))));
    all
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, b| {
        write!(text, "{b:02X}").unwrap();
        text
    })
}

/// The file as it should be.
fn file() -> String {
    let mut text = String::from(
        "# One frame a line: its name, then its bytes in hexadecimal. docs/WIRE.md says what is in\n\
         # them. The last eight are to be refused.\n",
    );
    for (name, bytes, _) in all() {
        writeln!(text, "{name} {}", hex(&bytes)).unwrap();
    }
    text
}

#[test]
fn the_golden_vectors_are_what_the_code_writes() {
    let there = include_str!("../../docs/examples/wire/vectors.txt");
    let here = file();
    assert!(
        there == here,
        "docs/examples/wire/vectors.txt differs from the code. If the change is meant, raise the \
         version and put this there:\n{here}"
    );
}

#[test]
fn the_golden_vectors_are_read_as_what_they_are() {
    for (name, bytes, outcome) in all() {
        assert_eq!(read(&bytes), [outcome], "{name}");
    }
}

#[test]
fn the_page_shows_one_of_them() {
    let page = include_str!("../../docs/WIRE.md");
    assert!(page.contains(&hex(&frame(&typical()[8]))));
}

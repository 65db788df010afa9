//! `docs/WIRE.md` in step with the code: kinds, fields, choices, sizes.

use crate::messages::{frame, longest, typical};
use cuepost_engine::wire::*;
use cuepost_engine::{Advice, CornerKind, HealthState, Phase, Told};
use cuepost_firmware::settings::{Baud, Key};

const PAGE: &str = include_str!("../../docs/WIRE.md");

/// The section of a message, without the heading's line.
fn section(kind: Kind) -> &'static str {
    let name = format!("{kind:?}").to_lowercase();
    let heading = format!("\n### 0x{:02X} {name}\n", kind as u8);
    let from = PAGE
        .find(&heading)
        .unwrap_or_else(|| panic!("no heading {heading:?}"));
    let rest = &PAGE[from + heading.len()..];
    &rest[..rest.find("\n##").unwrap_or(rest.len())]
}

/// First cells of the rows of the tables in a text, where they are code.
fn rows(text: &str) -> Vec<&str> {
    text.lines()
        .filter_map(|l| l.strip_prefix("| `")?.split_once('`'))
        .map(|(name, _)| name)
        .collect()
}

/// Names of the fields at a depth of a value, in order, as its debug form shows them.
fn fields(message: &Message, depth: usize) -> Vec<String> {
    let indent = " ".repeat(4 * depth);
    format!("{message:#?}")
        .lines()
        .filter_map(|l| l.strip_prefix(&indent)?.split_once(": "))
        .map(|(name, _)| name.to_owned())
        .filter(|name| !name.starts_with(' '))
        .collect()
}

#[test]
fn every_field_of_every_message_is_listed_in_order() {
    for message in longest() {
        let kind = message.kind();
        let mut names = fields(&message, 2);
        if kind == Kind::Status {
            let counts = fields(&message, 3);
            let counts = counts.iter().skip_while(|n| *n != "admitted").cloned();
            names.extend(counts);
        }
        assert_eq!(rows(section(kind)), names, "{kind:?}");
    }
}

/// The cell of a row of a section, by its number.
fn cell(kind: Kind, field: &str, number: usize) -> &'static str {
    let start = format!("| `{field}` |");
    let row = section(kind)
        .lines()
        .find(|l| l.starts_with(&start))
        .unwrap();
    row.split('|').nth(number).unwrap().trim()
}

#[test]
fn choices_are_listed_with_their_numbers() {
    let list = |names: Vec<&str>| {
        let numbered = names.iter().enumerate().map(|(i, n)| format!("{i} {n}"));
        numbered.collect::<Vec<_>>().join(", ")
    };
    let advice = list(Advice::ALL.map(Advice::name).to_vec());
    assert_eq!(cell(Kind::Cue, "advice", 3), advice);
    let phases = list(Phase::ALL.map(Phase::name).to_vec());
    let shown = cell(Kind::Cue, "phase", 3).replace(" (the corner as a whole)", "");
    assert_eq!(shown, phases);
    let told = list(
        [Told::Now, Told::After, Told::Ahead]
            .map(Told::name)
            .to_vec(),
    );
    assert_eq!(cell(Kind::Cue, "told", 3), told);
    let states = list(HealthState::ALL.map(HealthState::name).to_vec());
    assert_eq!(cell(Kind::Health, "state", 3), states);
    let kinds = [CornerKind::Braked, CornerKind::Lifted, CornerKind::Flat];
    assert_eq!(
        cell(Kind::Corner, "kind", 3),
        list(kinds.map(CornerKind::name).to_vec())
    );
    let whys = cell(Kind::Health, "why", 3).split(", ").count();
    assert_eq!(whys, cuepost_engine::Why::ALL.len());
}

/// `| 0x01 | sample | 40 | 92 |` for each kind: the sizes of frames.
#[test]
fn sizes_are_those_of_the_frames() {
    let mut table = String::new();
    for (short, long) in typical().iter().zip(longest()) {
        let name = format!("{:?}", short.kind()).to_lowercase();
        let (kind, a, b) = (short.kind() as u8, frame(short).len(), frame(&long).len());
        assert!(b <= FRAME_MAX);
        table += &format!("| 0x{kind:02X} | {name} | {a} | {b} |\n");
    }
    assert!(
        PAGE.contains(&table),
        "the page's table of sizes should be:\n{table}"
    );
}

#[test]
fn limits_are_those_of_the_code() {
    for said in [
        format!(
            "A body (version to checksum) is at most {BODY_MAX} bytes, a frame at most {FRAME_MAX}."
        ),
        format!("| version | 1 | `{VERSION}`;"),
        format!("| `data` | list of u8 | 1 to {PIECE_MAX} bytes |"),
        format!("up to {SETTINGS_MAX} keys"),
        format!("| `refused` | {} × u32 |", cuepost_engine::gate::REFUSALS),
        format!("| `frames_refused` | {REFUSALS} × u32 |"),
        format!("No line is longer than {} bytes.", text::LINE_MAX),
    ] {
        assert!(PAGE.contains(&said), "{said}");
    }
    let magics = [
        cuepost_engine::reference::MAGIC,
        cuepost_engine::thresholds::MAGIC,
    ];
    for magic in magics {
        assert!(PAGE.contains(std::str::from_utf8(&magic).unwrap()));
    }
}

/// The keys a board knows, with the names of their values.
#[test]
fn settings_are_those_a_board_knows() {
    for key in Key::ALL {
        let start = format!("| {} | {} |", key as u8, key.name());
        let row = section(Kind::Settings)
            .lines()
            .find(|l| l.starts_with(&start));
        let row = row.unwrap_or_else(|| panic!("no row {start}"));
        let values = row.split('|').nth(4).unwrap().trim();
        let numbered = key
            .values()
            .iter()
            .enumerate()
            .map(|(i, n)| format!("{i} {n}"));
        let numbered: Vec<_> = numbered.collect();
        assert!(
            numbered.is_empty() || values == numbered.join(", "),
            "{row}"
        );
        if key == Key::ReceiverBaud {
            let bauds = Baud::ALL.map(|b| b.bits_a_second().to_string());
            assert!(values.ends_with(&bauds.join(", ")), "{row}");
        }
    }
}

/// The lines of the example in the section on text are lines of ours.
#[test]
fn text_examples_are_read() {
    let from = PAGE.find("05 THROTTLE").unwrap();
    let examples = &PAGE[from..];
    let examples = &examples[..examples.find("```").unwrap()];
    assert_eq!(examples.lines().count(), 6);
    for line in examples.lines() {
        assert!(text::parse(line).is_some(), "{line}");
    }
}

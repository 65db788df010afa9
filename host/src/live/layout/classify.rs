//! Which kind of packet a datagram is, and where its records end.

use super::field::ByteOrder;
use super::file::{Layout, Match, Packet, Size};
use super::reader::Refused;

/// The most records one datagram may carry.
const RECORDS_MAX: usize = 64;

/// Cuts a datagram into records; all of it must fit.
pub fn split<'d>(layout: &Layout, datagram: &'d [u8]) -> Result<Vec<(usize, &'d [u8])>, Refused> {
    if datagram.is_empty() {
        return Err(Refused::Empty);
    }
    let mut records = Vec::new();
    let mut rest = datagram;
    while !rest.is_empty() {
        if records.len() == RECORDS_MAX {
            return Err(Refused::Unknown);
        }
        let (kind, length) = classify(layout, rest)?;
        let (record, tail) = rest.split_at_checked(length).ok_or(Refused::Cut)?;
        records.push((kind, record));
        rest = tail;
    }
    Ok(records)
}

/// The first kind that fits, and how long the record is.
fn classify(layout: &Layout, bytes: &[u8]) -> Result<(usize, usize), Refused> {
    let mut why = Refused::Unknown;
    for (i, packet) in layout.packets.iter().enumerate() {
        if !packet.matches.iter().all(|m| fits(m, bytes, packet.order)) {
            continue;
        }
        match length(packet, bytes) {
            Some(n) if n <= bytes.len() && whole(packet, n, bytes.len()) => return Ok((i, n)),
            Some(n) if n > bytes.len() && !packet.matches.is_empty() => why = Refused::Cut,
            _ => {}
        }
    }
    Err(why)
}

/// Why no kind of packet fits a datagram, kind by kind.
pub fn why_not(layout: &Layout, datagram: &[u8]) -> String {
    let reasons = layout.packets.iter().map(|packet| {
        let name = &packet.name;
        let order = packet.order;
        if let Some(m) = packet.matches.iter().find(|m| !fits(m, datagram, order)) {
            return match m {
                Match::Text { offset, text } => format!("{name}: no \"{text}\" at {offset}"),
                Match::Number { field, value } => match field.read(datagram, order) {
                    Some(found) => format!("{name}: {found} at {}, not {value}", field.offset),
                    None => format!("{name}: ends before {}", field.offset),
                },
            };
        }
        match length(packet, datagram) {
            Some(n) => format!("{name}: {} bytes where {n} make a packet", datagram.len()),
            None => format!("{name}: its size field says nothing"),
        }
    });
    reasons.collect::<Vec<_>>().join("; ")
}

/// Without anything to tell it by, a packet is known by its size alone: no other size will do.
fn whole(packet: &Packet, length: usize, there: usize) -> bool {
    !packet.matches.is_empty() || there.checked_rem(length) == Some(0)
}

fn length(packet: &Packet, bytes: &[u8]) -> Option<usize> {
    match packet.size {
        Size::Exact(n) => Some(n),
        Size::AtLeast(n) => Some(n.max(bytes.len())),
        Size::Field(f) => match f.read_unsigned(bytes, packet.order) {
            Some(0) | None => None,
            Some(n) => usize::try_from(n).ok(),
        },
    }
}

fn fits(m: &Match, bytes: &[u8], order: ByteOrder) -> bool {
    match m {
        Match::Text { offset, text } => bytes
            .get(*offset..)
            .is_some_and(|b| b.starts_with(text.as_bytes())),
        Match::Number { field, value } => field.read(bytes, order) == Some(*value),
    }
}

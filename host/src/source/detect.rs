//! Finds out from its content what a recording is.

use super::csv;
use super::csv::Mapping;
use super::report::{Fault, Kind};
use cuepost_engine::receiver::Receiver;

/// So much is looked at.
pub const HEAD: usize = 1 << 16;

/// What other files begin with, and what to do with them.
const FOREIGN: &[(&[u8], &str)] = &[
    (
        b"PK\x03\x04",
        "a zip archive or spreadsheet; unpack it, or save it as CSV",
    ),
    (b"\x1f\x8b", "compressed with gzip; unpack it first"),
    (b"\xfd7zXZ", "compressed with xz; unpack it first"),
    (b"\x28\xb5\x2f\xfd", "compressed with zstd; unpack it first"),
    (b"%PDF", "a PDF; export the recording as CSV"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"\x7fELF", "a program"),
    (b"\xff\xfe", "text in UTF-16; save it as UTF-8"),
    (b"\xfe\xff", "text in UTF-16; save it as UTF-8"),
    (
        b"<?xml",
        "XML (GPX, KML?); export the recording as CSV or NMEA",
    ),
    (
        b"<",
        "markup of some kind; export the recording as CSV or NMEA",
    ),
    (b"{", "JSON; export the recording as CSV or NMEA"),
    (
        b"[",
        "JSON or settings; export the recording as CSV or NMEA",
    ),
    (b"PAR1", "a Parquet file; export the recording as CSV"),
];

/// The kind of what begins like this; `None` when more is needed to tell, which cannot be when
/// `whole` says that there is no more.
pub fn detect(head: &[u8], whole: bool, mappings: &[Mapping]) -> Result<Option<Kind>, Fault> {
    if head.is_empty() || head == csv::BOM {
        return if whole { Err(Fault::Empty) } else { Ok(None) };
    }
    if crate::record::looks_like(head) {
        return Ok(Some(Kind::WireRecording));
    }
    if crate::reference_file::looks_like(head) {
        let words = "this is a reference of Cuepost, not a recording; give it with --reference";
        return Err(Fault::Foreign(words.to_owned()));
    }
    let mut receiver = Receiver::default();
    receiver.push_slice(head, |_| {});
    let counts = receiver.counts();
    let sentences = counts.rmc + counts.gga + counts.vtg + counts.other_nmea;
    let frames = counts.pvt + counts.other_ubx;
    match (sentences, frames) {
        (0, 0) => {}
        (_, 0) => return Ok(Some(Kind::Nmea)),
        (0, _) if counts.pvt > 0 || frames >= 2 => return Ok(Some(Kind::Ubx)),
        (0, _) => {}
        _ => return Ok(Some(Kind::Mixed)),
    }
    if !whole && head.len() < 4 {
        return Ok(None);
    }
    if let Some((_, words)) = FOREIGN.iter().find(|(start, _)| head.starts_with(start)) {
        return Err(Fault::Foreign(format!("this is {words}")));
    }
    if is_text(head) {
        // A sentence may still come after some words, but not after names of columns.
        let table = whole || head.len() >= HEAD || csv::has_names(head, mappings);
        return Ok(table.then_some(Kind::Csv));
    }
    if whole || head.len() >= HEAD {
        let damaged = counts.refused_total();
        let words = if damaged > 0 {
            format!("no whole message, but {damaged} damaged ones; wrong speed of the line?")
        } else {
            "not a recording: no NMEA sentence, no UBX frame, no table, no recording of Cuepost"
                .to_owned()
        };
        return Err(Fault::Foreign(words));
    }
    Ok(None)
}

/// True for text in UTF-8 or a Latin alphabet: no control characters but the usual, and mostly
/// ASCII.
fn is_text(head: &[u8]) -> bool {
    let control = |byte: &u8| byte.is_ascii_control() && !b"\t\r\n\x0c".contains(byte);
    let ascii = head.iter().filter(|byte| byte.is_ascii()).count();
    !head.iter().any(control) && ascii * 10 >= head.len() * 7
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_and_what_is_none() {
        let whole = |bytes: &[u8]| detect(bytes, true, &[]).map_err(|fault| fault.to_string());
        assert_eq!(whole(b"time_s,speed_mps\n0,1\n"), Ok(Some(Kind::Csv)));
        assert_eq!(
            whole(b"# a comment\n$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\r\n"),
            Ok(Some(Kind::Nmea))
        );
        assert!(whole(b"").unwrap_err().contains("empty"));
        assert!(whole(b"PK\x03\x04....").unwrap_err().contains("unpack"));
        assert!(
            whole(&[0, 1, 2, 3, 4])
                .unwrap_err()
                .contains("not a recording")
        );
    }
}

//! Shows what a layout makes of packets, line by line, for whoever writes one.

use super::classify::why_not;
use super::file::Packet;
use super::reader::{PacketReader, Refused, Step};
use super::values::Values;
use cuepost_engine::{Position, Sample};

/// A datagram and when it arrived.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Captured {
    /// Milliseconds from any fixed moment.
    pub at_ms: u64,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// Reads packets written as text: a line each, the bytes in hexadecimal, before them the arrival in
/// milliseconds if it is known. `-` is an empty packet; `#` begins a remark.
///
/// # Errors
/// The line and what is wrong with it.
pub fn parse(text: &str) -> Result<Vec<Captured>, String> {
    let mut packets = Vec::new();
    for (number, line) in (1..).zip(text.lines()) {
        let line = line.split('#').next().unwrap_or_default();
        let words: Vec<&str> = line.split_whitespace().collect();
        let (at_ms, hex) = match words.as_slice() {
            [] => continue,
            [hex] => (0, *hex),
            [at, hex] => match at.parse() {
                Ok(at) => (at, *hex),
                Err(_) => return Err(format!("line {number}: \"{at}\" is no arrival in ms")),
            },
            _ => return Err(format!("line {number}: more than an arrival and the bytes")),
        };
        let bytes = unhex(hex).ok_or_else(|| {
            format!("line {number}: the bytes are not pairs of hexadecimal digits")
        })?;
        packets.push(Captured { at_ms, bytes });
    }
    Ok(packets)
}

/// A packet as [`parse`] reads it.
pub fn line(packet: &Captured) -> String {
    let hex: String = packet.bytes.iter().map(|b| format!("{b:02x}")).collect();
    let hex = if hex.is_empty() { "-" } else { &hex };
    format!("{} {hex}", packet.at_ms)
}

fn unhex(text: &str) -> Option<Vec<u8>> {
    if text == "-" {
        return Some(Vec::new());
    }
    let digits: Option<Vec<u8>> = text
        .chars()
        .map(|c| c.to_digit(16).and_then(|d| u8::try_from(d).ok()))
        .collect();
    let digits = digits?;
    let (pairs, odd) = digits.as_chunks::<2>();
    odd.is_empty()
        .then(|| pairs.iter().map(|[h, l]| h << 4 | l).collect())
}

/// What the reader makes of a packet, in lines for people.
pub fn show(reader: &mut PacketReader, packet: &Captured) -> Vec<String> {
    let mut lines = Vec::new();
    let layout = reader.layout().clone();
    let head = format!("{:>7} ms {:>5} bytes", packet.at_ms, packet.bytes.len());
    reader.push(&packet.bytes, packet.at_ms.saturating_mul(1000), |step| {
        lines.push(match step {
            Step::Record { packet, values } => format!("{head}  {}", record(packet, values)),
            Step::Refused(Refused::Unknown) => {
                format!("{head}  refused: {}", why_not(&layout, &packet.bytes))
            }
            Step::Refused(why) => format!("{head}  refused: {}", why.name()),
            Step::Restart => format!("{head}  the sender started again"),
            Step::Sample(s) => format!("{:>24}-> {}", "", sample(&s)),
        });
    });
    lines
}

/// The channels by their names, in the units of their names.
fn record(packet: &Packet, values: &Values) -> String {
    let channels = packet
        .channels
        .iter()
        .map(|c| match values.get(c.quantity) {
            Some(v) => format!("{}={}", c.name, short(v / c.factor)),
            None => format!("{}=?", c.name),
        });
    let channels: Vec<String> = channels.collect();
    format!("{}: {}", packet.name, channels.join(" "))
}

fn sample(s: &Sample) -> String {
    let position = match s.position {
        Some(Position::Local { east_mm, north_mm }) => format!(
            "x {} m, y {} m",
            short(east_mm as f64 / 1e3),
            short(north_mm as f64 / 1e3)
        ),
        Some(Position::Geodetic { lat_e7, lon_e7 }) => {
            format!(
                "{:.7}, {:.7}",
                f64::from(lat_e7) / 1e7,
                f64::from(lon_e7) / 1e7
            )
        }
        None => "no position".into(),
    };
    let speed = s
        .speed_mps
        .map_or("no speed".into(), |v| format!("{v:.2} m/s"));
    let mut text = format!("{:.3} s: {position}, {speed}", s.time_us as f64 / 1e6);
    for (name, value) in [("brake", s.brake), ("throttle", s.throttle)] {
        if let Some(v) = value {
            text.push_str(&format!(", {name} {v:.2}"));
        }
    }
    text
}

/// Six significant digits at most.
fn short(value: f64) -> String {
    let text = format!("{value:.3}");
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn packets_as_text_and_back() {
        let packets = parse("# head\n0 53494d\n20 -   # empty\n\nFF\n").expect("good");
        let bytes: Vec<&[u8]> = packets.iter().map(|p| p.bytes.as_slice()).collect();
        assert_eq!(bytes, [&b"SIM"[..], &[], &[0xff]]);
        assert_eq!(packets[1].at_ms, 20);
        let again: Vec<String> = packets.iter().map(line).collect();
        assert_eq!(parse(&again.join("\n")), Ok(packets));
        for (bad, part) in [
            ("0 5", "line 1"),
            ("x 55", "no arrival"),
            ("1 2 3", "more than"),
            ("\n0 zz", "line 2"),
        ] {
            assert!(parse(bad).expect_err(bad).contains(part), "{bad}");
        }
    }
}

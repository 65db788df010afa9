//! Datagrams of a simulator, read by a layout, and layouts themselves.

use cuepost_engine::check::Check;
use cuepost_host::live::layout::{Layout, PacketReader, Step};

const LAYOUT: &str = include_str!("../../data/faults/sim1.toml");

/// The most datagrams of one input.
const DATAGRAMS: usize = 64;

/// Any text is a layout or refused in words; any datagrams are read or refused, and every sample
/// is in range.
///
/// A first byte of `#` or a letter begins a layout, which then reads the rest of the bytes too;
/// otherwise each datagram has its length in front.
pub fn packets(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    match Layout::parse(&text) {
        Ok(layout) => read(PacketReader::new(layout), data),
        Err(why) => assert!(!why.to_string().is_empty()),
    }
    let layout = Layout::parse(LAYOUT).expect("a good one");
    read(PacketReader::new(layout), data);
}

fn read(mut reader: PacketReader, data: &[u8]) {
    let mut rest = data;
    for i in 0..DATAGRAMS as u64 {
        let Some((&length, tail)) = rest.split_first() else {
            break;
        };
        let (datagram, tail) = tail.split_at(usize::from(length).min(tail.len()));
        rest = tail;
        reader.push(datagram, i * 20_000, |step| {
            if let Step::Sample(sample) = step {
                // A simulator may claim any number; the recorder and the gate judge it.
                let _ = sample.check();
                assert!(sample.time_us <= 1 << 53, "{sample:?}");
            }
        });
    }
}

//! Tables, and recordings of any kind.

use cuepost_engine::Sample;
use cuepost_engine::check::Check;
use cuepost_host::source::{self, Kind, Options, Stream};

/// Any bytes end; every sample is in range, and what is read to the end is the same however it is
/// divided.
///
/// The first byte says whether it is told that it is a table, and how it is divided.
pub fn table(data: &[u8]) {
    let Some((&piece, bytes)) = data.split_first() else {
        return;
    };
    // As a table, or as whatever it looks like.
    let options = Options {
        kind: (piece < 0x80).then_some(Kind::Csv),
        ..Options::default()
    };
    if let Ok(recording) = source::read(std::io::Cursor::new(bytes.to_vec()), &options) {
        for item in recording {
            match item {
                Ok(sample) => assert!(sane(&sample), "{sample:?}"),
                Err(e) => assert!(!e.to_string().is_empty()),
            }
        }
    }
    let whole = streamed(bytes, bytes.len().max(1));
    let divided = streamed(bytes, usize::from(piece % 64) + 1);
    // The rows that came first decide how numbers are written. Where rows contradict one another,
    // who has fewer of them may decide otherwise, and then refuses the table.
    if whole.1 && divided.1 {
        assert_eq!(whole, divided, "{:?}", String::from_utf8_lossy(bytes));
    }
}

/// A receiver's sentences may claim any speed or accuracy, the gate judges it; nothing else is ever
/// out of range.
fn sane(sample: &Sample) -> bool {
    let claims = ["speed_mps", "position_sd_m", "speed_sd_mps"];
    sample
        .check()
        .map_or_else(|field| claims.contains(&field), |()| true)
}

fn streamed(bytes: &[u8], piece: usize) -> (Vec<Sample>, bool) {
    let mut stream = Stream::of_kind(Kind::Csv, Vec::new());
    let mut samples = Vec::new();
    for piece in bytes.chunks(piece) {
        if stream.push(piece, |s| samples.push(s)).is_err() {
            return (samples, false);
        }
    }
    let whole = stream.finish(|s| samples.push(s)).is_ok();
    (samples, whole)
}

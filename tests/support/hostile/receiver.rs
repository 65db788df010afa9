//! A receiver's bytes: NMEA 0183 and UBX.

use cuepost_engine::Sample;
use cuepost_engine::check::Check;
use cuepost_engine::receiver::{Counts, Receiver};

/// Any bytes give the same samples however they are divided, of rising times and in range.
///
/// The first byte says how they are divided.
pub fn receiver(data: &[u8]) {
    let Some((&piece, bytes)) = data.split_first() else {
        return;
    };
    let whole = read(bytes, bytes.len().max(1));
    assert_eq!(whole, read(bytes, usize::from(piece % 64) + 1));
    let (samples, counts) = whole;
    assert_eq!(counts.samples as usize, samples.len());
    // The shortest sentence with a position, a speed and a checksum is longer than that.
    assert!(samples.len() <= bytes.len() / 20 + 1);
    assert!(samples.windows(2).all(|w| w[0].time_us < w[1].time_us));
    for sample in &samples {
        // A receiver may claim any speed or accuracy; the gate is there to judge it.
        let claims = ["speed_mps", "position_sd_m", "speed_sd_mps"];
        assert!(
            sample
                .check()
                .map_or_else(|f| claims.contains(&f), |()| true),
            "{sample:?}"
        );
        let numbers = [sample.speed_mps, sample.position_sd_m, sample.speed_sd_mps];
        assert!(
            numbers.iter().flatten().all(|x| x.is_finite() && *x >= 0.0),
            "{sample:?}"
        );
    }
}

fn read(bytes: &[u8], piece: usize) -> (Vec<Sample>, Counts) {
    let mut receiver = Receiver::default();
    let mut samples = Vec::new();
    for piece in bytes.chunks(piece) {
        match piece {
            [byte] => receiver.push(*byte, |s| samples.push(s)),
            _ => receiver.push_slice(piece, |s| samples.push(s)),
        }
    }
    receiver.finish(|s| samples.push(s));
    (samples, *receiver.counts())
}

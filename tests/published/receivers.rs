//! NMEA 0183 and UBX: published sentences, checksums and a frame.

use cuepost_engine::receiver::{Counts, Reason, Receiver};
use cuepost_engine::{Position, Sample};

fn receive(bytes: &[u8]) -> (Vec<Sample>, Counts) {
    let mut receiver = Receiver::default();
    let mut samples = Vec::new();
    receiver.push_slice(bytes, |sample| samples.push(sample));
    receiver.finish(|sample| samples.push(sample));
    (samples, *receiver.counts())
}

/// Where each was published; "widely" is from memory.
const SENTENCES: [(&str, &str); 9] = [
    (
        "widely",
        "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
    ),
    (
        "widely",
        "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
    ),
    ("widely", "$GPGLL,4916.45,N,12311.12,W,225444,A,*1D"),
    ("widely", "$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48"),
    (
        "widely",
        "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68",
    ),
    (
        "https://rdrr.io/github/obrl-soil/em38/man/nmea_check.html",
        "$GPGGA,015808.00,2726.53758,S,15126.05255,E,1,08,1.0,365.1,M,39.5,M,,*79",
    ),
    (
        "https://mathworks.com/matlabcentral/fileexchange/36385-gps_chksum",
        "$GPGGA,000003.071,7900.56904,N,16607.52019,W,1,09,0.8,4.64,M,,,,*26",
    ),
    (
        "https://serialcs.sourceforge.net/doc/serial.Utils.nmeaChksum.html",
        "$PSRF103,00,01,00,01*25",
    ),
    (
        "https://blog.csdn.net/weixin_46672094/article/details/107082756",
        "$GNGLL,2239.37849,N,11400.75600,E,123254.00,A,A*7F",
    ),
];

/// The checksum is the exclusive or of what stands between `$` and `*`
/// (https://sourceforge.net/p/gearbox/mailman/message/19561870/). Each sentence is taken, and none
/// with any one digit of its checksum changed.
#[test]
fn checksums_of_sentences() {
    for (place, sentence) in SENTENCES {
        let (_, counts) = receive(sentence.as_bytes());
        let taken = counts.rmc + counts.gga + counts.vtg + counts.other_nmea;
        assert_eq!(
            (taken, counts.refused_total()),
            (1, 0),
            "{sentence} of {place}"
        );
        for at in [sentence.len() - 2, sentence.len() - 1] {
            let mut changed = sentence.as_bytes().to_vec();
            changed[at] = if changed[at] == b'7' { b'3' } else { b'7' };
            let (samples, counts) = receive(&changed);
            let taken = counts.rmc + counts.gga + counts.vtg + counts.other_nmea;
            assert_eq!((samples.len(), taken), (0, 0), "{sentence} of {place}");
            // What is not used is not counted either.
            let used = ["RMC", "GGA", "VTG"]
                .iter()
                .any(|kind| sentence[3..].starts_with(kind));
            let refused = counts.refused(Reason::Checksum).count;
            assert_eq!(refused, u32::from(used), "{sentence} of {place}");
        }
    }
}

/// Values by pynmeagps 1.1.8: 48 07.038' is 48.1173, 11 31.000' is 11.5166666667, 4916.45 N is
/// 49.2741666667, 12311.12 W is -123.1853333333; 22.4 knots are 11.523556 m/s.
#[test]
fn values_of_sentences() {
    let at = |sample: &Sample| sample.position.unwrap();
    let (samples, _) = receive(SENTENCES[1].1.as_bytes());
    let place = Position::Geodetic {
        lat_e7: 481_173_000,
        lon_e7: 115_166_667,
    };
    assert_eq!(at(&samples[0]), place);
    assert!((samples[0].speed_mps.unwrap() - 11.523_556).abs() < 1e-5);
    let (samples, _) = receive(SENTENCES[4].1.as_bytes());
    let place = Position::Geodetic {
        lat_e7: 492_741_667,
        lon_e7: -1_231_853_333,
    };
    assert_eq!(at(&samples[0]), place);
    assert!((samples[0].speed_mps.unwrap() - 0.257_222).abs() < 1e-5);
}

/// The checksum is Fletcher's, of two sums modulo 256 (RFC 1145), over class to payload. Frames
/// that pyubx2 1.4.0 takes: MON-VER poll, CFG-RATE of 100 and 200 ms, NAV-PVT poll, ACK-ACK. None
/// is needed here; the search goes on behind each.
#[test]
fn frames_that_are_not_needed() {
    let frames: [&[u8]; 5] = [
        b"\xb5\x62\x0a\x04\x00\x00\x0e\x34",
        b"\xb5\x62\x06\x08\x06\x00\x64\x00\x01\x00\x01\x00\x7a\x12",
        b"\xb5\x62\x06\x08\x06\x00\xc8\x00\x01\x00\x01\x00\xde\x6a",
        b"\xb5\x62\x01\x07\x00\x00\x08\x19",
        b"\xb5\x62\x05\x01\x02\x00\x06\x08\x16\x3f",
    ];
    let (samples, counts) = receive(&frames.concat());
    assert_eq!(
        (samples.len(), counts.other_ubx, counts.refused_total()),
        (0, 5, 0)
    );
}

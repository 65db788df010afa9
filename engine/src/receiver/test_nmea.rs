//! Sentences, joining and resynchronisation.

use super::{Counts, Reason, Receiver};
use crate::sample::{Position, Sample};
use std::format;
use std::string::String;
use std::vec::Vec;

/// A sentence with its checksum.
pub(super) fn sentence(body: &str) -> String {
    let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
    format!("${body}*{sum:02X}\r\n")
}

/// What a stream gives, the same in one slice, byte by byte and in pieces of seven.
pub(super) fn read(bytes: &[u8]) -> (Vec<Sample>, Counts) {
    let whole = read_in(bytes, bytes.len().max(1));
    for piece in [1, 7] {
        assert_eq!(read_in(bytes, piece), whole, "in pieces of {piece}");
    }
    whole
}

fn read_in(bytes: &[u8], piece: usize) -> (Vec<Sample>, Counts) {
    let mut receiver = Receiver::default();
    let mut samples = Vec::new();
    for piece in bytes.chunks(piece) {
        if let &[byte] = piece {
            receiver.push(byte, |sample| samples.push(sample));
        } else {
            receiver.push_slice(piece, |sample| samples.push(sample));
        }
    }
    receiver.finish(|sample| samples.push(sample));
    (samples, *receiver.counts())
}

fn lat_lon(sample: &Sample) -> (i32, i32) {
    match sample.position {
        Some(Position::Geodetic { lat_e7, lon_e7 }) => (lat_e7, lon_e7),
        other => panic!("no geodetic position but {other:?}"),
    }
}

fn stream(bodies: &[&str]) -> Vec<u8> {
    bodies
        .iter()
        .flat_map(|body| sentence(body).into_bytes())
        .collect()
}

#[test]
fn a_widely_published_rmc() {
    // From memory, widely published; values agree with pynmeagps 1.1.8.
    let (samples, counts) =
        read(b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\r\n");
    assert_eq!(counts.refused_total(), 0);
    let [sample] = samples[..] else {
        panic!("one sample, not {}", samples.len());
    };
    assert_eq!(lat_lon(&sample), (481_173_000, 115_166_667));
    assert!((sample.speed_mps.unwrap() - 11.523_556).abs() < 1e-5);
    assert!((sample.direction_rad.unwrap().to_degrees() - 5.6).abs() < 1e-4);
    assert_eq!(sample.time_us, (12 * 3600 + 35 * 60 + 19) * 1_000_000);
}

#[test]
fn south_and_west_are_negative() {
    // GGA published at https://rdrr.io/github/obrl-soil/em38/man/nmea_check.html
    // and https://mathworks.com/matlabcentral/fileexchange/36385-gps_chksum
    let (samples, _) =
        read(b"$GPGGA,015808.00,2726.53758,S,15126.05255,E,1,08,1.0,365.1,M,39.5,M,,*79\r\n");
    assert_eq!(lat_lon(&samples[0]), (-274_422_930, 1_514_342_092));
    assert_eq!(samples[0].speed_mps, None);
    let (samples, _) =
        read(b"$GPGGA,000003.071,7900.56904,N,16607.52019,W,1,09,0.8,4.64,M,,,,*26\r\n");
    assert_eq!(lat_lon(&samples[0]), (790_094_840, -1_661_253_365));
    assert_eq!(samples[0].time_us, 3_071_000);
}

#[test]
fn a_wrong_digit_in_the_checksum_refuses() {
    let (samples, counts) =
        read(b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6B\r\n");
    assert!(samples.is_empty());
    assert_eq!(counts.refused(Reason::Checksum).count, 1);
    let (samples, counts) =
        read(b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,,\r\n");
    assert!(samples.is_empty());
    assert_eq!(counts.refused(Reason::Checksum).count, 1);
}

#[test]
fn a_cut_sentence_does_not_take_the_next_along() {
    let mut bytes = b"noise \xb5 $GNRMC,081500.00,A,45".to_vec();
    bytes.extend(stream(&[
        "GNRMC,081500.10,A,4530.0,N,00930.0,E,54.3,90.0,140626,,,A",
    ]));
    let (samples, counts) = read(&bytes);
    assert_eq!(samples.len(), 1);
    let cut = counts.refused(Reason::Cut);
    assert_eq!((cut.count, cut.first_byte), (1, 8));
}

#[test]
fn an_epoch_comes_out_with_its_rmc() {
    let mut receiver = Receiver::default();
    let mut heard = Vec::new();
    let bodies = [
        "GNGGA,100000.00,4530.0,N,00930.0,E,1,12,0.8,120.0,M,45.0,M,,",
        "GNRMC,100000.00,A,4530.0,N,00930.0,E,80.0,0.0,140626,,,A",
        "GNVTG,0.0,T,,M,80.0,N,148.2,K,A",
    ];
    for body in bodies {
        let mut count = 0;
        receiver.push_slice(sentence(body).as_bytes(), |_| count += 1);
        heard.push(count);
    }
    assert_eq!(heard, [0, 1, 0]);
    assert_eq!(receiver.counts().merged, 1);
}

#[test]
fn without_rmc_the_last_of_the_usual_set_tells() {
    let mut receiver = Receiver::default();
    let mut last = Vec::new();
    for second in 0..50u8 {
        let gga = format!("GNGGA,1000{second:02}.00,4530.0,N,00930.0,E,1,12,0.8,120.0,M,45.0,M,,");
        let (mut at_gga, mut at_vtg) = (Vec::new(), Vec::new());
        receiver.push_slice(sentence(&gga).as_bytes(), |s| at_gga.push(s.time_us));
        let vtg = sentence("GNVTG,0.0,T,,M,,N,36.0,K,A");
        receiver.push_slice(vtg.as_bytes(), |s| {
            assert!((s.speed_mps.unwrap() - 10.0).abs() < 1e-3);
            at_vtg.push(s.time_us);
        });
        // While an RMC may still come, each epoch waits for the next one's first sentence.
        match second {
            0 => assert_eq!((at_gga.len(), at_vtg.len()), (0, 0)),
            1..29 => assert_eq!((at_gga.len(), at_vtg.len()), (1, 0)),
            29.. => assert_eq!(at_vtg.len(), 1),
        }
        last = at_vtg;
    }
    assert_eq!(last, [36_049_000_000]);
}

#[test]
fn an_rmc_without_speed_takes_the_vtgs() {
    let (samples, _) = read(&stream(&[
        "GNRMC,100000.00,A,4530.0,N,00930.0,E,,,140626,,,A",
        "GNVTG,,T,,M,,N,,K,A",
        "GNRMC,100001.00,A,4530.0,N,00930.0,E,,,140626,,,A",
        "GNVTG,45.0,T,,M,20.0,N,37.04,K,A",
        "GNRMC,100002.00,A,4530.0,N,00930.0,E,,,140626,,,A",
    ]));
    assert_eq!(samples.len(), 3);
    assert_eq!(samples[0].speed_mps, None);
    assert!((samples[1].speed_mps.unwrap() - 10.288_889).abs() < 1e-5);
    assert_eq!(samples[2].speed_mps, None);
}

#[test]
fn fields_that_cannot_be_read_are_refused_and_named() {
    for body in [
        "GNRMC,250000.00,A,4530.0,N,00930.0,E,54.3,90.0,140626,,,A",
        "GNRMC,10000,A,45x0.0,N,00930.0,E,54.3,90.0,140626,,,A",
        "GNRMC,100000.00,A,4560.0,N,00930.0,E,54.3,90.0,140626,,,A",
        "GNRMC,100000.00,A,9000.1,N,00930.0,E,54.3,90.0,140626,,,A",
        "GNRMC,100000.00,A,4530.0,Q,00930.0,E,54.3,90.0,140626,,,A",
        "GNRMC,100000.00,A,4530.0,N,00930.0,E,-1.0,90.0,140626,,,A",
        "GNRMC,100000.00,A,4530.0,N,00930.0,E,1e5,90.0,140626,,,A",
        "GNRMC,100000.00,A,4530.0,N,00930.0,E,99999999.0,90.0,140626,,,A",
        "GNRMC,100000.00,A,.,N,00930.0,E,5.0,90.0,140626,,,A",
    ] {
        let (samples, counts) = read(&stream(&[body]));
        assert!(samples.is_empty(), "{body}");
        assert_eq!(counts.refused(Reason::Malformed).count, 1, "{body}");
    }
}

#[test]
fn many_decimals_are_rounded_not_refused() {
    let (samples, _) = read(&stream(&[
        "GNRMC,100000.1234567,A,4530.123456789,N,00930.000000049,E,54.30009,90.00005,140626,,,A",
    ]));
    assert_eq!(samples[0].time_us, 36_000_123_457);
    assert_eq!(lat_lon(&samples[0]), (455_020_576, 95_000_000));
}

#[test]
fn proprietary_addresses_are_not_taken_for_rmc() {
    let (samples, counts) = read(&stream(&[
        "PGRMC,A,218.8,100,6378137.000,298.257223563,0,0",
    ]));
    assert!(samples.is_empty());
    assert_eq!((counts.rmc, counts.other_nmea), (0, 1));
}

#[test]
fn too_long_a_sentence_is_dropped_whole() {
    let mut bytes = format!("$GNRMC,100000.00,A,{}\r\n", "0".repeat(200)).into_bytes();
    bytes.extend(stream(&[
        "GNRMC,100001.00,A,4530.0,N,00930.0,E,5.0,90.0,140626,,,A",
    ]));
    let (samples, counts) = read(&bytes);
    assert_eq!(samples.len(), 1);
    assert_eq!(counts.refused(Reason::TooLong).count, 1);
}

#[test]
fn halves_around_a_break_are_not_joined() {
    let text = sentence("GNRMC,100001.00,A,4530.0,N,00930.0,E,5.0,90.0,140626,,,A");
    let (head, tail) = text.split_at(30);
    let mut receiver = Receiver::default();
    let mut count = 0;
    receiver.push_slice(head.as_bytes(), |_| count += 1);
    receiver.break_off();
    receiver.push_slice(tail.as_bytes(), |_| count += 1);
    assert_eq!(count, 0);
    assert_eq!(receiver.counts().refused(Reason::Cut).count, 1);
}

#[test]
fn a_second_star_ends_a_sentence_at_once() {
    let mut receiver = Receiver::default();
    for byte in b"$GNRMC,100000.00,A,4530.0**" {
        receiver.push(*byte, |_| panic!("no sample in it"));
    }
    assert_eq!(receiver.counts().refused(Reason::Checksum).count, 1);
}

//! Recordings and live streams into samples.

mod any_bytes;
mod check;
mod differential;
mod faults;
mod gnss;
mod receivers;
mod tables;
mod whole;

use cuepost_engine::receiver::{Counts, Receiver};
use cuepost_engine::{Position, Sample};
use cuepost_host::source::{self, Options, Report, SourceError};
use std::path::{Path, PathBuf};

/// A file below `tests/data`.
pub fn data(name: &str) -> PathBuf {
    cuepost_tests::csv::data(name)
}

/// What a file below `tests/data` gives: samples, the report, and the error that ended it.
pub fn open(name: &str, columns: &[&str]) -> (Vec<Sample>, Report, Option<SourceError>) {
    let options = Options::with_columns(columns).expect("columns");
    read_all(&data(name), &options).expect("a recording")
}

/// The same for any path; an error that leaves nothing to read is the result's.
pub fn read_all(
    path: &Path,
    options: &Options,
) -> Result<(Vec<Sample>, Report, Option<SourceError>), SourceError> {
    let mut recording = source::open(path, options)?;
    let mut samples = Vec::new();
    let mut error = None;
    for item in &mut recording {
        match item {
            Ok(sample) => samples.push(sample),
            Err(fault) => error = Some(fault),
        }
    }
    Ok((samples, recording.report(), error))
}

/// What bytes give to the engine's receiver.
pub fn receive(bytes: &[u8]) -> (Vec<Sample>, Counts) {
    let mut receiver = Receiver::default();
    let mut samples = Vec::new();
    receiver.push_slice(bytes, |sample| samples.push(sample));
    receiver.finish(|sample| samples.push(sample));
    (samples, *receiver.counts())
}

/// Latitude and longitude of a sample, degrees.
pub fn lat_lon(sample: &Sample) -> Option<(f64, f64)> {
    match sample.position? {
        Position::Geodetic { lat_e7, lon_e7 } => {
            Some((f64::from(lat_e7) * 1e-7, f64::from(lon_e7) * 1e-7))
        }
        Position::Local { .. } => None,
    }
}

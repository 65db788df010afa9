//! Writes recordings so that little is lost whatever happens.

use cuepost_engine::check::Check;
use cuepost_engine::wire::{EncodeFault, FRAME_MAX, Header, Mark, Message, encode};
use cuepost_engine::{Position, Sample};
use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::path::Path;

/// How often what is recorded leaves the program.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Pace {
    /// While driving: to the operating system at least every 0.2 s of source time, to the disk
    /// every second.
    #[default]
    Live,
    /// When converting: in large blocks, to the disk at the end.
    Bulk,
}

/// Source time after which a live recording is handed to the operating system.
const FLUSH_US: u64 = 200_000;
/// Source time after which it is put on the disk.
const SYNC_US: u64 = 1_000_000;
/// Bytes after which a bulk recording is handed on.
const BLOCK: usize = 1 << 16;
/// The most bytes kept back while the disk is full; then they are dropped and counted.
const KEEP: usize = 1 << 20;

/// What a recording can be written to.
pub trait Target: Write {
    /// Puts what was written where a power cut does not reach it.
    fn sync(&mut self) -> io::Result<()>;
}

impl Target for File {
    fn sync(&mut self) -> io::Result<()> {
        self.sync_data()
    }
}

impl Target for Vec<u8> {
    fn sync(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Writes a recording. An error (a full disk) is returned and does not end the recording: what
/// could not be written is kept, up to 1 MiB, and tried again with the next sample.
#[derive(Debug)]
pub struct Writer<T: Target> {
    target: T,
    pace: Pace,
    waiting: Vec<u8>,
    flushed_us: u64,
    synced_us: u64,
    lost: u64,
    blanked: u64,
}

impl Writer<File> {
    /// Begins a recording in a new file; an existing one is not touched.
    pub fn create(path: &Path, pace: Pace, header: &Header) -> io::Result<Self> {
        let file = OpenOptions::new()
            .append(true)
            .create_new(true)
            .open(path)?;
        Self::new(file, pace, header)
    }
}

impl<T: Target> Writer<T> {
    /// Begins a recording.
    pub fn new(target: T, pace: Pace, header: &Header) -> io::Result<Self> {
        let mut writer = Self {
            target,
            pace,
            waiting: Vec::new(),
            flushed_us: 0,
            synced_us: 0,
            lost: 0,
            blanked: 0,
        };
        writer.append(&Message::Header(header.clone()))?;
        writer.flush()?;
        Ok(writer)
    }

    /// Records a sample. A value that is not finite or absurd is recorded as unknown.
    pub fn sample(&mut self, sample: &Sample) -> io::Result<()> {
        let mut sample = *sample;
        while let Err(field) = sample.check() {
            blank(&mut sample, field);
            self.blanked += 1;
        }
        self.append(&Message::Sample(sample))?;
        self.keep_pace(sample.time_us)
    }

    /// Records what a person marked; at once, marks are few.
    pub fn mark(&mut self, mark: &Mark) -> io::Result<()> {
        self.append(&Message::Mark(mark.clone()))?;
        self.flush()
    }

    /// Records any other message.
    pub fn message(&mut self, message: &Message) -> io::Result<()> {
        self.append(message)?;
        if self.waiting.len() >= BLOCK {
            self.flush()?;
        }
        Ok(())
    }

    /// Hands everything to the operating system: it survives the end of the program.
    pub fn flush(&mut self) -> io::Result<()> {
        while !self.waiting.is_empty() {
            match self.target.write(&self.waiting) {
                Ok(0) => return Err(io::ErrorKind::WriteZero.into()),
                Ok(n) => drop(self.waiting.drain(..n)),
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(e) => return Err(e),
            }
        }
        Ok(())
    }

    /// Hands everything over and puts it on the disk; returns what was written to.
    pub fn finish(mut self) -> io::Result<T> {
        self.flush()?;
        self.target.sync()?;
        Ok(self.target)
    }

    /// What is written to.
    pub fn target_mut(&mut self) -> &mut T {
        &mut self.target
    }

    /// Messages dropped because the disk stayed full.
    pub fn lost(&self) -> u64 {
        self.lost
    }

    /// Values recorded as unknown because they were not finite or absurd.
    pub fn blanked(&self) -> u64 {
        self.blanked
    }

    fn keep_pace(&mut self, now_us: u64) -> io::Result<()> {
        // Time that runs backward (a restarted source) counts as elapsed.
        let since = |then: u64| now_us.checked_sub(then).unwrap_or(u64::MAX);
        match self.pace {
            Pace::Live if since(self.flushed_us) >= FLUSH_US => {
                self.flush()?;
                self.flushed_us = now_us;
                if since(self.synced_us) >= SYNC_US {
                    self.synced_us = now_us;
                    self.target.sync()?;
                }
                Ok(())
            }
            Pace::Bulk if self.waiting.len() >= BLOCK => self.flush(),
            _ => Ok(()),
        }
    }

    fn append(&mut self, message: &Message) -> io::Result<()> {
        let mut frame = [0; FRAME_MAX];
        let n = encode(message, &mut frame).map_err(|e| match e {
            EncodeFault::TooSmall => io::Error::other("message larger than a frame"),
            EncodeFault::Value(field) => {
                io::Error::new(io::ErrorKind::InvalidInput, format!("{field} out of range"))
            }
        })?;
        if self.waiting.len() + n > KEEP {
            // A frame ends where a delimiter follows another byte.
            let ends = self.waiting.windows(2).filter(|w| w[0] != 0 && w[1] == 0);
            self.lost += ends.count() as u64;
            self.waiting.clear();
        }
        self.waiting.extend_from_slice(&frame[..n]);
        Ok(())
    }
}

/// Makes the field unknown. Time is kept within its range instead: it cannot be unknown.
fn blank(sample: &mut Sample, field: &str) {
    match field {
        "lat_e7" | "lon_e7" | "east_mm" | "north_mm" => sample.position = None::<Position>,
        "speed_mps" => sample.speed_mps = None,
        "direction_rad" => sample.direction_rad = None,
        "position_sd_m" => sample.position_sd_m = None,
        "speed_sd_mps" => sample.speed_sd_mps = None,
        "long_acc_mps2" => sample.long_acc_mps2 = None,
        "lat_acc_mps2" => sample.lat_acc_mps2 = None,
        "yaw_rate_rps" => sample.yaw_rate_rps = None,
        "brake" => sample.brake = None,
        "throttle" => sample.throttle = None,
        "steer" => sample.steer = None,
        "time_us" => sample.time_us = cuepost_engine::check::TIME_MAX_US,
        // A field with a range but without a line here: nothing of the sample is kept but its time.
        _ => {
            *sample = Sample {
                time_us: sample.time_us,
                ..Sample::default()
            }
        }
    }
}

//! A flash that is stricter than the hardware: it refuses what real ones do wrongly in silence,
//! and its power fails after a set number of steps (a word written, a byte erased).

use super::Memory;
use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash, check_erase, check_write,
};
use std::vec;
use std::vec::Vec;

/// Flash of `WORD`-byte writes and `SECTOR`-byte erases.
pub struct StrictFlash<const WORD: usize, const SECTOR: usize> {
    bytes: Vec<u8>,
    /// Words written since they were erased: none may be written twice.
    written: Vec<bool>,
    /// Steps until the power fails.
    pub steps_left: u64,
    /// Steps done.
    pub steps: u64,
    noise: u32,
}

/// What it answers: the kind, or that the power is gone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Misuse.
    Use(NorFlashErrorKind),
    /// A word was written again without an erase between.
    Twice(usize),
    /// No power.
    Power,
}

impl NorFlashError for Fault {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::Use(kind) => *kind,
            _ => NorFlashErrorKind::Other,
        }
    }
}

impl<const WORD: usize, const SECTOR: usize> StrictFlash<WORD, SECTOR> {
    /// Erased flash.
    pub fn new(bytes: usize) -> Self {
        Self {
            bytes: vec![0xFF; bytes],
            written: vec![false; bytes / WORD],
            steps_left: u64::MAX,
            steps: 0,
            noise: 0x2545_F491,
        }
    }

    /// Flash with these contents, as found at power-up.
    pub fn found(bytes: &[u8]) -> Self {
        let mut flash = Self::new(bytes.len());
        flash.written = bytes
            .chunks(WORD)
            .map(|w| w.iter().any(|b| *b != 0xFF))
            .collect();
        flash.bytes = bytes.to_vec();
        flash
    }

    /// The power comes back.
    pub fn power_up(mut self) -> Self {
        self.steps_left = u64::MAX;
        self
    }

    fn step(&mut self) -> bool {
        self.noise ^= self.noise << 13;
        self.noise ^= self.noise >> 17;
        self.noise ^= self.noise << 5;
        if self.steps_left == 0 {
            return false;
        }
        self.steps_left -= 1;
        self.steps += 1;
        true
    }
}

impl<const WORD: usize, const SECTOR: usize> ErrorType for StrictFlash<WORD, SECTOR> {
    type Error = Fault;
}

impl<const WORD: usize, const SECTOR: usize> ReadNorFlash for StrictFlash<WORD, SECTOR> {
    const READ_SIZE: usize = 1;
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Fault> {
        let at = offset as usize;
        bytes.copy_from_slice(&self.bytes[at..at + bytes.len()]);
        Ok(())
    }
    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl<const WORD: usize, const SECTOR: usize> NorFlash for StrictFlash<WORD, SECTOR> {
    const WRITE_SIZE: usize = WORD;
    const ERASE_SIZE: usize = SECTOR;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Fault> {
        check_erase(self, from, to).map_err(Fault::Use)?;
        for at in from as usize..to as usize {
            if !self.step() {
                // A byte the erase was at: any of its zeros may have become ones.
                self.bytes[at] |= self.noise as u8;
                self.written[at / WORD] = true;
                return Err(Fault::Power);
            }
            self.bytes[at] = 0xFF;
            self.written[at / WORD] = false;
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Fault> {
        check_write(self, offset, bytes.len()).map_err(Fault::Use)?;
        for (n, word) in bytes.chunks(WORD).enumerate() {
            let at = offset as usize + n * WORD;
            if self.written[at / WORD] {
                return Err(Fault::Twice(at));
            }
            self.written[at / WORD] = true;
            let power = self.step();
            for (i, byte) in word.iter().enumerate() {
                // Without power, any of the bits to be cleared may not have been.
                let missed = if power {
                    0
                } else {
                    self.noise.rotate_left(8 * i as u32) as u8
                };
                self.bytes[at + i] &= byte | missed;
            }
            if !power {
                return Err(Fault::Power);
            }
        }
        Ok(())
    }
}

impl<const WORD: usize, const SECTOR: usize> Memory for StrictFlash<WORD, SECTOR> {
    fn mapped(&self) -> &[u8] {
        &self.bytes
    }
}

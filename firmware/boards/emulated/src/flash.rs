//! Flash in the upper part of the board's code memory, which the program does not reach.

use cuepost_firmware::store::Memory;
use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};

/// Where it begins.
const BASE: usize = 0x0030_0000;
/// How large it is, bytes: two slots of 32 KiB.
pub const BYTES: u32 = 0x1_0000;

/// The flash. There is one; two of these are the same.
pub struct Flash;

impl Flash {
    fn all(&self) -> &'static [u8] {
        // SAFETY: memory of the board that nothing else uses, alive for ever. It is written only
        // through `&mut self`, while nothing borrowed from `&self` is alive.
        unsafe { core::slice::from_raw_parts(BASE as *const u8, BYTES as usize) }
    }

    fn put(&mut self, offset: u32, byte: u8) {
        // SAFETY: callers have checked that `offset` is inside; memory as above.
        unsafe { ((BASE + offset as usize) as *mut u8).write_volatile(byte) }
    }
}

impl ErrorType for Flash {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        check_read(self, offset, bytes.len())?;
        let there = self.all().iter().skip(offset as usize);
        for (place, byte) in bytes.iter_mut().zip(there) {
            *place = *byte;
        }
        Ok(())
    }

    fn capacity(&self) -> usize {
        BYTES as usize
    }
}

impl NorFlash for Flash {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        check_erase(self, from, to)?;
        for offset in from..to {
            self.put(offset, 0xFF);
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        check_write(self, offset, bytes.len())?;
        for (at, byte) in (offset..).zip(bytes) {
            // As flash does: bits can only be cleared.
            let there = self.all().get(at as usize).copied().unwrap_or(0xFF);
            self.put(at, there & byte);
        }
        Ok(())
    }
}

impl Memory for Flash {
    fn mapped(&self) -> &[u8] {
        self.all()
    }
}

//! The store's part of the board's flash: two sectors of 128 KiB behind the program.

use cuepost_firmware::store::{Memory, Region};
use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};
use stm32f4xx_hal::flash::{FlashExt, LockedFlash};

/// Sector 5 and sector 6.
pub const REGION: Region = Region {
    begin: 0x2_0000,
    slot_bytes: 0x2_0000,
};

/// The flash.
pub struct Flash(pub LockedFlash);

impl ErrorType for Flash {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        check_read(self, offset, bytes.len())?;
        let there = self.mapped().iter().skip(offset as usize);
        for (place, byte) in bytes.iter_mut().zip(there) {
            *place = *byte;
        }
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.0.len()
    }
}

impl NorFlash for Flash {
    const WRITE_SIZE: usize = 1;
    /// The smaller sectors in front belong to the program.
    const ERASE_SIZE: usize = 0x2_0000;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        check_erase(self, from, to)?;
        if from < REGION.begin {
            return Err(NorFlashErrorKind::OutOfBounds);
        }
        NorFlash::erase(&mut self.0.unlocked(), from, to).map_err(|_| NorFlashErrorKind::Other)
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        check_write(self, offset, bytes.len())?;
        NorFlash::write(&mut self.0.unlocked(), offset, bytes).map_err(|_| NorFlashErrorKind::Other)
    }
}

impl Memory for Flash {
    fn mapped(&self) -> &[u8] {
        self.0.read()
    }
}

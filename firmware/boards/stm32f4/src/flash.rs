//! The store's part of the board's flash: two sectors of 128 KiB behind the program.

use cuepost_firmware::store::{Memory, Region};
use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};
use stm32f4xx_hal::flash::{FlashExt, LockedFlash, UnlockedFlash};

/// Sector 5 and sector 6.
pub const REGION: Region = Region {
    begin: 0x2_0000,
    slot_bytes: 0x2_0000,
};

/// The flash.
pub struct Flash(pub LockedFlash);

impl Flash {
    /// Changes it. The library asserts that the chip did unlock it, the one panic that is left beside
    /// those of the start; the car stands when flash is written.
    #[cfg(not(feature = "proof"))]
    fn unlocked<E>(
        &mut self,
        change: impl FnOnce(&mut UnlockedFlash<'_>) -> Result<(), E>,
    ) -> Result<(), NorFlashErrorKind> {
        change(&mut self.0.unlocked()).map_err(|_| NorFlashErrorKind::Other)
    }

    /// Left out of the proof for that.
    #[cfg(feature = "proof")]
    fn unlocked<E>(
        &mut self,
        _: impl FnOnce(&mut UnlockedFlash<'_>) -> Result<(), E>,
    ) -> Result<(), NorFlashErrorKind> {
        Err(NorFlashErrorKind::Other)
    }
}

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
        self.unlocked(|flash| NorFlash::erase(flash, from, to))
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        check_write(self, offset, bytes.len())?;
        self.unlocked(|flash| NorFlash::write(flash, offset, bytes))
    }
}

impl Memory for Flash {
    fn mapped(&self) -> &[u8] {
        self.0.read()
    }
}

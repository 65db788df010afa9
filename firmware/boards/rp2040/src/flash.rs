//! The store's part of the board's flash: 64 KiB behind the first megabyte.

use cuepost_firmware::store::Memory;
use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};
use rp2040_flash::flash::{flash_range_erase, flash_range_program};

/// Where it begins in the flash.
const BEGIN: u32 = 0x10_0000;
/// Where the flash is mapped.
const MAPPED: usize = 0x1000_0000;
/// Its size, bytes.
pub const BYTES: u32 = 0x1_0000;

/// The flash. Taken once, by `main`.
pub struct Flash;

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
        BYTES as usize
    }
}

impl NorFlash for Flash {
    const WRITE_SIZE: usize = 256;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        check_erase(self, from, to)?;
        for sector in (from..to).step_by(Self::ERASE_SIZE) {
            let place = BEGIN.saturating_add(sector);
            // Inside, as has been checked; said once more where the compiler sees it, as the library
            // asserts it.
            if place >= BEGIN + BYTES {
                return Err(NorFlashErrorKind::OutOfBounds);
            }
            // One sector at a time, so that bytes that come in meanwhile are lost for 50 ms only.
            // SAFETY: whole sectors behind the program; nothing runs from flash meanwhile, because
            // interrupts are off and the other core was never started.
            critical_section::with(|_| unsafe {
                flash_range_erase(place, Self::ERASE_SIZE as u32, true);
            });
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        check_write(self, offset, bytes.len())?;
        // SAFETY: whole pages behind the program, from RAM; nothing runs from flash meanwhile.
        critical_section::with(|_| unsafe {
            flash_range_program(BEGIN + offset, bytes, true);
        });
        Ok(())
    }
}

impl Memory for Flash {
    fn mapped(&self) -> &[u8] {
        // SAFETY: flash that is mapped for ever and changes only through `&mut self`.
        unsafe {
            core::slice::from_raw_parts((MAPPED + BEGIN as usize) as *const u8, BYTES as usize)
        }
    }
}

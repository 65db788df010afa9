//! The serial ports.
//!
//! The emulator hands over one byte at a time and holds the next back until it is read, so there
//! is nothing to queue.

use core::convert::Infallible;
use cuepost_firmware::port::Input;
use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};

/// One of the board's ports, in use or not.
pub struct Uart {
    base: usize,
}

const DATA: usize = 0x00;
const STATE: usize = 0x04;
const CONTROL: usize = 0x08;
const BAUD_DIVIDER: usize = 0x10;

const FULL_TO_SEND: u32 = 1;
const FULL_RECEIVED: u32 = 2;

impl Uart {
    /// Opens port 0, 1, 2 or 3; any other number is port 3.
    pub fn open(number: u8) -> Self {
        let base = match number {
            0 => 0x4000_4000,
            1 => 0x4000_5000,
            2 => 0x4000_6000,
            _ => 0x4000_7000,
        };
        let uart = Self { base };
        uart.write_register(BAUD_DIVIDER, 16);
        uart.write_register(CONTROL, 3);
        // Without one read after it is enabled the emulator may never hand a byte over.
        let _ = uart.read_register(DATA);
        uart
    }

    fn read_register(&self, offset: usize) -> u32 {
        // SAFETY: `base` is a port of this board and `offset` one of its registers.
        unsafe { ((self.base + offset) as *const u32).read_volatile() }
    }

    fn write_register(&self, offset: usize, value: u32) {
        // SAFETY: as above.
        unsafe { ((self.base + offset) as *mut u32).write_volatile(value) }
    }

    /// Sends bytes, waiting for each: for reports, not for the main loop.
    pub fn send(&mut self, bytes: &[u8]) {
        for byte in bytes {
            while self.read_register(STATE) & FULL_TO_SEND != 0 {}
            self.write_register(DATA, u32::from(*byte));
        }
    }
}

impl ErrorType for Uart {
    type Error = Infallible;
}

impl ReadReady for Uart {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.read_register(STATE) & FULL_RECEIVED != 0)
    }
}

impl Read for Uart {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Infallible> {
        let mut read = 0;
        for place in bytes {
            if self.read_register(STATE) & FULL_RECEIVED == 0 {
                break;
            }
            *place = self.read_register(DATA) as u8;
            read += 1;
        }
        Ok(read)
    }
}

impl Input for Uart {}

impl WriteReady for Uart {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.read_register(STATE) & FULL_TO_SEND == 0)
    }
}

impl Write for Uart {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        let mut written = 0;
        for byte in bytes {
            if self.read_register(STATE) & FULL_TO_SEND != 0 {
                break;
            }
            self.write_register(DATA, u32::from(*byte));
            written += 1;
        }
        Ok(written)
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

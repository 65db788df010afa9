//! What the board shows cues on. The lamp is traced on a serial port; strip, sounder and screen
//! end in memory that nothing reads, so that their code is on the board and their work is counted.

use crate::clock;
use crate::uart::Uart;
use core::convert::Infallible;
use cuepost_firmware::output::OutputFault;
use cuepost_firmware::sounder::Tone;
use embedded_hal::digital::{self, OutputPin};
use embedded_hal::i2c::{self, I2c};
use embedded_hal::spi::{self, SpiBus};

/// A pin that tells on UART 3 what becomes of it: `on` or `off`, the milliseconds, a line feed.
pub struct TracedPin;

impl TracedPin {
    fn tell(&mut self, what: &[u8]) {
        let mut port = Uart::open(3);
        port.send(what);
        let mut digits = [b'0'; 10];
        let mut left = clock::milliseconds();
        for digit in digits.iter_mut().rev() {
            *digit = b'0' + (left % 10) as u8;
            left /= 10;
        }
        port.send(&digits);
        port.send(b"\n");
    }
}

impl digital::ErrorType for TracedPin {
    type Error = Infallible;
}

impl OutputPin for TracedPin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.tell(b"off ");
        Ok(())
    }
    fn set_high(&mut self) -> Result<(), Infallible> {
        self.tell(b"on ");
        Ok(())
    }
}

/// Somewhere a value can go that the compiler cannot look into.
fn sink(value: u32) {
    let place = core::hint::black_box(value);
    let _ = core::hint::black_box(place);
}

/// A bus that takes everything.
pub struct Bus;

impl spi::ErrorType for Bus {
    type Error = Infallible;
}

impl SpiBus for Bus {
    fn read(&mut self, words: &mut [u8]) -> Result<(), Infallible> {
        words.fill(0);
        Ok(())
    }
    fn write(&mut self, words: &[u8]) -> Result<(), Infallible> {
        words.iter().for_each(|word| sink(u32::from(*word)));
        Ok(())
    }
    fn transfer(&mut self, read: &mut [u8], write: &[u8]) -> Result<(), Infallible> {
        SpiBus::write(self, write)?;
        SpiBus::read(self, read)
    }
    fn transfer_in_place(&mut self, words: &mut [u8]) -> Result<(), Infallible> {
        SpiBus::write(self, words)
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// A sounder nobody hears.
pub struct Beeper;

impl Tone for Beeper {
    fn tone(&mut self, pitch_hz: Option<u16>) -> Result<(), OutputFault> {
        sink(u32::from(pitch_hz.unwrap_or(0)));
        Ok(())
    }
}

impl i2c::ErrorType for Bus {
    type Error = Infallible;
}

impl I2c for Bus {
    fn transaction(
        &mut self,
        _: u8,
        operations: &mut [i2c::Operation<'_>],
    ) -> Result<(), Infallible> {
        for operation in operations {
            match operation {
                i2c::Operation::Write(bytes) => bytes.iter().for_each(|b| sink(u32::from(*b))),
                i2c::Operation::Read(bytes) => bytes.fill(0),
            }
        }
        Ok(())
    }
}

//! What the board shows cues on. The lamp is traced on a serial port; strip, sounder and screen
//! end in memory that nothing reads, so that their code is on the board and their work is counted.

use crate::clock;
use crate::uart::Uart;
use core::convert::Infallible;
use cuepost_firmware::output::OutputFault;
use cuepost_firmware::sounder::Tone;
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::*;
use embedded_hal::digital::{self, OutputPin};
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
        self.write(write)?;
        self.read(read)
    }
    fn transfer_in_place(&mut self, words: &mut [u8]) -> Result<(), Infallible> {
        self.write(words)
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

const WIDTH: usize = 128;
const HEIGHT: usize = 64;

/// A screen's buffer, eight pixels a byte down each column, as the small panels have it.
pub struct Panel {
    pixels: [u8; WIDTH * HEIGHT / 8],
}

impl Panel {
    /// A dark one.
    pub const fn new() -> Self {
        Self {
            pixels: [0; WIDTH * HEIGHT / 8],
        }
    }

    /// Brings it to the glass.
    pub fn present(&mut self) -> Result<(), OutputFault> {
        self.pixels.iter().for_each(|byte| sink(u32::from(*byte)));
        Ok(())
    }
}

impl Default for Panel {
    fn default() -> Self {
        Self::new()
    }
}

impl OriginDimensions for Panel {
    fn size(&self) -> Size {
        Size::new(WIDTH as u32, HEIGHT as u32)
    }
}

impl DrawTarget for Panel {
    type Color = BinaryColor;
    type Error = Infallible;

    fn draw_iter<I: IntoIterator<Item = Pixel<BinaryColor>>>(
        &mut self,
        pixels: I,
    ) -> Result<(), Infallible> {
        for Pixel(at, colour) in pixels {
            let (Ok(x), Ok(y)) = (usize::try_from(at.x), usize::try_from(at.y)) else {
                continue;
            };
            if x >= WIDTH {
                continue;
            }
            if let Some(byte) = self.pixels.get_mut((y / 8) * WIDTH + x) {
                let bit = 1 << (y % 8);
                *byte = if colour.is_on() {
                    *byte | bit
                } else {
                    *byte & !bit
                };
            }
        }
        Ok(())
    }
}

//! The common panel of 128 × 64 with an SSD1306 on I²C, and the buffer it is drawn into.
//!
//! Commands and their order: Solomon Systech, "SSD1306 Advance Information", rev. 1.1, chapters 9
//! and 10, and its application note (software configuration), from memory; the crate `ssd1306`
//! sends the same, which the test holds against it. That crate and the one it sends through can
//! panic, and a board that starts again in mid-lap is worse than a dark screen.

use super::{HEIGHT, WIDTH};
use crate::output::OutputFault;
use core::convert::Infallible;
use embedded_graphics::geometry::Size;
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::*;
use embedded_hal::i2c::I2c;

/// The address nearly all of them have; a resistor on the back makes it 0x3D.
const ADDRESS: u8 = 0x3C;
/// Bytes of contents in one message.
const PIECE: usize = 16;
const COLUMNS: usize = WIDTH as usize;
const BYTES: usize = COLUMNS * (HEIGHT as usize) / 8;

/// Sets a panel up, and the place of the next contents to its beginning.
const SET_UP: [u8; 33] = [
    0x00, // commands follow
    0xAE, // off
    0xD5, 0x80, // its clock
    0xA8, 0x3F, // 64 rows
    0xD3, 0x00, 0x40, // the first is the first
    0x8D, 0x14, // its own high voltage
    0x20, 0x00, // contents from left to right, then the next eight rows
    0xDA, 0x12, // how the rows are wired
    0xA1, 0xC8, // the plug above
    0xD9, 0x21, 0x81, 0x5F, 0xDB, 0x40, // brightness
    0xA4, 0xA6, 0x2E, 0xAF, // what is in memory, lit where set, still, on
    0x21, 0x00, 0x7F, 0x22, 0x00, 0x07, // all columns, all rows
];

/// A panel and its buffer, eight pixels a byte down each column.
pub struct Panel<B> {
    bus: B,
    pixels: [u8; BYTES],
}

impl<B: I2c> Panel<B> {
    /// A dark one.
    pub const fn new(bus: B) -> Self {
        Self {
            bus,
            pixels: [0; BYTES],
        }
    }

    /// Brings the buffer to the glass. A panel that was not there before is set up first, so it is
    /// set up every time.
    pub fn present(&mut self) -> Result<(), OutputFault> {
        let Self { bus, pixels } = self;
        let mut send = |bytes: &[u8]| bus.write(ADDRESS, bytes).map_err(|_| OutputFault);
        send(&SET_UP)?;
        let (pieces, _) = pixels.as_chunks::<PIECE>();
        for piece in pieces {
            // Contents follow.
            let mut message = [0x40; PIECE + 1];
            if let Some(place) = message.last_chunk_mut() {
                *place = *piece;
            }
            send(&message)?;
        }
        Ok(())
    }
}

impl<B> OriginDimensions for Panel<B> {
    fn size(&self) -> Size {
        Size::new(WIDTH.unsigned_abs(), HEIGHT.unsigned_abs())
    }
}

impl<B> DrawTarget for Panel<B> {
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
            if x >= COLUMNS {
                continue;
            }
            let place = (y / 8).saturating_mul(COLUMNS).saturating_add(x);
            if let Some(byte) = self.pixels.get_mut(place) {
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

#[cfg(test)]
mod tests {
    use super::*;
    use embedded_graphics::primitives::Rectangle;
    use embedded_hal::i2c::{ErrorKind, ErrorType, NoAcknowledgeSource, Operation};
    use std::vec::Vec;

    /// What a panel on the bus was sent: commands, and contents behind one another.
    #[derive(Default)]
    struct Sent {
        commands: Vec<u8>,
        contents: Vec<u8>,
        absent: bool,
    }

    impl ErrorType for &mut Sent {
        type Error = ErrorKind;
    }

    impl I2c for &mut Sent {
        fn transaction(
            &mut self,
            address: u8,
            operations: &mut [Operation<'_>],
        ) -> Result<(), ErrorKind> {
            assert_eq!(address, 0x3C);
            if self.absent {
                return Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
            }
            for operation in operations {
                match operation {
                    Operation::Write([0x00, rest @ ..]) => self.commands.extend_from_slice(rest),
                    Operation::Write([0x40, rest @ ..]) => self.contents.extend_from_slice(rest),
                    other => panic!("a panel is not asked {other:?}"),
                }
            }
            Ok(())
        }
    }

    fn drawn<D: DrawTarget<Color = BinaryColor>>(to: &mut D)
    where
        D::Error: core::fmt::Debug,
    {
        to.clear(BinaryColor::Off).unwrap();
        let odd = Rectangle::new(Point::new(5, 3), Size::new(20, 30));
        to.fill_solid(&odd, BinaryColor::On).unwrap();
        let pixels = [(0, 0), (127, 63), (-1, 5), (128, 0), (4, 64), (6, 4)];
        let off = |(x, y)| Pixel(Point::new(x, y), BinaryColor::from((x, y) != (6, 4)));
        to.draw_iter(pixels.map(off)).unwrap();
    }

    /// The crate `ssd1306` 0.10 sends the same commands but for the window of what has changed, and
    /// the same contents.
    #[test]
    fn what_the_panel_is_sent_is_what_the_usual_driver_sends() {
        use ssd1306::mode::DisplayConfig;
        use ssd1306::prelude::{DisplayRotation, DisplaySize128x64};

        let mut ours = Sent::default();
        let mut panel = Panel::new(&mut ours);
        assert_eq!(panel.size(), Size::new(128, 64));
        drawn(&mut panel);
        panel.present().unwrap();

        let mut theirs = Sent::default();
        let bus = ssd1306::I2CDisplayInterface::new(&mut theirs);
        let size = DisplaySize128x64;
        let mut panel = ssd1306::Ssd1306::new(bus, size, DisplayRotation::Rotate0)
            .into_buffered_graphics_mode();
        // It clears its buffer when it sets the panel up.
        panel.init().unwrap();
        drawn(&mut panel);
        panel.flush().unwrap();

        assert_eq!(ours.contents.len(), 1024);
        assert!(ours.contents == theirs.contents, "another picture");
        assert_eq!(ours.commands, theirs.commands);
    }

    #[test]
    fn a_panel_that_is_not_there_is_a_fault_and_no_panic() {
        let mut nobody = Sent {
            absent: true,
            ..Sent::default()
        };
        assert!(Panel::new(&mut nobody).present().is_err());
    }
}

//! The common panel of 128 × 64 with an SSD1306 on I²C, and the buffer it is drawn into.
//!
//! Commands and their order: Solomon Systech, "SSD1306 Advance Information", rev. 1.1, chapters 9
//! and 10, and its application note (software configuration), from memory. The crate `ssd1306` 0.10
//! sends the same bytes (compared once, with a recording of a bus), but it and what it sends through
//! can panic, and a board that starts again in mid-lap is worse than a dark screen.

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

    /// A panel as its data sheet says (chapter 10, command table; from memory): anything it does not
    /// know is refused.
    #[derive(Debug)]
    struct Glass {
        absent: bool,
        memory: [u8; 1024],
        columns: (u8, u8),
        pages: (u8, u8),
        at: (u8, u8),
        on: bool,
        high_voltage: bool,
        rows: u8,
        shift: u8,
        left_to_right: bool,
        /// Lit everywhere, inverted, scrolling.
        odd: [bool; 3],
        /// Columns and rows counted from the side of the plug, rows wired in turn.
        turned: [bool; 3],
    }

    impl Glass {
        /// As at power-up, with noise in its memory.
        fn new() -> Self {
            Self {
                absent: false,
                memory: core::array::from_fn(|k| k as u8),
                columns: (0, 127),
                pages: (0, 7),
                at: (9, 3),
                on: false,
                high_voltage: false,
                rows: 0,
                shift: 9,
                left_to_right: false,
                odd: [true; 3],
                turned: [false; 3],
            }
        }

        fn command(&mut self, bytes: &mut impl Iterator<Item = u8>) -> Option<()> {
            let code = bytes.next()?;
            let mut next = || bytes.next().expect("the rest of a command");
            match code {
                0xAE | 0xAF => self.on = code & 1 == 1,
                // Clock, time to charge, contrast, level of the rows at rest: taste.
                0xD5 | 0xD9 | 0x81 | 0xDB => drop(next()),
                0xA8 => self.rows = next() + 1,
                0xD3 => self.shift = next(),
                0x40..=0x7F => assert_eq!(code & 0x3F, 0, "begins further down"),
                0x8D => self.high_voltage = next() & 4 != 0,
                0x20 => self.left_to_right = next() == 0,
                0xDA => self.turned[2] = next() == 0x12,
                0xA0 | 0xA1 => self.turned[0] = code & 1 == 1,
                0xC0 | 0xC8 => self.turned[1] = code & 8 != 0,
                0xA4 | 0xA5 => self.odd[0] = code & 1 == 1,
                0xA6 | 0xA7 => self.odd[1] = code & 1 == 1,
                0x2E | 0x2F => self.odd[2] = code & 1 == 1,
                0x21 => {
                    self.columns = (next(), next());
                    self.at.0 = self.columns.0;
                }
                0x22 => {
                    self.pages = (next(), next());
                    self.at.1 = self.pages.0;
                }
                other => panic!("a panel knows no command {other:#x}"),
            }
            Some(())
        }

        fn content(&mut self, byte: u8) {
            let (column, page) = self.at;
            self.memory[usize::from(page) * 128 + usize::from(column)] = byte;
            self.at = match (column == self.columns.1, page == self.pages.1) {
                (false, _) => (column + 1, page),
                (true, false) => (self.columns.0, page + 1),
                (true, true) => (self.columns.0, self.pages.0),
            };
        }

        fn lit(&self, x: usize, y: usize) -> bool {
            self.memory[y / 8 * 128 + x] >> (y % 8) & 1 == 1
        }
    }

    impl ErrorType for &mut Glass {
        type Error = ErrorKind;
    }

    impl I2c for &mut Glass {
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
                    Operation::Write([0x00, rest @ ..]) => {
                        let mut bytes = rest.iter().copied();
                        while self.command(&mut bytes).is_some() {}
                    }
                    Operation::Write([0x40, rest @ ..]) => {
                        rest.iter().for_each(|byte| self.content(*byte));
                    }
                    other => panic!("a panel is not asked {other:?}"),
                }
            }
            Ok(())
        }
    }

    #[test]
    fn what_was_drawn_is_on_the_glass_each_time_it_is_brought_there() {
        let mut glass = Glass::new();
        let mut panel = Panel::new(&mut glass);
        assert_eq!(panel.size(), Size::new(128, 64));
        panel.clear(BinaryColor::On).unwrap();
        panel.present().unwrap();
        panel.clear(BinaryColor::Off).unwrap();
        let odd = Rectangle::new(Point::new(5, 3), Size::new(20, 30));
        panel.fill_solid(&odd, BinaryColor::On).unwrap();
        let pixels = [(0, 0), (127, 63), (-1, 5), (128, 0), (4, 64), (6, 4)];
        let pixel = |(x, y)| Pixel(Point::new(x, y), BinaryColor::from((x, y) != (6, 4)));
        panel.draw_iter(pixels.map(pixel)).unwrap();
        panel.present().unwrap();
        for (x, y) in (0..128).flat_map(|x| (0..64).map(move |y| (x, y))) {
            let within = (5..25).contains(&x) && (3..33).contains(&y) && (x, y) != (6, 4);
            let wanted = within || [(0, 0), (127, 63)].contains(&(x, y));
            assert_eq!(glass.lit(x, y), wanted, "{x} {y}");
        }
        assert!(glass.on && glass.high_voltage && glass.left_to_right);
        assert_eq!((glass.rows, glass.shift), (64, 0));
        assert_eq!((glass.odd, glass.turned), ([false; 3], [true; 3]));
    }

    #[test]
    fn a_panel_that_is_not_there_is_a_fault_and_no_panic() {
        let mut nobody = Glass::new();
        nobody.absent = true;
        assert!(Panel::new(&mut nobody).present().is_err());
    }
}

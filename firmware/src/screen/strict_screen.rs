//! A screen of 128 × 64 that refuses a pixel beyond its edge, and can be printed.

use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::*;
use std::string::String;
use std::vec;
use std::vec::Vec;

const WIDTH: usize = 128;
const HEIGHT: usize = 64;

pub struct StrictScreen {
    lit: Vec<bool>,
    /// What it answers to the next drawing.
    pub broken: bool,
}

impl StrictScreen {
    /// A screen full of noise, as panels are at power-up.
    pub fn new() -> Self {
        Self {
            lit: (0..WIDTH * HEIGHT).map(|i| i % 7 == 0).collect(),
            broken: false,
        }
    }

    /// Eight pixels a letter (two wide, four high), in the Braille letters of Unicode; rows and
    /// ends of rows without a lit pixel left out.
    pub fn printed(&self) -> String {
        // Bit of each dot, by column and row (the Unicode Standard, block Braille Patterns).
        const DOTS: [[u32; 4]; 2] = [[0x01, 0x02, 0x04, 0x40], [0x08, 0x10, 0x20, 0x80]];
        let mut text = String::new();
        for y in (0..HEIGHT).step_by(4) {
            let mut line = String::new();
            for x in (0..WIDTH).step_by(2) {
                let mut bits = 0;
                for (dx, column) in DOTS.iter().enumerate() {
                    for (dy, bit) in column.iter().enumerate() {
                        if self.lit[(y + dy) * WIDTH + x + dx] {
                            bits |= bit;
                        }
                    }
                }
                line.push(char::from_u32(0x2800 + bits).unwrap());
            }
            let line = line.trim_end_matches('\u{2800}');
            if !line.is_empty() {
                text.push_str(line);
                text.push('\n');
            }
        }
        text
    }
}

impl OriginDimensions for StrictScreen {
    fn size(&self) -> embedded_graphics::geometry::Size {
        embedded_graphics::geometry::Size::new(WIDTH as u32, HEIGHT as u32)
    }
}

/// The panel does not answer.
#[derive(Debug)]
pub struct Broken;

impl DrawTarget for StrictScreen {
    type Color = BinaryColor;
    type Error = Broken;

    fn draw_iter<I: IntoIterator<Item = Pixel<BinaryColor>>>(
        &mut self,
        pixels: I,
    ) -> Result<(), Broken> {
        if self.broken {
            return Err(Broken);
        }
        for Pixel(at, colour) in pixels {
            let inside = (0..WIDTH as i32).contains(&at.x) && (0..HEIGHT as i32).contains(&at.y);
            assert!(inside, "drawn beyond the edge: {at:?}");
            self.lit[at.y as usize * WIDTH + at.x as usize] = colour.is_on();
        }
        Ok(())
    }

    fn clear(&mut self, colour: BinaryColor) -> Result<(), Broken> {
        self.lit = vec![colour.is_on(); WIDTH * HEIGHT];
        if self.broken { Err(Broken) } else { Ok(()) }
    }
}

//! A strip of addressable lamps over SPI.
//!
//! Four quarters from left to right, one a phase: brake, trail, rotation, throttle. A quarter is
//! filled from its middle to the left for sooner/less and to the right for later/more, the farther
//! the larger the advice is. Colour says the way once more, never alone.

use crate::output::{Output, OutputFault};
use crate::settings::Settings;
use cuepost_engine::{Advice, Cue, Phase, Size, Way};
use embedded_hal::spi::SpiBus;

/// A colour, 0 to 255 each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Colour {
    /// Red.
    pub red: u8,
    /// Green.
    pub green: u8,
    /// Blue.
    pub blue: u8,
}

/// Dark.
pub const DARK: Colour = colour(0, 0, 0);
/// Sooner or less: sky blue of the set by Okabe and Ito, "Color Universal Design" (2008).
pub const LESS: Colour = colour(86, 180, 233);
/// Later or more: orange of the same set.
pub const MORE: Colour = colour(230, 159, 0);
/// Keep it: bluish green of the same set.
pub const KEEP: Colour = colour(0, 158, 115);

const fn colour(red: u8, green: u8, blue: u8) -> Colour {
    Colour { red, green, blue }
}

/// How long a cue stays up, microseconds.
pub const SHOWN_US: u64 = 2_500_000;

/// The share of half a quarter that a size fills, above 0 and up to 1: full at 24 m, 4 m/s,
/// 4 m/s² or 0.4 s, which is beyond what a driver should change in one lap.
pub fn share(size: Size) -> f32 {
    let share = match size {
        Size::Metres(m) => m / 24.0,
        Size::Speed(mps) => mps / 4.0,
        Size::Deceleration(mps2) => mps2 / 4.0,
        Size::Seconds(s) => s / 0.4,
    };
    // Written so that a size that is not a number lights as little as can be.
    if share > 0.0 { share.min(1.0) } else { 0.0 }
}

/// What a strip of `N` lamps shows for an advice; `N` is a multiple of eight. Lamp 0 is on the
/// left. At least one lamp is lit, however small the size.
pub fn picture<const N: usize>(phase: Phase, advice: Advice, size: Size) -> [Colour; N] {
    const {
        assert!(
            N >= 8 && N.is_multiple_of(8),
            "a strip has a multiple of eight lamps"
        )
    };
    let half = N / 8;
    let way = advice.way();
    let quarter = match phase {
        Phase::Straight | Phase::Brake => 0,
        Phase::Trail => 1,
        Phase::Rotation => 2,
        Phase::Throttle => 3,
    };
    let middle = (quarter * 2 + 1) * half;
    // Rounded up; the cast cuts off.
    let filled = ((share(size) * half as f32 + 0.999) as usize).clamp(1, half);
    let (lit, colour) = match (way, phase) {
        (Way::Keep, _) => (0..N, KEEP),
        (_, Phase::Straight) => (0..0, DARK),
        (Way::Less, _) => (middle - filled..middle, LESS),
        (Way::More, _) => (middle..middle + filled, MORE),
    };
    let mut lamps = [DARK; N];
    for (at, lamp) in lamps.iter_mut().enumerate() {
        if lit.contains(&at) {
            *lamp = colour;
        }
    }
    lamps
}

/// A lamp's 24 bits on a line clocked at 3.0 to 3.3 MHz, four clocks a bit: `1000` is a zero,
/// `1110` a one. Lamps of this family read the length of the high part: 0.3 µs and 0.9 µs. Green
/// goes first, the highest bit of each colour first.
pub fn on_the_line(colour: Colour) -> [u8; 12] {
    let bits = u32::from(colour.green) << 16 | u32::from(colour.red) << 8 | u32::from(colour.blue);
    let mut line = [0; 12];
    for (at, byte) in line.iter_mut().enumerate() {
        let pair = bits >> (22 - 2 * at as u32);
        let one = |bit: u32| if pair & bit == 0 { 0b1000 } else { 0b1110 };
        *byte = one(2) << 4 | one(1);
    }
    line
}

/// Low for this many bytes (0.3 ms at 3.2 MHz) after the last lamp, so that all lamps take over
/// what they were sent.
pub const LATCH_BYTES: usize = 128;

/// A strip of `N` lamps on an SPI bus of its own.
pub struct Strip<S, const N: usize> {
    bus: S,
    shown: Option<[Colour; N]>,
    want: [Colour; N],
    until_us: u64,
}

impl<S: SpiBus, const N: usize> Strip<S, N> {
    /// A dark strip.
    pub fn new(bus: S) -> Self {
        Self {
            bus,
            shown: None,
            want: [DARK; N],
            until_us: 0,
        }
    }

    /// Gives the bus back.
    pub fn release(self) -> S {
        self.bus
    }

    fn send(&mut self, lamps: &[Colour; N], brightness: u8) -> Result<(), S::Error> {
        let line = lamps.map(|lamp| on_the_line(dimmed(lamp, brightness)));
        self.bus.write(line.as_flattened())?;
        self.bus.write(&[0; LATCH_BYTES])?;
        self.bus.flush()
    }
}

fn dimmed(colour: Colour, brightness: u8) -> Colour {
    let dim = |c: u8| ((u16::from(c) * (u16::from(brightness) + 1)) >> 8) as u8;
    Colour {
        red: dim(colour.red),
        green: dim(colour.green),
        blue: dim(colour.blue),
    }
}

impl<S: SpiBus, const N: usize> Output for Strip<S, N> {
    fn show(&mut self, cue: &Cue, settings: &Settings, now_us: u64) {
        if settings.strip {
            self.want = picture(cue.phase, cue.advice, cue.size);
            self.until_us = now_us.saturating_add(SHOWN_US);
        }
    }

    fn tick(&mut self, settings: &Settings, now_us: u64) -> Result<(), OutputFault> {
        if now_us >= self.until_us || !settings.strip {
            self.want = [DARK; N];
        }
        if self.shown == Some(self.want) {
            return Ok(());
        }
        let lamps = self.want;
        let sent = self.send(&lamps, settings.strip_brightness);
        self.shown = sent.is_ok().then_some(lamps);
        sent.map_err(|_| OutputFault)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_cue::cue;
    use embedded_hal_mock::eh1::spi::{Mock, Transaction};
    use smart_leds_trait::SmartLedsWrite;
    use std::string::String;
    use std::vec;
    use std::vec::Vec;

    /// `<` less, `>` more, `+` keep, `.` dark; quarters apart.
    fn drawn(phase: Phase, advice: Advice, size: Size) -> String {
        let mut text = String::new();
        for (at, lamp) in picture::<32>(phase, advice, size).iter().enumerate() {
            if at > 0 && at % 8 == 0 {
                text.push(' ');
            }
            text.push(match *lamp {
                LESS => '<',
                MORE => '>',
                KEEP => '+',
                DARK => '.',
                other => panic!("{other:?}"),
            });
        }
        text
    }

    #[test]
    fn the_pictures_as_they_are_seen() {
        use {Advice::*, Phase::*};
        let metres = Size::Metres;
        let expected = [
            (
                Brake,
                Sooner,
                metres(24.0),
                "<<<<.... ........ ........ ........",
            ),
            (
                Brake,
                Later,
                metres(12.0),
                "....>>.. ........ ........ ........",
            ),
            (
                Brake,
                Harder,
                Size::Deceleration(0.9),
                "....>... ........ ........ ........",
            ),
            (
                Brake,
                SmallerLift,
                Size::Seconds(0.2),
                "..<<.... ........ ........ ........",
            ),
            (
                Trail,
                Shorter,
                metres(7.0),
                "........ ..<<.... ........ ........",
            ),
            (
                Rotation,
                Faster,
                Size::Speed(2.5),
                "........ ........ ....>>>. ........",
            ),
            (
                Rotation,
                Tighter,
                metres(0.01),
                "........ ........ ...<.... ........",
            ),
            (
                Throttle,
                Sooner,
                metres(900.0),
                "........ ........ ........ <<<<....",
            ),
            (
                Throttle,
                Steady,
                Size::Seconds(0.1),
                "........ ........ ........ ....>...",
            ),
            (
                Throttle,
                Later,
                metres(f32::NAN),
                "........ ........ ........ ....>...",
            ),
            (
                Straight,
                Sooner,
                metres(9.0),
                "........ ........ ........ ........",
            ),
            (
                Brake,
                Better,
                Size::Seconds(0.1),
                "++++++++ ++++++++ ++++++++ ++++++++",
            ),
        ];
        for (phase, advice, size, lamps) in expected {
            assert_eq!(
                drawn(phase, advice, size),
                lamps,
                "{phase:?} {advice:?} {size:?}"
            );
        }
    }

    #[test]
    fn eight_lamps_are_enough() {
        let lamps = picture::<8>(Phase::Throttle, Advice::Later, Size::Metres(1.0));
        assert_eq!(lamps.iter().position(|l| *l == MORE), Some(7));
    }

    /// The line code against another implementation of it: the crate `ws2812-spi`.
    #[test]
    fn the_line_code_is_the_one_that_others_send() {
        let colours = [
            LESS,
            MORE,
            KEEP,
            DARK,
            colour(1, 2, 128),
            colour(255, 0, 77),
        ];
        let ours: Vec<u8> = colours.iter().flat_map(|c| on_the_line(*c)).collect();
        let mut other = Recorder(Vec::new());
        let mut theirs = ws2812_spi::Ws2812::new(&mut other);
        let leds = colours.map(|c| smart_leds_trait::RGB8::new(c.red, c.green, c.blue));
        theirs.write(leds).unwrap();
        assert!(
            other.0.windows(ours.len()).any(|w| w == ours),
            "{:x?} {:x?}",
            ours,
            other.0
        );
    }

    struct Recorder(Vec<u8>);
    impl embedded_hal::spi::ErrorType for Recorder {
        type Error = core::convert::Infallible;
    }
    impl SpiBus for Recorder {
        fn read(&mut self, _: &mut [u8]) -> Result<(), Self::Error> {
            Ok(())
        }
        fn write(&mut self, words: &[u8]) -> Result<(), Self::Error> {
            self.0.extend_from_slice(words);
            Ok(())
        }
        fn transfer(&mut self, _: &mut [u8], words: &[u8]) -> Result<(), Self::Error> {
            self.write(words)
        }
        fn transfer_in_place(&mut self, words: &mut [u8]) -> Result<(), Self::Error> {
            self.write(words)
        }
        fn flush(&mut self) -> Result<(), Self::Error> {
            Ok(())
        }
    }

    fn sent(lamps: [Colour; 8], brightness: u8) -> Vec<Transaction<u8>> {
        let line = lamps.map(|l| on_the_line(dimmed(l, brightness)));
        vec![
            Transaction::write_vec(line.as_flattened().to_vec()),
            Transaction::write_vec(vec![0; LATCH_BYTES]),
            Transaction::flush(),
        ]
    }

    #[test]
    fn the_bus_is_written_on_a_change_only() {
        let settings = Settings::default();
        let lit = picture(Phase::Brake, Advice::Sooner, Size::Metres(8.0));
        let mut expected = sent([DARK; 8], settings.strip_brightness);
        expected.extend(sent(lit, settings.strip_brightness));
        expected.extend(sent([DARK; 8], settings.strip_brightness));
        let mut strip = Strip::<_, 8>::new(Mock::new(&expected));
        strip.tick(&settings, 0).unwrap();
        strip.show(
            &cue(Phase::Brake, Advice::Sooner, 8.0),
            &settings,
            1_000_000,
        );
        for at_us in (1_000_000..5_000_000).step_by(1_000) {
            strip.tick(&settings, at_us).unwrap();
        }
        strip.release().done();
    }

    #[test]
    fn a_strip_that_is_off_stays_dark() {
        let settings = Settings {
            strip: false,
            ..Settings::default()
        };
        let mut strip = Strip::<_, 8>::new(Mock::new(&sent([DARK; 8], 64)));
        strip.show(&cue(Phase::Brake, Advice::Sooner, 8.0), &settings, 0);
        for at_us in (0..100_000).step_by(1_000) {
            strip.tick(&settings, at_us).unwrap();
        }
        strip.release().done();
    }
}

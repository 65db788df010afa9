//! One plain lamp on one pin, in the lamp code of [`crate::pattern`].

use crate::output::{Output, OutputFault};
use crate::pattern::{Moment, Pattern, Player};
use crate::settings::Settings;
use cuepost_engine::Cue;
use embedded_hal::digital::OutputPin;

/// How long the lamp is lit after power-up to show that it works, microseconds.
pub const CHECK_US: u64 = 1_000_000;

/// A lamp that lights while its pin is high.
pub struct Lamp<P> {
    pin: P,
    player: Player,
    lit: Option<bool>,
    check_until_us: Option<u64>,
}

impl<P: OutputPin> Lamp<P> {
    /// A lamp that is lit for [`CHECK_US`] from the first tick on.
    pub fn new(pin: P) -> Self {
        Self {
            pin,
            player: Player::default(),
            lit: None,
            check_until_us: None,
        }
    }

    /// Gives the pin back.
    pub fn release(self) -> P {
        self.pin
    }
}

impl<P: OutputPin> Output for Lamp<P> {
    fn show(&mut self, cue: &Cue, settings: &Settings, now_us: u64) {
        if let (true, Some(pattern)) = (settings.lamp, Pattern::of(cue.phase, cue.advice)) {
            self.player.play(pattern, now_us);
        }
    }

    fn tick(&mut self, settings: &Settings, now_us: u64) -> Result<(), OutputFault> {
        let check_until_us = *self
            .check_until_us
            .get_or_insert(now_us.saturating_add(CHECK_US));
        let moment = self.player.at(now_us).map(|(_, moment, _)| moment);
        let lit = settings.lamp && (moment == Some(Moment::On) || now_us < check_until_us);
        if self.lit == Some(lit) {
            return Ok(());
        }
        let set = if lit {
            self.pin.set_high()
        } else {
            self.pin.set_low()
        };
        self.lit = set.is_ok().then_some(lit);
        set.map_err(|_| OutputFault)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_cue::cue;
    use cuepost_engine::{Advice, Phase};
    use embedded_hal_mock::eh1::MockError;
    use embedded_hal_mock::eh1::digital::{Mock, State, Transaction};
    use std::io::ErrorKind;
    use std::vec::Vec;

    fn set(high: bool) -> Transaction {
        Transaction::set(if high { State::High } else { State::Low })
    }

    fn run(lamp: &mut Lamp<Mock>, settings: &Settings, from_ms: u64, to_ms: u64) {
        for ms in from_ms..to_ms {
            lamp.tick(settings, ms * 1_000).unwrap();
        }
    }

    #[test]
    fn lit_at_power_up_then_pulses_as_the_code_says() {
        let settings = Settings::default();
        let mut expected = Vec::from([set(true), set(false)]);
        for _ in 0..4 {
            expected.extend([set(true), set(false)]);
        }
        let mut lamp = Lamp::new(Mock::new(&expected));
        run(&mut lamp, &settings, 0, 5_000);
        lamp.show(
            &cue(Phase::Throttle, Advice::Sooner, 12.0),
            &settings,
            5_000_000,
        );
        run(&mut lamp, &settings, 5_000, 9_000);
        lamp.release().done();
    }

    #[test]
    fn a_pin_that_fails_is_tried_again() {
        let settings = Settings::default();
        let failure = MockError::Io(ErrorKind::Other);
        let expected = [set(true).with_error(failure), set(true)];
        let mut lamp = Lamp::new(Mock::new(&expected));
        assert_eq!(lamp.tick(&settings, 0), Err(OutputFault));
        assert_eq!(lamp.tick(&settings, 1_000), Ok(()));
        lamp.release().done();
    }

    #[test]
    fn a_lamp_that_is_off_in_the_settings_never_lights() {
        let settings = Settings {
            lamp: false,
            ..Settings::default()
        };
        let mut lamp = Lamp::new(Mock::new(&[set(false)]));
        run(&mut lamp, &settings, 0, 100);
        lamp.show(&cue(Phase::Brake, Advice::Later, 12.0), &settings, 100_000);
        run(&mut lamp, &settings, 100, 2_000);
        lamp.release().done();
    }
}

//! A sounder: the counts and lengths of the lamp code, low for sooner/less, high for later/more.

use crate::output::{Output, OutputFault};
use crate::pattern::{KEEP_ON_MS, Moment, Pattern, Player};
use crate::settings::Settings;
use cuepost_engine::{Cue, Way};
use embedded_hal::pwm::SetDutyCycle;

/// The low tone, hertz: sooner, or less.
pub const LOW_HZ: u16 = 1_200;
/// The high tone, hertz: later, or more. An octave above the low one, so that nobody has to have
/// heard the other to tell them apart twice.
pub const HIGH_HZ: u16 = 2_400;

/// A sounder that can be told a pitch.
pub trait Tone {
    /// Sounds at this pitch, or is silent.
    fn tone(&mut self, pitch_hz: Option<u16>) -> Result<(), OutputFault>;
}

/// A PWM channel as a [`Tone`]. `embedded-hal` knows a channel's duty but not its frequency, so
/// the board hands in how that is set.
pub struct PwmTone<P, F> {
    pwm: P,
    set_pitch: F,
}

impl<P: SetDutyCycle, F: FnMut(&mut P, u16)> PwmTone<P, F> {
    /// A channel and how to set its frequency in hertz.
    pub fn new(pwm: P, set_pitch: F) -> Self {
        Self { pwm, set_pitch }
    }

    /// Gives the channel back.
    pub fn release(self) -> P {
        self.pwm
    }
}

impl<P: SetDutyCycle, F: FnMut(&mut P, u16)> Tone for PwmTone<P, F> {
    fn tone(&mut self, pitch_hz: Option<u16>) -> Result<(), OutputFault> {
        let set = match pitch_hz {
            Some(hz) => {
                (self.set_pitch)(&mut self.pwm, hz);
                let half = self.pwm.max_duty_cycle() / 2;
                self.pwm.set_duty_cycle(half)
            }
            None => self.pwm.set_duty_cycle(0),
        };
        set.map_err(|_| OutputFault)
    }
}

/// The pitch at a moment of a pattern, or silence. "Keep it" rises from low to high.
pub fn pitch_hz(pattern: &Pattern, since_ms: u64) -> Option<u16> {
    if pattern.at_ms(since_ms) != Moment::On {
        return None;
    }
    match pattern.way() {
        Way::Less => Some(LOW_HZ),
        Way::More => Some(HIGH_HZ),
        Way::Keep if since_ms < u64::from(KEEP_ON_MS / 2) => Some(LOW_HZ),
        Way::Keep => Some(HIGH_HZ),
    }
}

/// A sounder that plays cues.
pub struct Sounder<T> {
    tone: T,
    player: Player,
    /// What it was last told; `None` before the first time or after a fault.
    sounding: Option<Option<u16>>,
}

impl<T: Tone> Sounder<T> {
    /// A silent sounder.
    pub fn new(tone: T) -> Self {
        Self {
            tone,
            player: Player::default(),
            sounding: None,
        }
    }

    /// Gives the tone back.
    pub fn release(self) -> T {
        self.tone
    }
}

impl<T: Tone> Output for Sounder<T> {
    fn show(&mut self, cue: &Cue, settings: &Settings, now_us: u64) {
        if let (true, Some(pattern)) = (settings.sounder, Pattern::of(cue.phase, cue.advice)) {
            self.player.play(pattern, now_us);
        }
    }

    fn tick(&mut self, settings: &Settings, now_us: u64) -> Result<(), OutputFault> {
        let playing = self
            .player
            .at(now_us)
            .filter(|(_, moment, _)| *moment == Moment::On);
        let pitch = playing
            .filter(|_| settings.sounder)
            .and_then(|(pattern, _, since_ms)| pitch_hz(&pattern, since_ms));
        if self.sounding == Some(pitch) {
            return Ok(());
        }
        let told = self.tone.tone(pitch);
        self.sounding = told.is_ok().then_some(pitch);
        told
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_cue::cue;
    use cuepost_engine::{Advice, Phase};
    use embedded_hal_mock::eh1::pwm::{Mock, Transaction};
    use std::string::String;
    use std::vec::Vec;

    /// One letter for 50 ms: `_` low, `^` high, `.` silent.
    fn drawn(phase: Phase, advice: Advice) -> String {
        let pattern = Pattern::of(phase, advice).unwrap();
        (0..u64::from(pattern.length_ms()))
            .step_by(50)
            .map(|ms| match pitch_hz(&pattern, ms) {
                Some(LOW_HZ) => '_',
                Some(HIGH_HZ) => '^',
                _ => '.',
            })
            .collect()
    }

    #[test]
    fn the_tones_as_they_are_heard() {
        use {Advice::*, Phase::*};
        assert_eq!(drawn(Throttle, Sooner), "___.....___.....___.....___.....");
        assert_eq!(
            drawn(Trail, Longer),
            "^^^^^^^^....^^^^^^^^................^^^^^^^^....^^^^^^^^...."
        );
        assert_eq!(drawn(Brake, Better), "_______________^^^^^^^^^^^^^^^");
    }

    #[test]
    fn the_channel_is_set_on_a_change_only() {
        let settings = Settings {
            sounder: true,
            ..Settings::default()
        };
        let mut expected = Vec::from([Transaction::set_duty_cycle(0)]);
        for _ in 0..4 {
            expected.extend([
                Transaction::max_duty_cycle(1_000),
                Transaction::set_duty_cycle(500),
                Transaction::set_duty_cycle(0),
            ]);
        }
        let mut pitches = Vec::new();
        let pwm = Mock::new(&expected);
        let mut sounder = Sounder::new(PwmTone::new(pwm, |_: &mut Mock, hz| pitches.push(hz)));
        sounder.tick(&settings, 0).unwrap();
        sounder.show(&cue(Phase::Throttle, Advice::Later, 12.0), &settings, 0);
        for ms in 0..4_000 {
            sounder.tick(&settings, ms * 1_000).unwrap();
        }
        sounder.release().release().done();
        assert_eq!(pitches, [HIGH_HZ; 4]);
    }
}

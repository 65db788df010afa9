//! What a board is set to: which port the samples come from and what shows the cues.
//!
//! On the wire and in flash a setting is a key and a value. `docs/WIRE.md` has the keys.

use cuepost_engine::wire;
use cuepost_engine::wire::text::SpeedUnit;

/// Where the samples come from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Source {
    /// NMEA or UBX on the receiver port.
    #[default]
    Receiver,
    /// Wire samples on the computer port: a simulator or a replay.
    Computer,
}

/// What the display port says.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum DisplayPort {
    /// Nothing.
    Off,
    /// One plain line of text a cue.
    #[default]
    Text,
    /// Wire frames.
    Frames,
}

/// Speed of the receiver port.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Baud {
    /// 9,600: what most receivers begin with; too slow for 10 positions a second.
    B9600,
    /// 38,400.
    B38400,
    /// 115,200: enough for 25 positions a second.
    #[default]
    B115200,
    /// 230,400.
    B230400,
    /// 460,800.
    B460800,
}

impl Baud {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::B9600,
        Self::B38400,
        Self::B115200,
        Self::B230400,
        Self::B460800,
    ];

    /// Bits a second.
    pub const fn bits_a_second(self) -> u32 {
        match self {
            Self::B9600 => 9_600,
            Self::B38400 => 38_400,
            Self::B115200 => 115_200,
            Self::B230400 => 230_400,
            Self::B460800 => 460_800,
        }
    }
}

/// The settings of a board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// Where the samples come from.
    pub source: Source,
    /// Receiver port speed; boards read it at power-up.
    pub receiver_baud: Baud,
    /// What the display port says.
    pub display: DisplayPort,
    /// The plain lamp is in use.
    pub lamp: bool,
    /// The strip of addressable lamps is in use.
    pub strip: bool,
    /// The strip's brightness, 0 dark to 255 full.
    pub strip_brightness: u8,
    /// The sounder is in use.
    pub sounder: bool,
    /// The screen is in use.
    pub screen: bool,
    /// What speeds are told in, on the screen and in text.
    pub units: SpeedUnit,
}

impl Default for Settings {
    /// A receiver at 115,200 baud, text for a display, everything on but the sounder.
    fn default() -> Self {
        Self {
            source: Source::Receiver,
            receiver_baud: Baud::B115200,
            display: DisplayPort::Text,
            lamp: true,
            strip: true,
            strip_brightness: 64,
            sounder: false,
            screen: true,
            units: SpeedUnit::Kmh,
        }
    }
}

/// A setting's key, as it goes over the wire and into flash.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Key {
    /// [`Settings::source`]: 0 receiver, 1 computer.
    Source = 1,
    /// [`Settings::receiver_baud`]: bits a second.
    ReceiverBaud = 2,
    /// [`Settings::display`]: 0 off, 1 text, 2 frames.
    Display = 3,
    /// [`Settings::lamp`]: 0 off, 1 on.
    Lamp = 4,
    /// [`Settings::strip`]: 0 off, 1 on.
    Strip = 5,
    /// [`Settings::strip_brightness`]: 0 to 255.
    StripBrightness = 6,
    /// [`Settings::sounder`]: 0 off, 1 on.
    Sounder = 7,
    /// [`Settings::screen`]: 0 off, 1 on.
    Screen = 8,
    /// [`Settings::units`]: 0 m/s, 1 km/h.
    Units = 9,
}

impl Key {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::Source,
        Self::ReceiverBaud,
        Self::Display,
        Self::Lamp,
        Self::Strip,
        Self::StripBrightness,
        Self::Sounder,
        Self::Screen,
        Self::Units,
    ];

    /// The key with this number.
    pub fn from_byte(byte: u8) -> Option<Self> {
        Self::ALL.into_iter().find(|key| *key as u8 == byte)
    }

    /// Its name for people.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Source => "source",
            Self::ReceiverBaud => "receiver-baud",
            Self::Display => "display",
            Self::Lamp => "lamp",
            Self::Strip => "strip",
            Self::StripBrightness => "strip-brightness",
            Self::Sounder => "sounder",
            Self::Screen => "screen",
            Self::Units => "units",
        }
    }

    /// Names of its values from 0 up; empty where the value is a number.
    pub const fn values(self) -> &'static [&'static str] {
        match self {
            Self::Source => &["receiver", "computer"],
            Self::Display => &["off", "text", "frames"],
            Self::Lamp | Self::Strip | Self::Sounder | Self::Screen => &["off", "on"],
            Self::Units => &["m/s", "km/h"],
            Self::ReceiverBaud | Self::StripBrightness => &[],
        }
    }
}

/// A setting that is unknown or cannot have the value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unsettable {
    /// The key as it came.
    pub key: u8,
    /// The value as it came.
    pub value: u32,
}

/// Bytes of a setting in flash: key, value as u32 little-endian.
const ENTRY: usize = 5;

impl Settings {
    /// Sets one setting.
    pub fn set(&mut self, key: u8, value: u32) -> Result<(), Unsettable> {
        let refused = Unsettable { key, value };
        let key = Key::from_byte(key).ok_or(refused)?;
        let switch = match value {
            0 => Ok(false),
            1 => Ok(true),
            _ => Err(refused),
        };
        match key {
            Key::Source if switch? => self.source = Source::Computer,
            Key::Source => self.source = Source::Receiver,
            Key::ReceiverBaud => {
                let mut known = Baud::ALL.into_iter();
                let baud = known.find(|baud| baud.bits_a_second() == value);
                self.receiver_baud = baud.ok_or(refused)?;
            }
            Key::Display => {
                self.display = match value {
                    0 => DisplayPort::Off,
                    1 => DisplayPort::Text,
                    2 => DisplayPort::Frames,
                    _ => return Err(refused),
                }
            }
            Key::Lamp => self.lamp = switch?,
            Key::Strip => self.strip = switch?,
            Key::StripBrightness => {
                self.strip_brightness = u8::try_from(value).map_err(|_| refused)?;
            }
            Key::Sounder => self.sounder = switch?,
            Key::Screen => self.screen = switch?,
            Key::Units if switch? => self.units = SpeedUnit::Kmh,
            Key::Units => self.units = SpeedUnit::Mps,
        }
        Ok(())
    }

    /// The value of a setting.
    pub fn get(&self, key: Key) -> u32 {
        match key {
            Key::Source => u32::from(self.source == Source::Computer),
            Key::ReceiverBaud => self.receiver_baud.bits_a_second(),
            Key::Display => match self.display {
                DisplayPort::Off => 0,
                DisplayPort::Text => 1,
                DisplayPort::Frames => 2,
            },
            Key::Lamp => u32::from(self.lamp),
            Key::Strip => u32::from(self.strip),
            Key::StripBrightness => u32::from(self.strip_brightness),
            Key::Sounder => u32::from(self.sounder),
            Key::Screen => u32::from(self.screen),
            Key::Units => u32::from(self.units == SpeedUnit::Kmh),
        }
    }

    /// These settings with some of them changed; refused whole when one cannot be set.
    pub fn with(mut self, changes: &wire::Settings) -> Result<Self, Unsettable> {
        for (key, value) in &changes.entries {
            self.set(*key, *value)?;
        }
        Ok(self)
    }

    /// All settings as a message.
    pub fn to_message(&self) -> wire::Settings {
        let mut message = wire::Settings::default();
        for key in Key::ALL {
            // There is room for twice as many.
            let _ = message.entries.push((key as u8, self.get(key)));
        }
        message
    }

    /// As kept in flash.
    pub fn to_bytes(&self) -> [u8; ENTRY * Key::ALL.len()] {
        let mut bytes = [0; ENTRY * Key::ALL.len()];
        let (entries, _) = bytes.as_chunks_mut::<ENTRY>();
        for (entry, key) in entries.iter_mut().zip(Key::ALL) {
            let [a, b, c, d] = self.get(key).to_le_bytes();
            *entry = [key as u8, a, b, c, d];
        }
        bytes
    }

    /// From flash; what this firmware does not know or cannot set stays as it is by default, so
    /// that settings outlive a change of firmware in either direction.
    pub fn from_bytes(bytes: &[u8]) -> Self {
        let mut settings = Self::default();
        let (entries, _) = bytes.as_chunks::<ENTRY>();
        for [key, value @ ..] in entries {
            let _ = settings.set(*key, u32::from_le_bytes(*value));
        }
        settings
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_setting_survives_message_and_flash() {
        let mut settings = Settings::default();
        let other = [1, 460_800, 2, 0, 0, 200, 1, 0, 0];
        for (key, value) in Key::ALL.into_iter().zip(other) {
            assert_ne!(settings.get(key), value, "{key:?}");
            settings.set(key as u8, value).unwrap();
            assert_eq!(settings.get(key), value, "{key:?}");
        }
        assert_eq!(Settings::from_bytes(&settings.to_bytes()), settings);
        let message = settings.to_message();
        assert_eq!(Settings::default().with(&message), Ok(settings));
    }

    #[test]
    fn what_cannot_be_set_is_refused_and_nothing_with_it() {
        let refused = [(0, 0), (9, 2), (1, 2), (2, 4_800), (3, 3), (4, 2), (6, 256)];
        for (key, value) in refused {
            let mut changes = wire::Settings::default();
            changes.entries.push((Key::Sounder as u8, 1)).unwrap();
            changes.entries.push((key, value)).unwrap();
            let answer = Settings::default().with(&changes);
            assert_eq!(answer, Err(Unsettable { key, value }));
        }
    }

    #[test]
    fn flash_of_another_firmware_is_read_as_far_as_it_is_known() {
        let newer = [
            99,
            1,
            2,
            3,
            4,
            Key::Lamp as u8,
            0,
            0,
            0,
            0,
            Key::Strip as u8,
            7,
            0,
            0,
            0,
            1,
        ];
        let expected = Settings {
            lamp: false,
            ..Settings::default()
        };
        assert_eq!(Settings::from_bytes(&newer), expected);
    }
}

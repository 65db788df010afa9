//! What a board is set to: which port the samples come from and what shows the cues.

use serde::{Deserialize, Serialize};

/// Where the samples come from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Source {
    /// NMEA or UBX on the receiver port.
    #[default]
    Receiver,
    /// Wire samples on the computer port: a simulator or a replay.
    Computer,
}

/// What the display port says.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum DisplayPort {
    /// One plain line of text a cue.
    #[default]
    Text,
    /// Wire frames.
    Frames,
    /// Nothing.
    Off,
}

/// Speed of the receiver port.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
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

/// The settings of a board. Whatever decodes is usable: nothing needs a range check.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
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
        }
    }
}

//! A checked layout: kinds of packet, how to tell them apart, and the channels in them.

use super::channel::Quantity;
use super::field::{ByteOrder, Field};
use serde::Deserialize;

/// The most bytes a UDP datagram carries over IPv4 (65,535 less both headers).
pub const DATAGRAM_MAX: usize = 65_507;
/// The most kinds of packet in a layout.
pub const PACKETS_MAX: usize = 32;

/// What is wrong with a layout file.
#[derive(Debug, thiserror::Error)]
pub enum LayoutError {
    /// Not TOML, or keys and values of the wrong kind; the text says where.
    #[error("{0}")]
    Toml(#[from] toml::de::Error),
    /// A packet that makes no sense.
    #[error("packet \"{packet}\": {what}")]
    Packet {
        /// Its name.
        packet: String,
        /// What is wrong and what to do.
        what: String,
    },
    /// The layout as a whole makes no sense.
    #[error("{0}")]
    Whole(String),
}

/// Where sample times come from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum TimeFrom {
    /// A time channel in the packets.
    #[default]
    Packet,
    /// The moment a packet arrives, for senders without a clock.
    Arrival,
}

/// How long a packet is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Size {
    /// Always so many bytes; a datagram may carry several.
    Exact(usize),
    /// At least so many; the rest of the datagram belongs to it.
    AtLeast(usize),
    /// It says so itself; a datagram may carry several.
    Field(Field),
}

/// What the bytes at an offset must be for a packet to be of this kind.
#[derive(Clone, Debug, PartialEq)]
pub enum Match {
    /// A text.
    Text {
        /// Bytes from the packet's begin.
        offset: usize,
        /// The text.
        text: String,
    },
    /// A number.
    Number {
        /// Where.
        field: Field,
        /// Its value.
        value: f64,
    },
}

/// A channel of a packet.
#[derive(Clone, Debug, PartialEq)]
pub struct Channel {
    /// Its name in the file.
    pub name: String,
    /// What it sets.
    pub quantity: Quantity,
    /// Where it lies (of entry 0, in an array).
    pub field: Field,
    /// SI value = `(stored * scale + add) * factor`.
    pub scale: f64,
    /// See `scale`.
    pub add: f64,
    /// From the unit in the name.
    pub factor: f64,
    /// Bytes between the entries of an array.
    pub stride: Option<usize>,
}

/// One kind of packet.
#[derive(Clone, Debug, PartialEq)]
pub struct Packet {
    /// Its name.
    pub name: String,
    /// Byte order of its numbers.
    pub order: ByteOrder,
    /// Its length.
    pub size: Size,
    /// All must hold.
    pub matches: Vec<Match>,
    /// A number that rises by one with each packet of this kind.
    pub counter: Option<Field>,
    /// Which entry of an array is the driver's.
    pub index: Option<Field>,
    /// For packets sent more rarely: how long their values stay good, microseconds.
    pub hold_us: Option<u64>,
    /// Its channels.
    pub channels: Vec<Channel>,
}

/// A checked layout.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// Name for people, may be empty.
    pub name: String,
    /// Where sample times come from.
    pub time: TimeFrom,
    /// Packets whose times differ by no more than this belong together, microseconds.
    pub join_us: u64,
    /// The kinds of packet; the first that fits is taken.
    pub packets: Vec<Packet>,
}

impl Layout {
    /// Position and speed must come together, and from packets that have a time.
    pub(super) fn check_whole(&self) -> Result<(), String> {
        let joined = || self.packets.iter().filter(|p| p.hold_us.is_none());
        let has = |q: Quantity| joined().any(|p| p.has(q));
        let both = |a, b| has(a) && has(b);
        use Quantity as Q;
        if !both(Q::Latitude, Q::Longitude) && !both(Q::East, Q::North) {
            return Err(
                "no position: some packet without hold_ms needs the channels \
                        lat_deg and lon_deg, or x_m and y_m"
                    .into(),
            );
        }
        if !has(Q::Speed) && !both(Q::VelocityEast, Q::VelocityNorth) {
            return Err(
                "no speed: some packet without hold_ms needs a channel speed_mps, \
                        speed_kmh, speed_mph or speed_kn, or velocity_x_mps and velocity_y_mps"
                    .into(),
            );
        }
        match self.time {
            TimeFrom::Packet => match self.packets.iter().find(|p| !p.has(Q::Time)) {
                Some(p) => Err(format!(
                    "packet \"{}\" has no time: give it a channel time_s, time_ms or time_us, \
                     or write time = \"arrival\" at the top if the sender has no clock",
                    p.name
                )),
                None => Ok(()),
            },
            TimeFrom::Arrival if self.packets.iter().any(|p| p.has(Q::Time)) => {
                Err("time = \"arrival\" and a time channel: use one of them".into())
            }
            TimeFrom::Arrival if joined().count() > 1 => Err(
                "time = \"arrival\" cannot join packets: give all but one of them hold_ms".into(),
            ),
            TimeFrom::Arrival => Ok(()),
        }
    }
}

impl Packet {
    /// Whether a channel of it sets the quantity.
    pub fn has(&self, quantity: Quantity) -> bool {
        self.channels.iter().any(|c| c.quantity == quantity)
    }
}

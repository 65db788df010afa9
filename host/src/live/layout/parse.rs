//! The layout file: TOML text in, a checked [`Layout`] out.

use super::channel;
use super::field::{ByteOrder, Field, Kind};
use super::file::{
    Channel, DATAGRAM_MAX, Layout, LayoutError, Match, PACKETS_MAX, Packet, Size, TimeFrom,
};
use anyhow::Context;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::Path;

/// A longer hold would show pedals the driver has long left, seconds.
const HOLD_MAX_S: f64 = 2.0;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LayoutText {
    #[serde(default)]
    name: String,
    #[serde(default)]
    byte_order: ByteOrder,
    #[serde(default)]
    time: TimeFrom,
    #[serde(default)]
    join_ms: f64,
    #[serde(default)]
    packet: Vec<PacketText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PacketText {
    name: String,
    byte_order: Option<ByteOrder>,
    size: Option<usize>,
    size_at_least: Option<usize>,
    size_field: Option<Field>,
    #[serde(default, rename = "match")]
    matches: Vec<MatchText>,
    counter: Option<Field>,
    index: Option<Field>,
    hold_ms: Option<f64>,
    channels: BTreeMap<String, ChannelText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MatchText {
    offset: usize,
    text: Option<String>,
    #[serde(rename = "type")]
    kind: Option<Kind>,
    value: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ChannelText {
    offset: usize,
    #[serde(rename = "type")]
    kind: Kind,
    #[serde(default = "one")]
    scale: f64,
    #[serde(default)]
    add: f64,
    stride: Option<usize>,
}

fn one() -> f64 {
    1.0
}

impl Layout {
    /// Reads and checks a layout file.
    pub fn read(path: &Path) -> anyhow::Result<Self> {
        let text = std::fs::read_to_string(path).with_context(|| path.display().to_string())?;
        Self::parse(&text).with_context(|| path.display().to_string())
    }

    /// Reads and checks the text of a layout file.
    pub fn parse(text: &str) -> Result<Self, LayoutError> {
        let file: LayoutText = toml::from_str(text)?;
        let whole = |what: String| Err(LayoutError::Whole(what));
        if file.packet.is_empty() || file.packet.len() > PACKETS_MAX {
            return whole(format!(
                "{} kinds of packet: give 1 to {PACKETS_MAX}, each as [[packet]]",
                file.packet.len()
            ));
        }
        if !(0.0..=1000.0).contains(&file.join_ms) {
            return whole("join_ms must be from 0 to 1000".into());
        }
        let mut packets: Vec<Packet> = Vec::new();
        for text in file.packet {
            let name = text.name.clone();
            let packet = packet(text, file.byte_order)
                .map_err(|what| LayoutError::Packet { packet: name, what })?;
            if let Some(other) = packets.iter().find(|p| same_kind(p, &packet)) {
                return Err(LayoutError::Packet {
                    packet: packet.name,
                    what: format!(
                        "nothing tells it from \"{}\": give them different size or match",
                        other.name
                    ),
                });
            }
            packets.push(packet);
        }
        let layout = Self {
            name: file.name,
            time: file.time,
            join_us: (file.join_ms * 1e3) as u64,
            packets,
        };
        layout.check_whole().map_err(LayoutError::Whole)?;
        Ok(layout)
    }
}

/// Whether every datagram that fits one also fits the other.
fn same_kind(a: &Packet, b: &Packet) -> bool {
    a.size == b.size && a.matches == b.matches && a.order == b.order
}

fn packet(text: PacketText, order: ByteOrder) -> Result<Packet, String> {
    let size = size(&text)?;
    let inside = |what: &str, field: &Field| inside(&size, what, field);
    let counter = unsigned("counter", text.counter, inside)?;
    let index = unsigned("index", text.index, inside)?;
    let hold_us = match text.hold_ms {
        Some(ms) if ms > 0.0 && ms <= HOLD_MAX_S * 1e3 => Some((ms * 1e3) as u64),
        Some(_) => {
            return Err(format!(
                "hold_ms must be above 0 and at most {}",
                HOLD_MAX_S * 1e3
            ));
        }
        None => None,
    };
    let matches = text
        .matches
        .into_iter()
        .map(|m| matching(m, &size))
        .collect::<Result<Vec<_>, _>>()?;
    let mut channels: Vec<Channel> = Vec::new();
    for (name, c) in text.channels {
        let channel = channel(&name, &c, index.is_some())?;
        inside(&name, &channel.field)?;
        if let Some(twin) = channels.iter().find(|o| o.quantity == channel.quantity) {
            return Err(format!("{} and {name} say the same: keep one", twin.name));
        }
        channels.push(channel);
    }
    if channels.is_empty() {
        return Err("no channels: leave the packet out".into());
    }
    Ok(Packet {
        name: text.name,
        order: text.byte_order.unwrap_or(order),
        size,
        matches,
        counter,
        index,
        hold_us,
        channels,
    })
}

fn size(text: &PacketText) -> Result<Size, String> {
    let size = match (text.size, text.size_at_least, text.size_field) {
        (Some(n), None, None) => Size::Exact(n),
        (None, Some(n), None) => Size::AtLeast(n),
        (None, None, Some(f)) => {
            unsigned("size_field", Some(f), |_, _| Ok(()))?;
            Size::Field(f)
        }
        _ => return Err("give one of size, size_at_least and size_field".into()),
    };
    match size {
        Size::Exact(n) | Size::AtLeast(n) if n == 0 || n > DATAGRAM_MAX => Err(format!(
            "a size of {n} bytes: a datagram has 1 to {DATAGRAM_MAX}"
        )),
        _ => Ok(size),
    }
}

/// A field must lie within the bytes that are sure to be there.
fn inside(size: &Size, what: &str, field: &Field) -> Result<(), String> {
    let sure = match size {
        Size::Exact(n) | Size::AtLeast(n) => *n,
        Size::Field(_) => DATAGRAM_MAX,
    };
    match field.end() {
        Some(end) if end <= sure => Ok(()),
        _ => Err(format!(
            "{what} at offset {} ends beyond the packet's {sure} bytes",
            field.offset
        )),
    }
}

fn unsigned(
    what: &str,
    field: Option<Field>,
    inside: impl Fn(&str, &Field) -> Result<(), String>,
) -> Result<Option<Field>, String> {
    let Some(field) = field else { return Ok(None) };
    inside(what, &field)?;
    if field.kind.counter_bits().is_none() {
        return Err(format!("{what} must be of type u8, u16, u32 or u64"));
    }
    Ok(Some(field))
}

fn matching(text: MatchText, size: &Size) -> Result<Match, String> {
    match (text.text, text.kind, text.value) {
        (Some(t), None, None) if !t.is_empty() && t.len() <= 64 => Ok(Match::Text {
            offset: text.offset,
            text: t,
        }),
        (None, Some(kind), Some(value)) if value.is_finite() => {
            let field = Field {
                offset: text.offset,
                kind,
            };
            inside(size, "match", &field)?;
            Ok(Match::Number { field, value })
        }
        _ => Err(format!(
            "match at offset {}: give either text, or type and value",
            text.offset
        )),
    }
}

fn channel(name: &str, text: &ChannelText, has_index: bool) -> Result<Channel, String> {
    let Some((quantity, factor)) = channel::named(name) else {
        return Err(format!(
            "no channel is called \"{name}\"; there are {}",
            channel::names()
        ));
    };
    if !text.scale.is_finite() || text.scale == 0.0 || !text.add.is_finite() {
        return Err(format!(
            "{name}: scale must be a number other than 0, add a number"
        ));
    }
    if text.stride.is_some_and(|s| s == 0 || s > DATAGRAM_MAX) {
        return Err(format!(
            "{name}: stride must be from 1 to {DATAGRAM_MAX} bytes"
        ));
    }
    if text.stride.is_some() && !has_index {
        return Err(format!(
            "{name}: a stride needs the packet's index, the field that says which entry is the \
             driver's"
        ));
    }
    Ok(Channel {
        name: name.to_owned(),
        quantity,
        field: Field {
            offset: text.offset,
            kind: text.kind,
        },
        scale: text.scale,
        add: text.add,
        factor,
        stride: text.stride,
    })
}

//! Datagrams in, samples out, as a [`Layout`] says.

use super::channel::Quantity;
use super::classify::split;
use super::file::{Layout, Packet, TimeFrom};
use super::order::{Order, Place, Stamp};
use super::values::Values;
use cuepost_engine::Sample;

/// The latest source time there can be, microseconds (exact in f64, 285 years).
const TIME_MAX_US: f64 = 9e15;

/// Why a datagram or a record of it gave nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refused {
    /// No bytes.
    Empty,
    /// No kind of packet of the layout fits.
    Unknown,
    /// It is shorter than it should be.
    Cut,
    /// Older than one already used.
    Late,
    /// The same one again.
    Repeated,
    /// Its time is negative or no number.
    NoTime,
    /// The packets it belongs with never came, and without them it has no position or speed.
    Unjoined,
}

/// Kinds of [`Refused`].
pub const REFUSED: usize = Refused::Unjoined as usize + 1;

impl Refused {
    /// All of them, in order.
    pub const ALL: [Self; REFUSED] = [
        Self::Empty,
        Self::Unknown,
        Self::Cut,
        Self::Late,
        Self::Repeated,
        Self::NoTime,
        Self::Unjoined,
    ];

    /// The reason in a few words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Empty => "empty packet",
            Self::Unknown => "packet of no kind in the layout",
            Self::Cut => "packet cut short",
            Self::Late => "late packet",
            Self::Repeated => "repeated packet",
            Self::NoTime => "packet without a time",
            Self::Unjoined => "packet without its partners",
        }
    }
}

/// What came of a datagram, step by step.
#[derive(Clone, Debug, PartialEq)]
pub enum Step<'a> {
    /// A record was read.
    Record {
        /// The kind of packet.
        packet: &'a Packet,
        /// What it said.
        values: &'a Values,
    },
    /// A record or the whole datagram gave nothing.
    Refused(Refused),
    /// The sender started a new session.
    Restart,
    /// A sample is complete.
    Sample(Sample),
}

/// What was read so far.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Datagrams that came.
    pub datagrams: u64,
    /// Records used.
    pub records: u64,
    /// Samples given.
    pub samples: u64,
    /// Records missing, as far as counters tell.
    pub lost: u64,
    /// New sessions of the sender.
    pub restarts: u64,
    /// Datagrams and records refused, in the order of [`Refused`].
    pub refused: [u64; REFUSED],
}

/// Reads the datagrams of one sender.
#[derive(Clone, Debug)]
pub struct PacketReader {
    layout: Layout,
    state: State,
}

#[derive(Clone, Debug)]
struct State {
    kinds: Vec<KindState>,
    pending: Option<Pending>,
    newest_us: Option<u64>,
    counts: Counts,
}

#[derive(Clone, Debug, Default)]
struct KindState {
    order: Order,
    held: Option<(u64, Values)>,
}

/// A sample some of whose packets have come.
#[derive(Clone, Copy, Debug)]
struct Pending {
    time_us: u64,
    have: u32,
    values: Values,
}

impl PacketReader {
    /// A reader that has seen nothing yet.
    pub fn new(layout: Layout) -> Self {
        let state = State {
            kinds: vec![KindState::default(); layout.packets.len()],
            pending: None,
            newest_us: None,
            counts: Counts::default(),
        };
        Self { layout, state }
    }

    /// What was read so far.
    pub fn counts(&self) -> &Counts {
        &self.state.counts
    }

    /// The layout in use.
    pub fn layout(&self) -> &Layout {
        &self.layout
    }

    /// Takes a datagram. `arrival_us` counts from any fixed moment and is used only by layouts
    /// that take their time from it. A datagram that fits the layout in part is refused whole.
    pub fn push(&mut self, datagram: &[u8], arrival_us: u64, mut tell: impl FnMut(Step<'_>)) {
        let Self { layout, state } = self;
        state.counts.datagrams += 1;
        match split(layout, datagram) {
            Ok(records) => {
                for (kind, record) in records {
                    state.record(layout, kind, record, arrival_us, &mut tell);
                }
            }
            Err(why) => state.refuse(why, &mut tell),
        }
    }
}

impl State {
    fn refuse(&mut self, why: Refused, tell: &mut impl FnMut(Step<'_>)) {
        if let Some(n) = self.counts.refused.get_mut(why as usize) {
            *n += 1;
        }
        tell(Step::Refused(why));
    }

    fn record(
        &mut self,
        layout: &Layout,
        kind: usize,
        record: &[u8],
        arrival_us: u64,
        tell: &mut impl FnMut(Step<'_>),
    ) {
        let Some(packet) = layout.packets.get(kind) else {
            return;
        };
        let Some(values) = read(packet, record) else {
            return self.refuse(Refused::Cut, tell);
        };
        tell(Step::Record {
            packet,
            values: &values,
        });
        let stated_us = match layout.time {
            TimeFrom::Arrival => None,
            TimeFrom::Packet => match values.get(Quantity::Time).map(f64::round) {
                Some(t) if (0.0..=TIME_MAX_US).contains(&t) => Some(t as u64),
                _ => return self.refuse(Refused::NoTime, tell),
            },
        };
        let stamp = Stamp {
            time_us: stated_us,
            counter: packet.counter.and_then(|f| {
                let bits = f.kind.counter_bits()?;
                Some((f.read_unsigned(record, packet.order)?, bits))
            }),
        };
        let Some(state) = self.kinds.get_mut(kind) else {
            return;
        };
        match state.order.place(stamp) {
            Place::New { lost } => self.counts.lost += lost,
            Place::Late => return self.refuse(Refused::Late, tell),
            Place::Repeated => return self.refuse(Refused::Repeated, tell),
            Place::Restart => self.restart(kind, stamp, tell),
        }
        self.counts.records += 1;
        self.join(layout, kind, stated_us.unwrap_or(arrival_us), values, tell);
    }

    /// Everything half done belongs to the session that ended.
    fn restart(&mut self, kind: usize, stamp: Stamp, tell: &mut impl FnMut(Step<'_>)) {
        self.counts.restarts += 1;
        self.pending = None;
        self.newest_us = None;
        self.kinds.fill(KindState::default());
        if let Some(state) = self.kinds.get_mut(kind) {
            state.order.place(stamp);
        }
        tell(Step::Restart);
    }

    fn join(
        &mut self,
        layout: &Layout,
        kind: usize,
        time_us: u64,
        values: Values,
        tell: &mut impl FnMut(Step<'_>),
    ) {
        let holds = layout.packets.get(kind).and_then(|p| p.hold_us);
        if holds.is_some() {
            if let Some(state) = self.kinds.get_mut(kind) {
                state.held = Some((time_us, values));
            }
            return;
        }
        let old = |newest: u64| time_us <= newest.saturating_add(layout.join_us);
        if self.newest_us.is_some_and(old) {
            return self.refuse(Refused::Late, tell);
        }
        let mut pending = match self.pending.take() {
            Some(p) if p.time_us.abs_diff(time_us) <= layout.join_us => p,
            Some(p) if time_us < p.time_us => {
                self.pending = Some(p);
                return self.refuse(Refused::Late, tell);
            }
            Some(p) => {
                self.emit(layout, p, tell);
                Pending::at(time_us)
            }
            None => Pending::at(time_us),
        };
        pending.values.fill(&values);
        pending.have |= 1 << kind;
        if pending.have == wanted(layout) {
            self.emit(layout, pending, tell);
        } else {
            self.pending = Some(pending);
        }
    }

    fn emit(&mut self, layout: &Layout, mut pending: Pending, tell: &mut impl FnMut(Step<'_>)) {
        for (packet, state) in layout.packets.iter().zip(&self.kinds) {
            if let (Some(hold_us), Some((held_us, values))) = (packet.hold_us, &state.held)
                && pending.time_us.abs_diff(*held_us) <= hold_us
            {
                pending.values.fill(values);
            }
        }
        let sample = pending.values.sample(pending.time_us);
        if pending.have != wanted(layout)
            && (sample.position.is_none() || sample.speed_mps.is_none())
        {
            return self.refuse(Refused::Unjoined, tell);
        }
        self.newest_us = Some(pending.time_us);
        self.counts.samples += 1;
        tell(Step::Sample(sample));
    }
}

impl Pending {
    fn at(time_us: u64) -> Self {
        Self {
            time_us,
            have: 0,
            values: Values::default(),
        }
    }
}

/// The packets a sample waits for, one bit each ([`super::file::PACKETS_MAX`] fit).
fn wanted(layout: &Layout) -> u32 {
    let bit = |(i, p): (usize, &Packet)| if p.hold_us.is_none() { 1 << i } else { 0 };
    layout.packets.iter().enumerate().map(bit).sum()
}

/// The values of a record; `None` when it ends before one of them.
fn read(packet: &Packet, record: &[u8]) -> Option<Values> {
    let entry = match packet.index {
        Some(f) => usize::try_from(f.read_unsigned(record, packet.order)?).ok()?,
        None => 0,
    };
    let mut values = Values::default();
    for channel in &packet.channels {
        let mut field = channel.field;
        if let Some(stride) = channel.stride {
            field.offset = field.offset.checked_add(stride.checked_mul(entry)?)?;
        }
        let stored = field.read(record, packet.order)?;
        let value = (stored * channel.scale + channel.add) * channel.factor;
        values.set(channel.quantity, value);
    }
    Some(values)
}

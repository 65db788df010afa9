//! What a receiver's stream contained and what of it was refused, by reason.

/// Why a message, or what it says, was not used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Reason {
    /// The checksum is wrong or missing.
    Checksum,
    /// A sentence breaks off before its checksum.
    Cut,
    /// A sentence is longer than any receiver's.
    TooLong,
    /// A NAV-PVT or HNR-PVT states a length that no receiver sends.
    Length,
    /// The checksum is right but a field cannot be read.
    Malformed,
    /// There is no time in it, so nothing can be placed.
    NoTime,
    /// Older than the newest epoch.
    Late,
    /// The newest epoch once more, the same bytes.
    Repeated,
    /// The newest epoch once more with other values; the first is kept.
    Conflict,
}

impl Reason {
    /// All reasons in the order of the enum.
    pub const ALL: [Self; 9] = [
        Self::Checksum,
        Self::Cut,
        Self::TooLong,
        Self::Length,
        Self::Malformed,
        Self::NoTime,
        Self::Late,
        Self::Repeated,
        Self::Conflict,
    ];

    /// The reason in a few words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Checksum => "wrong or missing checksum",
            Self::Cut => "cut off before its end",
            Self::TooLong => "longer than any sentence",
            Self::Length => "UBX frame of an impossible length",
            Self::Malformed => "a field cannot be read",
            Self::NoTime => "no time in it",
            Self::Late => "older than the epoch before",
            Self::Repeated => "the same epoch again",
            Self::Conflict => "the same epoch again with other values",
        }
    }
}

/// How often something was refused and where first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// How often.
    pub count: u32,
    /// Offset of the first one's first byte in the stream; meaningless while `count` is 0.
    pub first_byte: u64,
}

/// What a stream contained.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Good RMC sentences.
    pub rmc: u32,
    /// Good GGA sentences.
    pub gga: u32,
    /// Good VTG sentences.
    pub vtg: u32,
    /// Good NAV-PVT and HNR-PVT frames.
    pub pvt: u32,
    /// Good sentences of other types.
    pub other_nmea: u32,
    /// Headers of other UBX messages.
    pub other_ubx: u32,
    /// Samples given out.
    pub samples: u32,
    /// Of these, samples without a position (no fix).
    pub voids: u32,
    /// Messages that told an epoch which another message had already given completely.
    pub merged: u32,
    /// How often the source started again.
    pub restarts: u32,
    refused: [Tally; Reason::ALL.len()],
}

impl Counts {
    /// What was refused for this reason.
    pub fn refused(&self, reason: Reason) -> Tally {
        self.refused
            .get(reason as usize)
            .copied()
            .unwrap_or_default()
    }

    /// All refusals together.
    pub fn refused_total(&self) -> u32 {
        self.refused
            .iter()
            .fold(0, |sum, tally| sum.saturating_add(tally.count))
    }

    pub(super) fn refuse(&mut self, reason: Reason, first_byte: u64) {
        if let Some(tally) = self.refused.get_mut(reason as usize) {
            if tally.count == 0 {
                tally.first_byte = first_byte;
            }
            tally.count = tally.count.saturating_add(1);
        }
    }
}

/// Counts one more without overflow.
pub(super) fn one_more(count: &mut u32) {
    *count = count.saturating_add(1);
}

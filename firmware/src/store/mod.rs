//! Where a board keeps its reference, configuration and settings: two slots in flash, of which
//! one is whole at any moment.
//!
//! A slot holds all three parts and, in front of them, a header with their lengths and checksums.
//! A change goes into the slot that is not in use: erase it, copy the parts that stay, write the
//! new one, read everything back, and only then write the header, which carries a number one
//! higher than the other slot's. Opening the store takes the slot with the higher number of those
//! whose header and parts have their checksums. Whenever the power fails, one of the two is whole:
//! the old one until the last bit of the new header is in, the new one from then on.

mod header;
#[cfg(test)]
mod power_tests;
#[cfg(test)]
pub(crate) mod strict_flash;
#[cfg(test)]
mod tests;

use cuepost_engine::wire::frame::crc32;
use embedded_storage::nor_flash::NorFlash;
use header::Header;
use heapless::Vec;

/// Flash that can also be read as memory: inside every microcontroller, and outside where it is
/// mapped.
pub trait Memory: NorFlash {
    /// All of it, in the order of its offsets.
    fn mapped(&self) -> &[u8];
}

/// What is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// Which ports and outputs are in use.
    Settings,
    /// Thresholds and the voice.
    Config,
    /// The reference.
    Reference,
}

/// Everything that is kept, in its order inside a slot.
pub const PARTS: [Part; 3] = [Part::Settings, Part::Config, Part::Reference];

/// What is written at once, bytes: no less than any common flash needs, and every write begins at
/// a multiple of it. The header has the first page of a slot.
pub const PAGE_BYTES: u32 = 256;
/// Room for the settings, bytes.
pub const SETTINGS_ROOM: u32 = PAGE_BYTES;
/// Room for the configuration, bytes.
pub const CONFIG_ROOM: u32 = 8 * PAGE_BYTES;

impl Part {
    const fn index(self) -> usize {
        match self {
            Self::Settings => 0,
            Self::Config => 1,
            Self::Reference => 2,
        }
    }

    /// Where it begins in a slot.
    const fn offset(self) -> u32 {
        match self {
            Self::Settings => PAGE_BYTES,
            Self::Config => PAGE_BYTES + SETTINGS_ROOM,
            Self::Reference => PAGE_BYTES + SETTINGS_ROOM + CONFIG_ROOM,
        }
    }

    /// The most bytes it may have in slots of this size.
    const fn room(self, slot_bytes: u32) -> u32 {
        match self {
            Self::Settings => SETTINGS_ROOM,
            Self::Config => CONFIG_ROOM,
            Self::Reference => slot_bytes.saturating_sub(Self::Reference.offset()),
        }
    }
}

/// Why the store refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StoreFault {
    /// The region does not suit the flash: not at a multiple of its erase size, too small or
    /// beyond its end.
    Region,
    /// Larger than there is room for, which is this many bytes.
    TooLarge(u32),
    /// No such transfer is under way; the name of the one that is, 0 for none.
    Transfer(u32),
    /// A piece does not follow; the offset wanted.
    Offset(u32),
    /// The flash answered with an error or did not keep what was written.
    Flash,
}

/// Where the slots are: two of `slot_bytes` each, one behind the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Region {
    /// Offset of the first slot in the flash, bytes.
    pub begin: u32,
    /// Size of a slot, bytes.
    pub slot_bytes: u32,
}

/// A transfer into the slot that is not in use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Transfer {
    /// What is being written.
    pub part: Part,
    /// Bytes of the whole.
    pub total: u32,
    /// What the sender calls it, the same for the same bytes.
    pub name: u32,
    /// Bytes taken so far.
    pub have: u32,
}

/// The slot in use: which, and its header.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Active {
    slot: u32,
    header: Header,
}

/// The store. Owns the flash; what is read is borrowed from it.
pub struct Store<F> {
    flash: F,
    region: Region,
    active: Option<Active>,
    transfer: Option<Transfer>,
    /// The begun page of the transfer.
    page: Vec<u8, { PAGE_BYTES as usize }>,
}

impl<F: Memory> Store<F> {
    /// Opens the store and picks the slot in use; an empty or spoilt flash is an empty store.
    pub fn open(flash: F, region: Region) -> Result<Self, StoreFault> {
        let whole_erases = |bytes: u32| bytes.is_multiple_of(F::ERASE_SIZE as u32);
        let end = region
            .slot_bytes
            .checked_mul(2)
            .and_then(|both| both.checked_add(region.begin));
        let fits =
            end.is_some_and(|end| end as usize <= flash.capacity().min(flash.mapped().len()));
        let usable = fits
            && whole_erases(region.begin)
            && whole_erases(region.slot_bytes)
            && PAGE_BYTES.is_multiple_of(F::WRITE_SIZE as u32)
            && region.slot_bytes >= Part::Reference.offset() + PAGE_BYTES;
        if !usable {
            return Err(StoreFault::Region);
        }
        let mut store = Self {
            flash,
            region,
            active: None,
            transfer: None,
            page: Vec::new(),
        };
        store.active = store.newest();
        Ok(store)
    }

    /// A kept part; `None` where nothing was ever kept.
    pub fn part(&self, part: Part) -> Option<&[u8]> {
        let active = self.active?;
        let kept = active.header.parts.get(part.index())?;
        (kept.len > 0).then_some(())?;
        self.bytes(active.slot, part, kept.len)
    }

    /// The transfer under way.
    pub fn transfer(&self) -> Option<Transfer> {
        self.transfer
    }

    /// Begins to take a part in pieces and returns the offset of the first byte wanted. That is
    /// not 0 when the same whole is already under way: it goes on where it stopped.
    pub fn begin(&mut self, part: Part, total: u32, name: u32) -> Result<u32, StoreFault> {
        let room = part.room(self.region.slot_bytes);
        if total == 0 || total > room {
            return Err(StoreFault::TooLarge(room));
        }
        if let Some(t) = self.transfer
            && (t.part, t.total, t.name) == (part, total, name)
        {
            return Ok(t.have);
        }
        self.abandon();
        self.erase_spare()?;
        for other in PARTS {
            if other != part {
                self.copy_to_spare(other)?;
            }
        }
        self.transfer = Some(Transfer {
            part,
            total,
            name,
            have: 0,
        });
        Ok(0)
    }

    /// Takes the next piece of the transfer with this name; returns the offset wanted next.
    /// A piece that was taken before is refused with the offset wanted.
    pub fn piece(&mut self, name: u32, offset: u32, bytes: &[u8]) -> Result<u32, StoreFault> {
        let mut t = self.under_way(name)?;
        let len = u32::try_from(bytes.len()).unwrap_or(u32::MAX);
        if offset != t.have || len > t.total.saturating_sub(t.have) {
            return Err(StoreFault::Offset(t.have));
        }
        for byte in bytes {
            // Never full: a full page is written and cleared at once.
            let _ = self.page.push(*byte);
            t.have = t.have.saturating_add(1);
            if self.page.is_full() || t.have == t.total {
                let begun = t.have.saturating_sub(self.page.len() as u32);
                let written = self.write_page(self.spare(), t.part.offset().saturating_add(begun));
                if written.is_err() {
                    self.abandon();
                    return written.map(|()| 0);
                }
            }
        }
        self.transfer = Some(t);
        Ok(t.have)
    }

    /// The bytes of the transfer with this name, once all have come. They are not in use before
    /// [`Store::commit`].
    pub fn whole(&self, name: u32) -> Result<&[u8], StoreFault> {
        let t = self.under_way(name)?;
        if t.have != t.total {
            return Err(StoreFault::Offset(t.have));
        }
        self.bytes(self.spare(), t.part, t.total)
            .ok_or(StoreFault::Flash)
    }

    /// Takes the transferred part into use, in place of the one before.
    pub fn commit(&mut self, name: u32) -> Result<(), StoreFault> {
        let crc = crc32(self.whole(name)?);
        let t = self.under_way(name)?;
        let spare = self.spare();
        let mut header = self.active.map_or(Header::EMPTY, |a| a.header);
        header.sequence = header.sequence.wrapping_add(1);
        if let Some(kept) = header.parts.get_mut(t.part.index()) {
            kept.len = t.total;
            kept.crc = crc;
        }
        self.abandon();
        let _ = self.page.extend_from_slice(&header.to_bytes());
        self.write_page(spare, 0)?;
        // What reads back is what counts: the flash has the last word.
        self.active = self.newest();
        match self.active {
            Some(a) if a.slot == spare && a.header == header => Ok(()),
            _ => Err(StoreFault::Flash),
        }
    }

    /// Begins, takes and commits a small part at once.
    pub fn replace(&mut self, part: Part, bytes: &[u8]) -> Result<(), StoreFault> {
        self.abandon();
        let total = u32::try_from(bytes.len()).unwrap_or(u32::MAX);
        let name = crc32(bytes);
        self.begin(part, total, name)?;
        self.piece(name, 0, bytes)?;
        self.commit(name)
    }

    /// Drops the transfer under way; what is in use stays.
    pub fn abandon(&mut self) {
        self.transfer = None;
        self.page.clear();
    }

    /// Gives the flash back.
    pub fn release(self) -> F {
        self.flash
    }

    fn under_way(&self, name: u32) -> Result<Transfer, StoreFault> {
        match self.transfer {
            Some(t) if t.name == name => Ok(t),
            other => Err(StoreFault::Transfer(other.map_or(0, |t| t.name))),
        }
    }

    /// The slot that is not in use.
    fn spare(&self) -> u32 {
        match self.active {
            Some(Active { slot: 0, .. }) => 1,
            _ => 0,
        }
    }

    fn slot_begin(&self, slot: u32) -> u32 {
        let skipped = if slot == 0 { 0 } else { self.region.slot_bytes };
        self.region.begin.saturating_add(skipped)
    }

    fn bytes(&self, slot: u32, part: Part, len: u32) -> Option<&[u8]> {
        let begin = self.slot_begin(slot).checked_add(part.offset())?;
        let end = begin.checked_add(len)?;
        (len <= part.room(self.region.slot_bytes)).then_some(())?;
        self.flash.mapped().get(begin as usize..end as usize)
    }

    /// The whole slot with the higher number.
    fn newest(&self) -> Option<Active> {
        let [first, second] = [0, 1].map(|slot| self.read_slot(slot));
        match (first, second) {
            (Some(a), Some(b)) => {
                let ahead = b.header.sequence.wrapping_sub(a.header.sequence);
                Some(if (1..=u32::MAX / 2).contains(&ahead) {
                    b
                } else {
                    a
                })
            }
            (one, other) => one.or(other),
        }
    }

    /// A slot, if it is whole.
    fn read_slot(&self, slot: u32) -> Option<Active> {
        let begin = self.slot_begin(slot) as usize;
        let header = Header::from_bytes(self.flash.mapped().get(begin..)?)?;
        for part in PARTS {
            let kept = header.parts.get(part.index())?;
            if crc32(self.bytes(slot, part, kept.len)?) != kept.crc {
                return None;
            }
        }
        Some(Active { slot, header })
    }

    fn erase_spare(&mut self) -> Result<(), StoreFault> {
        let begin = self.slot_begin(self.spare());
        let end = begin.saturating_add(self.region.slot_bytes);
        self.flash.erase(begin, end).map_err(|_| StoreFault::Flash)
    }

    fn copy_to_spare(&mut self, part: Part) -> Result<(), StoreFault> {
        let len = self.part(part).map_or(0, <[u8]>::len);
        let mut done = 0;
        while done < len {
            let upto = len.min(done.saturating_add(PAGE_BYTES as usize));
            let kept = self
                .active
                .and_then(|a| self.bytes(a.slot, part, len as u32));
            let piece = kept
                .and_then(|kept| kept.get(done..upto))
                .ok_or(StoreFault::Flash)?;
            self.page = Vec::from_slice(piece).map_err(|_| StoreFault::Flash)?;
            self.write_page(self.spare(), part.offset().saturating_add(done as u32))?;
            done = upto;
        }
        Ok(())
    }

    /// Writes the begun page, filled up with what erased flash holds, reads it back and clears it.
    fn write_page(&mut self, slot: u32, offset: u32) -> Result<(), StoreFault> {
        while !self.page.is_full() {
            let _ = self.page.push(0xFF);
        }
        let at = self.slot_begin(slot).saturating_add(offset);
        let written = self.flash.write(at, &self.page);
        let kept = self.flash.mapped().get(at as usize..);
        let same = kept.is_some_and(|kept| kept.starts_with(&self.page));
        self.page.clear();
        if written.is_ok() && same {
            Ok(())
        } else {
            Err(StoreFault::Flash)
        }
    }
}

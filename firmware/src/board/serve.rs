//! What a computer asks of a board, and what it is answered.

use super::Wiring;
use super::inner::Inner;
use crate::settings::{Source, Unsettable};
use crate::store::{Part, StoreFault};
use cuepost_engine::file::FileFault;
use cuepost_engine::reference;
use cuepost_engine::wire::frame::crc32;
use cuepost_engine::wire::transfer::Transfer;
use cuepost_engine::wire::{
    self, Ack, Answer, Begin, Commit, Message, Object, Piece, Query, Refuse, Refused,
};

/// Why something was not done, with what was expected and what came.
struct Denied(Refuse, u32, u32);

impl From<StoreFault> for Denied {
    fn from(fault: StoreFault) -> Self {
        match fault {
            StoreFault::Region | StoreFault::Flash => Self(Refuse::Storage, 0, 0),
            StoreFault::TooLarge(room) => Self(Refuse::TooLarge, room, 0),
            StoreFault::Transfer(crc) => Self(Refuse::Transfer, crc, 0),
            StoreFault::Offset(wanted) => Self(Refuse::Offset, wanted, 0),
        }
    }
}

impl From<FileFault> for Denied {
    fn from(fault: FileFault) -> Self {
        Self(Refuse::Content, u32::from(fault.what.number()), fault.at)
    }
}

impl From<Unsettable> for Denied {
    fn from(refused: Unsettable) -> Self {
        Self(Refuse::Setting, u32::from(refused.key), refused.value)
    }
}

impl Denied {
    /// With what came instead of what was expected.
    fn got(mut self, got: u32) -> Self {
        self.2 = got;
        self
    }
}

const fn part_of(object: Object) -> Part {
    match object {
        Object::Reference => Part::Reference,
        Object::Config => Part::Config,
    }
}

impl<W: Wiring> Inner<'_, W> {
    /// Does what a message asks for. Everything but a sample is answered.
    #[inline(never)]
    pub(super) fn serve(&mut self, message: &Message) {
        let kind = message.kind() as u8;
        let done = match message {
            Message::Sample(sample) => return self.sample(Source::Computer, sample),
            Message::Query(Query::Settings) => return self.tell_settings(),
            Message::Begin(begin) => self.begin(*begin),
            Message::Piece(piece) => self.piece(piece),
            Message::Commit(commit) => self.commit(*commit),
            Message::Settings(changes) => self.change_settings(changes),
            // What only boards and recordings say is not for a board.
            _ => Err(Denied(Refuse::Kind, 0, u32::from(kind))),
        };
        let answer = done.unwrap_or_else(|Denied(why, expected, got)| Answer::Refused {
            why,
            expected,
            got,
        });
        self.answer(kind, answer);
    }

    /// Answers a whole frame that cannot be read, so that the sender can say why. A damaged one is
    /// counted and left to the sender's clock.
    pub(super) fn refuse_frame(&mut self, why: Refused) {
        let (kind, why, expected, got) = match why {
            Refused::Version(v) => (0, Refuse::Version, wire::VERSION.into(), v.into()),
            Refused::Kind(kind) => (kind, Refuse::Kind, 0, kind.into()),
            Refused::Payload(kind) => (kind as u8, Refuse::Payload, 0, 0),
            Refused::Value(kind, _) => (kind as u8, Refuse::Value, 0, 0),
            Refused::Overlong | Refused::Cut | Refused::Short | Refused::Checksum => return,
        };
        let answer = Answer::Refused { why, expected, got };
        self.answer(kind, answer);
    }

    /// The transfer under way, as the wire says it.
    pub(super) fn transfer_now(&self) -> Option<Transfer> {
        let t = self.store.transfer()?;
        let object = match t.part {
            Part::Reference => Object::Reference,
            Part::Config => Object::Config,
            Part::Settings => return None,
        };
        Some(Transfer {
            object,
            crc: t.name,
            have: t.have,
            total: t.total,
        })
    }

    #[inline(never)]
    fn tell_settings(&mut self) {
        let settings = Message::Settings(self.settings.to_message());
        self.tell_computer(&settings);
    }

    #[inline(never)]
    fn answer(&mut self, kind: u8, answer: Answer) {
        self.tell_computer(&Message::Ack(Ack { kind, answer }));
    }

    /// Writing flash stops the board for up to seconds: not while the car is driven.
    fn at_rest(&self) -> Result<(), Denied> {
        if self.driving() {
            return Err(Denied(Refuse::Busy, 0, 0));
        }
        Ok(())
    }

    #[inline(never)]
    fn begin(&mut self, begin: Begin) -> Result<Answer, Denied> {
        self.at_rest()?;
        let part = part_of(begin.object);
        let begun = self.store.begin(part, begin.total, begin.crc);
        let offset = begun.map_err(|fault| Denied::from(fault).got(begin.total))?;
        Ok(Answer::Continue { offset })
    }

    #[inline(never)]
    fn piece(&mut self, piece: &Piece) -> Result<Answer, Denied> {
        self.at_rest()?;
        let taken = self.store.piece(piece.crc, piece.offset, &piece.data);
        match taken {
            Ok(offset) => Ok(Answer::Continue { offset }),
            Err(fault @ StoreFault::Transfer(_)) => Err(Denied::from(fault).got(piece.crc)),
            Err(fault) => Err(Denied::from(fault).got(piece.offset)),
        }
    }

    #[inline(never)]
    fn commit(&mut self, commit: Commit) -> Result<Answer, Denied> {
        self.at_rest()?;
        match commit.object {
            Object::Reference => self.commit_reference(commit.crc)?,
            Object::Config => self.commit_config(commit.crc)?,
        }
        Ok(Answer::Done)
    }

    /// The transferred bytes, if they are the file that was announced.
    fn whole(&mut self, id: u32) -> Result<&[u8], Denied> {
        let bytes = self.store.whole(id)?;
        let front = bytes
            .split_last_chunk::<4>()
            .map_or(bytes, |(front, _)| front);
        let found = crc32(front);
        if found != id {
            self.store.abandon();
            return Err(Denied(Refuse::Whole, id, found));
        }
        Ok(self.store.whole(id)?)
    }

    /// The new reference is read where the old one is, which is read again from the other slot
    /// when anything is wrong with the new one.
    fn commit_reference(&mut self, id: u32) -> Result<(), Denied> {
        self.whole(id)?;
        let bytes = self.store.whole(id)?;
        if let Err(fault) = reference::decode(bytes, &mut self.rooms.reference) {
            self.store.abandon();
            self.load_reference();
            return Err(fault.into());
        }
        let kept = self.store.commit(id);
        self.load_reference();
        Ok(kept?)
    }

    /// As with the reference.
    fn commit_config(&mut self, id: u32) -> Result<(), Denied> {
        self.whole(id)?;
        let bytes = self.store.whole(id)?;
        if let Err(fault) = self.rooms.engine.config_mut().read(bytes) {
            self.store.abandon();
            self.load_config();
            return Err(fault.into());
        }
        let kept = self.store.commit(id);
        self.load_config();
        Ok(kept?)
    }

    #[inline(never)]
    fn change_settings(&mut self, changes: &wire::Settings) -> Result<Answer, Denied> {
        self.at_rest()?;
        if self.store.transfer().is_some() {
            return Err(Denied(Refuse::Busy, 0, 0));
        }
        let settings = self.settings.with(changes)?;
        self.store.replace(Part::Settings, &settings.to_bytes())?;
        self.settings = settings;
        Ok(Answer::Done)
    }
}

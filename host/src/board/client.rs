//! Questions and answers.

use cuepost_engine::file;
use cuepost_engine::wire::{
    self, Answer, Begin, Commit, FRAME_MAX, FrameReader, Message, Object, Outcome, PIECE_MAX,
    Piece, Query, Refuse, Refused, Settings, Status,
};
use std::io::{self, Read, Write};
use std::time::{Duration, Instant};

/// How long a board may take to answer. It erases flash before it answers *begin*, which takes up
/// to four seconds on the slowest memories.
const ANSWER: Duration = Duration::from_secs(6);
/// How often a question is asked again when nothing comes back.
const TRIES: u32 = 3;

/// Why a board could not be talked to.
#[derive(Debug, thiserror::Error)]
pub enum BoardError {
    /// The port failed.
    #[error("the port failed: {0}; was it unplugged?")]
    Port(#[from] io::Error),
    /// Nothing came back.
    #[error(
        "no answer from the board; check that the port is the board's, that its speed is right, and that its transmit line is on the computer's receive line"
    )]
    Silent,
    /// Another version of the wire format.
    #[error(
        "the board speaks version {board} of the wire format, this program version {program}: put the firmware of this release on the board, or use the program of the board's release"
    )]
    Version {
        /// The board's.
        board: u32,
        /// This program's.
        program: u8,
    },
    /// The board said no.
    #[error("the board refused: {}", super::words::refusal(*why, *expected, *got))]
    Refused {
        /// Why.
        why: Refuse,
        /// What would have been right.
        expected: u32,
        /// What came.
        got: u32,
    },
    /// The file is none that a board takes.
    #[error("the file is too short or too long to be sent: {0} bytes")]
    File(usize),
}

/// A conversation with a board.
pub struct Client<P> {
    port: P,
    reader: FrameReader,
    /// Bytes read and not looked at yet.
    waiting: std::collections::VecDeque<u8>,
    patience: Duration,
}

impl<P: Read + Write> Client<P> {
    /// Over a port whose `read` gives up after a fraction of a second.
    pub fn new(port: P) -> Self {
        Self {
            port,
            reader: FrameReader::new(),
            waiting: std::collections::VecDeque::new(),
            patience: ANSWER,
        }
    }

    /// With another time that an answer may take.
    pub fn patient(mut self, patience: Duration) -> Self {
        self.patience = patience;
        self
    }

    /// How the board is.
    pub fn status(&mut self) -> Result<Status, BoardError> {
        self.ask(&Message::Query(Query::Status), |message| match message {
            Message::Status(status) => Some(Ok(status)),
            _ => None,
        })
    }

    /// What is set.
    pub fn settings(&mut self) -> Result<Settings, BoardError> {
        self.ask(&Message::Query(Query::Settings), |message| match message {
            Message::Settings(settings) => Some(Ok(settings)),
            _ => None,
        })
    }

    /// Sets something.
    pub fn set(&mut self, changes: Settings) -> Result<(), BoardError> {
        match self.order(&Message::Settings(changes))? {
            Answer::Refused { why, expected, got } => {
                Err(BoardError::Refused { why, expected, got })
            }
            Answer::Done | Answer::Continue { .. } => Ok(()),
        }
    }

    /// Sends a file and has it taken into use. `progress` hears how many bytes the board has; the
    /// first time that is what it had of this file already.
    pub fn send(
        &mut self,
        object: Object,
        bytes: &[u8],
        mut progress: impl FnMut(usize),
    ) -> Result<(), BoardError> {
        let (Some(crc), Ok(total)) = (file::id(bytes), u32::try_from(bytes.len())) else {
            return Err(BoardError::File(bytes.len()));
        };
        let begin = Message::Begin(Begin { object, total, crc });
        let mut have = self.offset(&begin)?;
        progress(have);
        while let Some(rest) = bytes.get(have..).filter(|rest| !rest.is_empty()) {
            let data = rest.iter().copied().take(PIECE_MAX).collect();
            let offset = have as u32;
            have = self.offset(&Message::Piece(Piece {
                object,
                crc,
                offset,
                data,
            }))?;
            progress(have);
        }
        match self.order(&Message::Commit(Commit { object, total, crc }))? {
            Answer::Done | Answer::Continue { .. } => Ok(()),
            // The answer to an earlier commit was lost: it is done if the board says so.
            Answer::Refused {
                why: Refuse::Transfer,
                expected: 0,
                ..
            } if self.uses(object, crc)? => Ok(()),
            Answer::Refused { why, expected, got } => {
                Err(BoardError::Refused { why, expected, got })
            }
        }
    }

    /// Sends a message that has no answer, as a sample.
    pub fn tell(&mut self, message: &Message) -> Result<(), BoardError> {
        let mut frame = [0; FRAME_MAX];
        let len = wire::encode(message, &mut frame)
            .map_err(|_| io::Error::from(io::ErrorKind::InvalidData))?;
        self.port.write_all(&frame[..len])?;
        Ok(self.port.flush()?)
    }

    /// The next message of any kind, or none within the time.
    pub fn listen(&mut self, time: Duration) -> Result<Option<Message>, BoardError> {
        let until = Instant::now() + time;
        loop {
            while let Some(byte) = self.waiting.pop_front() {
                match self.reader.feed(byte) {
                    Outcome::Message(message) => return Ok(Some(message)),
                    Outcome::Refused(Refused::Version(board)) => return Err(version(board.into())),
                    Outcome::Nothing | Outcome::Refused(_) => {}
                }
            }
            if Instant::now() >= until {
                return Ok(None);
            }
            let mut chunk = [0; 512];
            match self.port.read(&mut chunk) {
                Ok(0) => return Err(io::Error::from(io::ErrorKind::UnexpectedEof).into()),
                Ok(read) => self.waiting.extend(&chunk[..read]),
                Err(e) if waits(&e) => {}
                Err(e) => return Err(e.into()),
            }
        }
    }

    /// Gives the port back.
    pub fn into_port(self) -> P {
        self.port
    }

    fn uses(&mut self, object: Object, id: u32) -> Result<bool, BoardError> {
        let status = self.status()?;
        let used = match object {
            Object::Reference => status.reference,
            Object::Config => status.config,
        };
        Ok(used == Some(id))
    }

    /// Sends a part of a transfer; returns the offset the board wants next.
    fn offset(&mut self, message: &Message) -> Result<usize, BoardError> {
        match self.order(message)? {
            Answer::Continue { offset } => Ok(offset as usize),
            // The answer to this piece was lost, and it was sent again: go on from where it is.
            Answer::Refused {
                why: Refuse::Offset,
                expected,
                ..
            } => Ok(expected as usize),
            Answer::Refused { why, expected, got } => {
                Err(BoardError::Refused { why, expected, got })
            }
            Answer::Done => Ok(usize::MAX),
        }
    }

    /// Sends a message and waits for the answer to its kind.
    fn order(&mut self, message: &Message) -> Result<Answer, BoardError> {
        let kind = message.kind() as u8;
        self.ask(message, |heard| match heard {
            Message::Ack(ack) if ack.kind == kind => Some(Ok(ack.answer)),
            _ => None,
        })
    }

    /// Sends a message until something that answers it comes back. What the board says meanwhile
    /// of its own accord is passed over.
    fn ask<T>(
        &mut self,
        message: &Message,
        mut answers: impl FnMut(Message) -> Option<Result<T, BoardError>>,
    ) -> Result<T, BoardError> {
        let mut frame = [0; FRAME_MAX];
        let len = wire::encode(message, &mut frame)
            .map_err(|_| io::Error::from(io::ErrorKind::InvalidData))?;
        for _ in 0..TRIES {
            self.port.write_all(&frame[..len])?;
            self.port.flush()?;
            let until = Instant::now() + self.patience;
            while let Some(left) = until.checked_duration_since(Instant::now()) {
                let Some(heard) = self.listen(left)? else {
                    break;
                };
                if let Message::Ack(wire::Ack {
                    answer:
                        Answer::Refused {
                            why: Refuse::Version,
                            expected,
                            ..
                        },
                    ..
                }) = heard
                {
                    return Err(version(expected));
                }
                if let Some(answer) = answers(heard) {
                    return answer;
                }
            }
        }
        Err(BoardError::Silent)
    }
}

fn version(board: u32) -> BoardError {
    BoardError::Version {
        board,
        program: wire::VERSION,
    }
}

/// A read that found nothing in its time.
fn waits(e: &io::Error) -> bool {
    matches!(
        e.kind(),
        io::ErrorKind::TimedOut | io::ErrorKind::WouldBlock | io::ErrorKind::Interrupted
    )
}

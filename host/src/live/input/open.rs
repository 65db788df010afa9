//! Opens a source, so that what is wrong with it is said before the drive begins.

use super::decode::Decode;
use super::source::{BAUD_DEFAULT, Source};
use super::{paced, serial, stdin, udp};
use crate::live::drive::Reader;
use crate::live::port::{Link, OpenFault, SerialBus};
use crate::source::Options;
use cuepost_engine::reference::SourceKind;
use std::io;
use std::net::SocketAddr;

/// An open source.
pub struct Opened {
    /// Reads it.
    pub reader: Reader,
    /// Whether it can wait.
    pub patient: bool,
    /// Whether a read may hang.
    pub may_hang: bool,
    /// What it most likely is, for the recording's header.
    pub kind: SourceKind,
    /// What it is, for people.
    pub label: String,
}

/// Why a source cannot be opened.
#[derive(Debug, thiserror::Error)]
pub enum OpenSourceFault {
    /// A serial port.
    #[error("{path}: {fault}")]
    Serial {
        /// Its name.
        path: String,
        /// Why.
        fault: OpenFault,
    },
    /// A UDP port another program has.
    #[error(
        "udp {0}: already in use; stop the other program, or let the simulator send to another port as well"
    )]
    UdpBusy(SocketAddr),
    /// A UDP port.
    #[error("udp {at}: {source}")]
    Udp {
        /// Where.
        at: SocketAddr,
        /// What the system says.
        source: io::Error,
    },
    /// A file.
    #[error("{0}")]
    File(String),
}

/// What else is set.
#[derive(Clone, Debug, Default)]
pub struct How {
    /// The rate of a serial port, unless its name says one.
    pub baud: Option<u32>,
    /// How many times faster than real time a file is played; 0 is as fast as it can be read.
    pub speed: f64,
    /// How tables are read.
    pub options: Options,
}

/// Opens a source. `decode` reads what it sends; a file is read by its own content.
pub fn open(
    source: &Source,
    how: &How,
    decode: Box<dyn Decode>,
) -> Result<Opened, OpenSourceFault> {
    match source {
        Source::Serial { path, baud } => {
            let baud = baud.or(how.baud).unwrap_or(BAUD_DEFAULT);
            let link = Link::open(SerialBus::new(baud), path).map_err(|fault| {
                let path = path.clone();
                OpenSourceFault::Serial { path, fault }
            })?;
            Ok(Opened {
                reader: Box::new(move |out| serial::read(link, baud, decode, out)),
                kind: SourceKind::Receiver,
                patient: false,
                may_hang: false,
                label: format!("{path} at {baud} baud"),
            })
        }
        Source::Udp(at) => {
            let socket = udp::open(*at).map_err(|source| match source.kind() {
                io::ErrorKind::AddrInUse => OpenSourceFault::UdpBusy(*at),
                _ => OpenSourceFault::Udp { at: *at, source },
            })?;
            Ok(Opened {
                reader: Box::new(move |out| udp::read(&socket, decode, out)),
                kind: SourceKind::Simulator,
                patient: false,
                may_hang: false,
                label: format!("UDP {at}"),
            })
        }
        Source::Stdin => Ok(Opened {
            reader: Box::new(move |out| stdin::read(io::stdin().lock(), decode, out)),
            kind: SourceKind::Unknown,
            patient: true,
            may_hang: true,
            label: "standard input".into(),
        }),
        Source::File(path) => {
            let (samples, kind) = paced::open(path, &how.options).map_err(OpenSourceFault::File)?;
            let speed = how.speed;
            Ok(Opened {
                reader: Box::new(move |out| {
                    out.is_of(kind);
                    paced::play(samples, speed, out);
                }),
                kind,
                patient: true,
                may_hang: false,
                label: path.display().to_string(),
            })
        }
    }
}

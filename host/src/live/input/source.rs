//! What `--from` names.

use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::str::FromStr;

/// The rate of a serial port when none is given.
pub const BAUD_DEFAULT: u32 = 115_200;

/// Where samples come from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Source {
    /// A serial port.
    Serial {
        /// Its name.
        path: String,
        /// Its rate, where the name says it.
        baud: Option<u32>,
    },
    /// Datagrams.
    Udp(SocketAddr),
    /// Standard input.
    Stdin,
    /// A recording, played at the pace it was made.
    File(PathBuf),
}

/// Why a text names no source.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SourceFault {
    /// Nothing after the colon.
    #[error(
        "\"{0}\" names no port: write serial:/dev/ttyACM0, serial:COM3 or serial:/dev/ttyUSB0@38400"
    )]
    Serial(String),
    /// No address.
    #[error(
        "\"{0}\" is no address: write udp:5005 for this machine only, udp:0.0.0.0:5005 for all networks"
    )]
    Udp(String),
    /// An empty text.
    #[error("nothing named: write serial:PORT, udp:PORT, - for standard input, or a file")]
    Empty,
}

impl FromStr for Source {
    type Err = SourceFault;

    fn from_str(text: &str) -> Result<Self, SourceFault> {
        if let Some(rest) = text.strip_prefix("serial:") {
            return serial(rest).ok_or_else(|| SourceFault::Serial(text.into()));
        }
        if let Some(rest) = text.strip_prefix("udp:") {
            return udp(rest).ok_or_else(|| SourceFault::Udp(text.into()));
        }
        match text {
            "" => Err(SourceFault::Empty),
            "-" => Ok(Self::Stdin),
            // What people type first; a tty is never a recording.
            t if t.starts_with("/dev/tty") || t.starts_with("/dev/serial/") => {
                serial(t).ok_or_else(|| SourceFault::Serial(text.into()))
            }
            t => Ok(Self::File(t.into())),
        }
    }
}

fn serial(text: &str) -> Option<Source> {
    let (path, baud) = match text.rsplit_once('@') {
        Some((path, baud)) => (path, Some(baud.parse().ok().filter(|b| *b > 0)?)),
        None => (text, None),
    };
    (!path.is_empty()).then(|| Source::Serial {
        path: path.into(),
        baud,
    })
}

/// A port alone is this machine's own: nobody else can send to it.
fn udp(text: &str) -> Option<Source> {
    if let Ok(port) = text.parse::<u16>() {
        let here = IpAddr::V4(Ipv4Addr::LOCALHOST);
        return Some(Source::Udp(SocketAddr::new(here, port)));
    }
    text.parse().ok().map(Source::Udp)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn serial(path: &str, baud: Option<u32>) -> Result<Source, SourceFault> {
        let path = path.into();
        Ok(Source::Serial { path, baud })
    }

    #[test]
    fn what_from_may_name() {
        let udp = |a: &str| Ok(Source::Udp(a.parse().expect("an address")));
        assert_eq!("serial:COM3".parse(), serial("COM3", None));
        assert_eq!(
            "serial:/dev/ttyUSB0@9600".parse(),
            serial("/dev/ttyUSB0", Some(9600))
        );
        assert_eq!("/dev/ttyACM0".parse(), serial("/dev/ttyACM0", None));
        assert_eq!("udp:5005".parse(), udp("127.0.0.1:5005"));
        assert_eq!("udp:0.0.0.0:5005".parse(), udp("0.0.0.0:5005"));
        assert_eq!("udp:[::1]:5005".parse(), udp("[::1]:5005"));
        assert_eq!("-".parse(), Ok(Source::Stdin));
        assert_eq!("a.nmea".parse(), Ok(Source::File("a.nmea".into())));
        for bad in [
            "",
            "serial:",
            "serial:@9600",
            "serial:x@fast",
            "serial:x@0",
            "udp:",
            "udp:host:1",
            "udp:70000",
        ] {
            assert!(bad.parse::<Source>().is_err(), "{bad:?}");
        }
    }
}

//! What a [`Link`](super::Link) needs of the machine's ports, so that tests can stand in for it.

use std::io::Read;

/// What stays the same of a USB device whatever port name it is given.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UsbIdentity {
    /// Vendor number.
    pub vendor: u16,
    /// Product number.
    pub product: u16,
    /// Serial number, where the device has one.
    pub serial: Option<String>,
}

/// A port that is there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// The name to open it by.
    pub path: String,
    /// The USB device behind it, where there is one.
    pub usb: Option<UsbIdentity>,
    /// What the device calls itself, may be empty.
    pub label: String,
}

/// Why a port could not be opened.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum OpenFault {
    /// There is none of that name.
    #[error("no such port; `cuepost drive --list` shows what is plugged in")]
    Missing,
    /// Another program holds it.
    #[error(
        "in use by another program; close that one (a terminal, a modem service, a second cuepost)"
    )]
    Busy,
    /// The user may not open it.
    #[error(
        "no permission; on Linux add yourself to the group that owns the port (often dialout: `sudo usermod -aG dialout $USER`) and log in again"
    )]
    Denied,
    /// Anything else, in the system's words.
    #[error("cannot be opened as a serial port: {0}")]
    Other(String),
}

/// The ports of a machine.
pub trait Bus {
    /// An open port. A read gives `Ok(0)` or an error other than a timeout when it is gone.
    type Port: Read;

    /// Opens a port by name.
    fn open(&mut self, path: &str) -> Result<Self::Port, OpenFault>;

    /// The ports there are now.
    fn list(&mut self) -> Vec<Found>;
}

/// Which device a name stands for, as long as it is there.
pub fn identify(bus: &mut impl Bus, path: &str) -> Option<UsbIdentity> {
    // What was named may be a link to the port (/dev/serial/by-id).
    let real = std::fs::canonicalize(path).ok();
    let real = real.as_deref().and_then(|p| p.to_str()).unwrap_or(path);
    let mut found = bus.list().into_iter();
    found
        .find(|f| f.path == path || f.path == real)
        .and_then(|f| f.usb)
}

/// Where a device is now: by its USB identity, or by its old name when it has none.
pub fn whereabouts(
    bus: &mut impl Bus,
    identity: Option<&UsbIdentity>,
    path: &str,
) -> Option<String> {
    let Some(identity) = identity else {
        return Some(path.to_owned());
    };
    let found = bus.list().into_iter();
    let mut same = found.filter(|f| f.usb.as_ref() == Some(identity));
    let first = same.next()?.path;
    // Two devices that cannot be told apart: only the old name is sure to be ours.
    if identity.serial.is_none() && first != path && same.next().is_some() {
        return Some(path.to_owned());
    }
    Some(first)
}

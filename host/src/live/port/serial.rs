//! The machine's own serial ports.

use super::bus::{Bus, Found, OpenFault, UsbIdentity};
use serialport::{ErrorKind, SerialPort, SerialPortType};
use std::io;
use std::path::Path;
use std::time::Duration;

/// How long a read waits: short enough to notice a stop at once.
const READ_TIMEOUT: Duration = Duration::from_millis(50);

/// Opens ports at one baud rate, 8 data bits, no parity, one stop bit, no flow control.
#[derive(Clone, Copy, Debug)]
pub struct SerialBus {
    baud: u32,
}

impl SerialBus {
    /// A bus whose ports are opened at this rate.
    pub fn new(baud: u32) -> Self {
        Self { baud }
    }
}

impl Bus for SerialBus {
    type Port = Box<dyn SerialPort>;

    fn open(&mut self, path: &str) -> Result<Self::Port, OpenFault> {
        serialport::new(path, self.baud)
            .timeout(READ_TIMEOUT)
            .open()
            .map_err(|e| fault(&e))
    }

    fn list(&mut self) -> Vec<Found> {
        // Without this folder (containers) the listing itself would panic.
        if cfg!(target_os = "linux") && !Path::new("/sys/class/tty").is_dir() {
            return Vec::new();
        }
        let ports = serialport::available_ports().unwrap_or_default();
        ports.into_iter().map(found).collect()
    }
}

fn found(port: serialport::SerialPortInfo) -> Found {
    let (usb, label) = match port.port_type {
        SerialPortType::UsbPort(info) => {
            let words = [info.manufacturer, info.product];
            let label = words.into_iter().flatten().collect::<Vec<_>>().join(" ");
            let usb = UsbIdentity {
                vendor: info.vid,
                product: info.pid,
                serial: info.serial_number,
            };
            (Some(usb), label)
        }
        SerialPortType::BluetoothPort => (None, "Bluetooth".to_owned()),
        SerialPortType::PciPort => (None, "built in".to_owned()),
        SerialPortType::Unknown => (None, "not a USB device".to_owned()),
    };
    Found {
        path: port.port_name,
        usb,
        label,
    }
}

fn fault(error: &serialport::Error) -> OpenFault {
    match error.kind {
        ErrorKind::Io(io::ErrorKind::NotFound) => OpenFault::Missing,
        ErrorKind::Io(io::ErrorKind::PermissionDenied) => OpenFault::Denied,
        // Windows says "no device" for a missing port and "access denied" for one in use.
        ErrorKind::NoDevice if cfg!(windows) && !error.description.contains("denied") => {
            OpenFault::Missing
        }
        ErrorKind::NoDevice => OpenFault::Busy,
        _ => OpenFault::Other(error.description.clone()),
    }
}

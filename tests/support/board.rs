//! A board that runs on this machine: the firmware's own main loop on ports of any kind.

use cuepost_firmware::board::{Board, Parts, Rooms, Wiring};
use cuepost_firmware::port::Input;
use cuepost_firmware::store::{Memory, Region, Store};
use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};
use std::io::{Read, Write};

/// Flash that is memory.
pub struct MemoryFlash(Vec<u8>);

impl MemoryFlash {
    /// An erased one with two slots of 32 KiB.
    pub fn new() -> Self {
        Self(vec![0xFF; 0x1_0000])
    }

    /// Its bytes, as a board keeps them.
    pub fn into_bytes(self) -> Vec<u8> {
        self.0
    }
}

impl Default for MemoryFlash {
    fn default() -> Self {
        Self::new()
    }
}

/// The slots of [`MemoryFlash`].
pub const REGION: Region = Region {
    begin: 0,
    slot_bytes: 0x8000,
};

impl ErrorType for MemoryFlash {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for MemoryFlash {
    const READ_SIZE: usize = 1;
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        let at = offset as usize;
        bytes.copy_from_slice(&self.0[at..at + bytes.len()]);
        Ok(())
    }
    fn capacity(&self) -> usize {
        self.0.len()
    }
}

impl NorFlash for MemoryFlash {
    const WRITE_SIZE: usize = 256;
    const ERASE_SIZE: usize = 4096;
    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        self.0[from as usize..to as usize].fill(0xFF);
        Ok(())
    }
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        for (there, byte) in self.0[offset as usize..].iter_mut().zip(bytes) {
            *there &= byte;
        }
        Ok(())
    }
}

impl Memory for MemoryFlash {
    fn mapped(&self) -> &[u8] {
        &self.0
    }
}

/// A port that is anything with a file handle whose reads do not wait.
pub struct Port<P>(P, Option<u8>);

impl<P: Read> Port<P> {
    /// Over a port whose reads return at once, with or without something.
    pub fn new(port: P) -> Self {
        Self(port, None)
    }
}

impl<P> embedded_io::ErrorType for Port<P> {
    type Error = std::io::Error;
}

impl<P: Read> embedded_io::ReadReady for Port<P> {
    fn read_ready(&mut self) -> std::io::Result<bool> {
        if self.1.is_none() {
            let mut byte = [0];
            if matches!(self.0.read(&mut byte), Ok(1)) {
                self.1 = Some(byte[0]);
            }
        }
        Ok(self.1.is_some())
    }
}

impl<P: Read> embedded_io::Read for Port<P> {
    fn read(&mut self, bytes: &mut [u8]) -> std::io::Result<usize> {
        match (self.1.take(), bytes) {
            (Some(waited), [first, rest @ ..]) => {
                *first = waited;
                Ok(1 + self.0.read(rest).unwrap_or(0))
            }
            _ => Ok(0),
        }
    }
}

impl<P: Read> Input for Port<P> {}

impl<P: Write> embedded_io::Write for Port<P> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.write(bytes)
    }
    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl<P: Write> embedded_io::WriteReady for Port<P> {
    fn write_ready(&mut self) -> std::io::Result<bool> {
        Ok(true)
    }
}

/// A board with one port, to a computer.
pub struct OnePort<P>(core::marker::PhantomData<P>);

impl<P: Read + Write> Wiring for OnePort<P> {
    type Receiver = cuepost_firmware::port::NoPort;
    type Computer = Port<P>;
    type Display = cuepost_firmware::port::NoPort;
    type Outputs = ();
    type Flash = MemoryFlash;
}

/// A board at its computer's end of a port.
pub fn one_port<P: Read + Write>(port: P) -> Board<'static, OnePort<P>> {
    let parts = Parts {
        receiver: cuepost_firmware::port::NoPort,
        computer: Port::new(port),
        display: cuepost_firmware::port::NoPort,
        outputs: (),
        store: Store::open(MemoryFlash::new(), REGION).expect("a region that suits"),
    };
    Board::new(parts, Box::leak(Box::<Rooms>::default()))
}

/// A board's flash with a reference in it, for boards whose flash cannot be written in a test.
pub fn flash_with(reference: &[u8]) -> Vec<u8> {
    use cuepost_firmware::store::Part;
    let mut store = Store::open(MemoryFlash::new(), REGION).expect("a region that suits");
    store
        .replace(Part::Reference, reference)
        .expect("room for it");
    store.release().into_bytes()
}

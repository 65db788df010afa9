//! The two serial ports: bytes in through interrupts and queues, bytes out as the port takes them.

use core::cell::RefCell;
use core::convert::Infallible;
use critical_section::Mutex;
use cuepost_firmware::port::{Inbox, InboxReader, InboxWriter, Input};
use embedded_hal_nb::serial::{Read as _, Write as _};
use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};
use stm32f4xx_hal::pac::{self, interrupt};
use stm32f4xx_hal::prelude::*;
use stm32f4xx_hal::serial::{Instance, Rx, Tx};

type In<U> = Mutex<RefCell<Option<(Rx<U>, InboxWriter<'static>)>>>;

static COMPUTER: In<pac::USART1> = Mutex::new(RefCell::new(None));
static RECEIVER: In<pac::USART2> = Mutex::new(RefCell::new(None));

/// Hands the computer's port to its interrupt.
pub fn listen_computer(
    mut rx: Rx<pac::USART1>,
    inbox: &'static mut Inbox<512>,
) -> InboxReader<'static> {
    let (into, out) = inbox.split();
    rx.listen();
    put(&COMPUTER, (rx, into));
    // SAFETY: its handler is below and has what it needs.
    unsafe { cortex_m::peripheral::NVIC::unmask(pac::Interrupt::USART1) };
    out
}

/// Hands the receiver's port to its interrupt.
pub fn listen_receiver(
    mut rx: Rx<pac::USART2>,
    inbox: &'static mut Inbox<1024>,
) -> InboxReader<'static> {
    let (into, out) = inbox.split();
    rx.listen();
    put(&RECEIVER, (rx, into));
    // SAFETY: as above.
    unsafe { cortex_m::peripheral::NVIC::unmask(pac::Interrupt::USART2) };
    out
}

fn put<U: Instance>(port: &In<U>, what: (Rx<U>, InboxWriter<'static>)) {
    critical_section::with(|cs| {
        if let Ok(mut port) = port.borrow(cs).try_borrow_mut() {
            *port = Some(what);
        }
    });
}

#[interrupt]
fn USART1() {
    drain(&COMPUTER);
}

#[interrupt]
fn USART2() {
    drain(&RECEIVER);
}

/// Takes what the port has into its queue. The port has no FIFO: a byte, or two.
fn drain<U: Instance>(port: &In<U>) {
    critical_section::with(|cs| {
        // Never in use twice, as no interrupt inside another comes here; `borrow_mut` would link a
        // panic for it.
        let Ok(mut port) = port.borrow(cs).try_borrow_mut() else {
            return;
        };
        let Some((rx, inbox)) = port.as_mut() else {
            return;
        };
        for _ in 0..2 {
            match rx.read() {
                Ok(byte) => inbox.push(byte),
                Err(nb::Error::Other(_)) => inbox.lose(),
                Err(nb::Error::WouldBlock) => return,
            }
        }
    });
}

/// The sending half of a port.
pub struct Out<U: Instance>(pub Tx<U>);

impl<U: Instance> ErrorType for Out<U> {
    type Error = Infallible;
}
impl<U: Instance> Write for Out<U> {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        let sent = bytes.iter().take_while(|byte| self.0.write(**byte).is_ok());
        Ok(sent.count())
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}
impl<U: Instance> WriteReady for Out<U> {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.is_tx_empty())
    }
}

/// The computer's port: both directions.
pub struct Computer {
    /// Bytes in.
    pub inbox: InboxReader<'static>,
    /// Bytes out.
    pub out: Out<pac::USART1>,
}

impl ErrorType for Computer {
    type Error = Infallible;
}
impl Read for Computer {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Infallible> {
        self.inbox.read(bytes)
    }
}
impl ReadReady for Computer {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        self.inbox.read_ready()
    }
}
impl Input for Computer {
    fn lost(&self) -> u32 {
        self.inbox.lost()
    }
    fn most(&self) -> u16 {
        self.inbox.most()
    }
}
impl Write for Computer {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        self.out.write(bytes)
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}
impl WriteReady for Computer {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        self.out.write_ready()
    }
}

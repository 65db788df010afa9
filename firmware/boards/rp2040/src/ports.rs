//! The two serial ports: bytes in through interrupts and queues, bytes out through the FIFOs.

use core::cell::RefCell;
use core::convert::Infallible;
use critical_section::Mutex;
use cuepost_firmware::port::{Inbox, InboxReader, InboxWriter, Input};
use embedded_hal_nb::serial::Write as _;
use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};
use rp2040_hal::gpio::bank0::{Gpio0, Gpio1, Gpio4, Gpio5};
use rp2040_hal::gpio::{FunctionUart, Pin, PullDown};
use rp2040_hal::pac::{self, interrupt};
use rp2040_hal::uart::{Reader, UartDevice, ValidUartPinout, Writer};

type UartPin<I> = Pin<I, FunctionUart, PullDown>;
/// Pins of the computer's port: out, in.
pub type ComputerPins = (UartPin<Gpio0>, UartPin<Gpio1>);
/// Pins of the display (out) and the receiver (in).
pub type ReceiverPins = (UartPin<Gpio4>, UartPin<Gpio5>);

type ComputerIn = (Reader<pac::UART0, ComputerPins>, InboxWriter<'static>);
type ReceiverIn = (Reader<pac::UART1, ReceiverPins>, InboxWriter<'static>);

/// What an interrupt works with, once it is there.
type Shared<T> = Mutex<RefCell<Option<T>>>;

static COMPUTER: Shared<ComputerIn> = Mutex::new(RefCell::new(None));
static RECEIVER: Shared<ReceiverIn> = Mutex::new(RefCell::new(None));

/// Never in use twice, as only one core and no interrupt inside another comes here; `borrow_mut` would
/// link a panic for it.
fn with<T>(shared: &Shared<T>, act: impl FnOnce(&mut T)) {
    critical_section::with(|cs| {
        if let Ok(mut held) = shared.borrow(cs).try_borrow_mut()
            && let Some(held) = held.as_mut()
        {
            act(held);
        }
    });
}

fn put<T>(shared: &Shared<T>, what: T) {
    critical_section::with(|cs| {
        if let Ok(mut held) = shared.borrow(cs).try_borrow_mut() {
            *held = Some(what);
        }
    });
}

/// Hands the computer's port to its interrupt.
pub fn listen_computer(
    mut reader: Reader<pac::UART0, ComputerPins>,
    inbox: &'static mut Inbox<512>,
) -> InboxReader<'static> {
    let (into, out) = inbox.split();
    reader.enable_rx_interrupt();
    put(&COMPUTER, (reader, into));
    // SAFETY: its handler is below and has what it needs.
    unsafe { cortex_m::peripheral::NVIC::unmask(pac::Interrupt::UART0_IRQ) };
    out
}

/// Hands the receiver's port to its interrupt.
pub fn listen_receiver(
    mut reader: Reader<pac::UART1, ReceiverPins>,
    inbox: &'static mut Inbox<1024>,
) -> InboxReader<'static> {
    let (into, out) = inbox.split();
    reader.enable_rx_interrupt();
    put(&RECEIVER, (reader, into));
    // SAFETY: as above.
    unsafe { cortex_m::peripheral::NVIC::unmask(pac::Interrupt::UART1_IRQ) };
    out
}

#[interrupt]
fn UART0_IRQ() {
    with(&COMPUTER, |(reader, inbox)| drain(reader, inbox));
}

#[interrupt]
fn UART1_IRQ() {
    with(&RECEIVER, |(reader, inbox)| drain(reader, inbox));
}

/// Empties a port's FIFO into its queue. Bounded: what is left, or a fault that does not go away,
/// is the next interrupt's.
fn drain<D: UartDevice, P: ValidUartPinout<D>>(
    reader: &Reader<D, P>,
    inbox: &mut InboxWriter<'static>,
) {
    let mut bytes = [0; 32];
    for _ in 0..4 {
        match reader.read_raw(&mut bytes) {
            Ok(count) => bytes.iter().take(count).for_each(|byte| inbox.push(*byte)),
            Err(nb::Error::Other(fault)) => {
                fault.discarded.iter().for_each(|byte| inbox.push(*byte));
                inbox.lose();
            }
            Err(nb::Error::WouldBlock) => return,
        }
    }
}

/// The computer's port: both directions.
pub struct Computer {
    /// Bytes in.
    pub inbox: InboxReader<'static>,
    /// Bytes out.
    pub out: Out<pac::UART0, ComputerPins>,
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

/// The sending half of a port.
pub struct Out<D: UartDevice, P: ValidUartPinout<D>>(pub Writer<D, P>);

impl<D: UartDevice, P: ValidUartPinout<D>> ErrorType for Out<D, P> {
    type Error = Infallible;
}
impl<D: UartDevice, P: ValidUartPinout<D>> Write for Out<D, P> {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        let sent = bytes.iter().take_while(|byte| self.0.write(**byte).is_ok());
        Ok(sent.count())
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}
impl<D: UartDevice, P: ValidUartPinout<D>> WriteReady for Out<D, P> {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        // The writer does not say; a full one takes nothing.
        Ok(true)
    }
}

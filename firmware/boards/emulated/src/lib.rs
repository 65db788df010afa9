//! The hardware of the emulated board `mps2-an386` as the firmware's ports, pins and flash.
//!
//! Register addresses: Arm, "Application Note AN386" (memory map) and "Cortex-M System Design Kit
//! Technical Reference Manual" (UART), from memory.
#![no_std]

pub mod clock;
pub mod flash;
pub mod outputs;
pub mod stack;
pub mod uart;

use cuepost_firmware::board::{Parts, Wiring};
use cuepost_firmware::lamp::Lamp;
use cuepost_firmware::screen::Screen;
use cuepost_firmware::sounder::Sounder;
use cuepost_firmware::store::{Region, Store, StoreFault};
use cuepost_firmware::strip::Strip;

/// A screen on a bus.
pub type Panel = cuepost_firmware::screen::Panel<outputs::Bus>;
/// Brings a screen's buffer to the glass.
pub type Present = fn(&mut Panel) -> Result<(), cuepost_firmware::output::OutputFault>;

/// Lamp, strip of 32, sounder and screen.
pub type Outputs = (
    Lamp<outputs::TracedPin>,
    Strip<outputs::Bus, 32>,
    Sounder<outputs::Beeper>,
    Screen<Panel, Present>,
);

/// Lamp, strip, sounder and screen of this board.
pub fn outputs() -> Outputs {
    (
        Lamp::new(outputs::TracedPin),
        Strip::new(outputs::Bus),
        Sounder::new(outputs::Beeper),
        Screen::new(Panel::new(outputs::Bus), Panel::present),
    )
}

/// The store in this board's flash.
pub fn store() -> Result<Store<flash::Flash>, StoreFault> {
    let region = Region {
        begin: 0,
        slot_bytes: flash::BYTES / 2,
    };
    Store::open(flash::Flash, region)
}

/// The wiring: three of the board's ports, everything it can show.
pub struct Emulated;

impl Wiring for Emulated {
    type Receiver = uart::Uart;
    type Computer = uart::Uart;
    type Display = uart::Uart;
    type Outputs = Outputs;
    type Flash = flash::Flash;
}

/// The parts as they are wired: receiver on UART 0, computer on UART 1, display on UART 2. UART 3
/// tells what the lamp does.
pub fn parts() -> Result<Parts<Emulated>, StoreFault> {
    Ok(Parts {
        receiver: uart::Uart::open(0),
        computer: uart::Uart::open(1),
        display: uart::Uart::open(2),
        outputs: outputs(),
        store: store()?,
    })
}

/// Nothing in the firmware may panic: a build in which anything could does not link, because this
/// function is nowhere.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    unsafe extern "C" {
        fn a_panic_path_is_linked() -> !;
    }
    // SAFETY: never linked, so never called.
    unsafe { a_panic_path_is_linked() }
}

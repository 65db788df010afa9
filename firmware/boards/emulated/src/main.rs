//! The board as it runs: everything it does is in `cuepost-firmware`.
#![no_std]
#![no_main]

use cortex_m_semihosting::debug;
use cuepost_emulated::{Emulated, clock, parts};
use cuepost_firmware::board::{Board, Rooms};
use static_cell::StaticCell;

static ROOMS: StaticCell<Rooms> = StaticCell::new();
static BOARD: StaticCell<Board<'static, Emulated>> = StaticCell::new();

#[cortex_m_rt::entry]
fn main() -> ! {
    if let Some((board, mut clock)) = start() {
        loop {
            board.step(clock.now_us());
        }
    }
    loop {
        debug::exit(debug::EXIT_FAILURE);
    }
}

/// Puts the board together. A call of its own, so that what it needs of the stack is free again
/// when the main loop begins.
#[inline(never)]
fn start() -> Option<(&'static mut Board<'static, Emulated>, clock::Clock)> {
    let mut core = cortex_m::Peripherals::take()?;
    let rooms = Rooms::furnish(ROOMS.try_uninit()?);
    let board = BOARD.try_uninit()?.write(Board::new(parts().ok()?, rooms));
    Some((board, clock::Clock::start(&mut core.SYST)))
}

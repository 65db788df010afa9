//! The board as it runs: everything it does is in `cuepost-firmware`.
#![no_std]
#![no_main]

use cortex_m_semihosting::debug;
use cuepost_emulated::{Emulated, clock, parts};
use cuepost_firmware::board::{Board, Rooms};
use static_cell::StaticCell;

static ROOMS: StaticCell<Rooms> = StaticCell::new();

#[cortex_m_rt::entry]
fn main() -> ! {
    if let (Some(mut core), Ok(parts)) = (cortex_m::Peripherals::take(), parts())
        && let Some(rooms) = ROOMS.try_init_with(Rooms::default)
    {
        let mut clock = clock::Clock::start(&mut core.SYST);
        let mut board = Board::<Emulated>::new(parts, rooms);
        loop {
            board.step(clock.now_us());
        }
    }
    loop {
        debug::exit(debug::EXIT_FAILURE);
    }
}

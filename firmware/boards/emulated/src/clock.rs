//! The board's clock, from the processor's tick counter.

use core::sync::atomic::{AtomicU32, Ordering};
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;

/// Ticks a second.
pub const TICKS_HZ: u32 = 25_000_000;
/// The counter counts down from here.
const TOP: u32 = 0x00FF_FFFF;

/// Milliseconds when the clock was last read, for what has no clock of its own.
static MILLISECONDS: AtomicU32 = AtomicU32::new(0);

/// Microseconds since the start, as long as it is read at least once in 0.6 s.
pub struct Clock {
    last: u32,
    ticks: u64,
}

impl Clock {
    /// Starts the counter.
    pub fn start(syst: &mut SYST) -> Self {
        syst.set_clock_source(SystClkSource::Core);
        syst.set_reload(TOP);
        syst.clear_current();
        syst.enable_counter();
        Self {
            last: SYST::get_current(),
            ticks: 0,
        }
    }

    /// Now.
    pub fn now_us(&mut self) -> u64 {
        let current = SYST::get_current();
        self.ticks += u64::from(elapsed(self.last, current));
        self.last = current;
        let us = self.ticks / u64::from(TICKS_HZ / 1_000_000);
        MILLISECONDS.store((us / 1_000) as u32, Ordering::Relaxed);
        us
    }
}

/// Ticks between two readings of the counter less than a turn apart.
pub fn elapsed(from: u32, to: u32) -> u32 {
    from.wrapping_sub(to) & TOP
}

/// Milliseconds when the clock was last read.
pub fn milliseconds() -> u32 {
    MILLISECONDS.load(Ordering::Relaxed)
}

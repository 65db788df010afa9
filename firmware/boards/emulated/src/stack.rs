//! How deep the stack was: it is painted at the start, and what is no longer paint was used.

use core::ptr::addr_of;

/// What unused stack looks like.
const PAINT: u32 = 0x5AA5_C33C;

unsafe extern "C" {
    static _stack_end: u32;
    static _stack_start: u32;
}

/// Paints the stack below the caller. Call it first of all.
#[inline(never)]
pub fn paint() {
    let here = cortex_m::register::msp::read() as usize - 64;
    let mut at = lowest();
    while at < here {
        // SAFETY: between the end of the stack and what of it is in use.
        unsafe { (at as *mut u32).write_volatile(PAINT) };
        at += 4;
    }
}

/// The most bytes of stack in use at any time since it was painted.
pub fn high_water() -> u32 {
    let top = addr_of!(_stack_start) as usize;
    let mut at = lowest();
    // SAFETY: inside the stack.
    while at < top && unsafe { (at as *const u32).read_volatile() } == PAINT {
        at += 4;
    }
    (top - at) as u32
}

/// Only the last 64 KiB are painted: far more than is ever used, and quickly done.
fn lowest() -> usize {
    let top = addr_of!(_stack_start) as usize;
    (addr_of!(_stack_end) as usize).max(top - 0x1_0000) & !3
}

//! The firmware on emulated hardware.

mod budgets;
mod guest;
mod host;
mod same_bytes;
mod stream;

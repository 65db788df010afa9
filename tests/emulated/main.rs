//! The firmware on emulated hardware.

mod budgets;
mod guest;
mod host;
mod links;
mod rp2040;
mod same_bytes;
mod silence;
mod stream;

//! The firmware on emulated hardware.

mod guest;
mod host;
mod same_bytes;
mod stream;

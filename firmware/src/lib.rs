//! Ports, lamps and screens for the Cuepost engine on a microcontroller.
#![no_std]
#![forbid(unsafe_code)]

#[cfg(test)]
extern crate std;

pub mod board;
pub mod lamp;
pub mod output;
pub mod pattern;
pub mod port;
pub mod screen;
pub mod settings;
pub mod sounder;
pub mod store;
pub mod strip;

#[cfg(test)]
mod test_cue;

//! Ports, lamps and screens for the Cuepost engine on a microcontroller.
#![no_std]
#![forbid(unsafe_code)]

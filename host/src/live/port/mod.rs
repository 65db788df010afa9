//! Serial ports: which there are, opening them, and living through an unplugged cable.

mod bus;
mod link;
mod serial;

pub use bus::{Bus, Found, OpenFault, UsbIdentity, identify, whereabouts};
pub use link::{Got, Link};
pub use serial::SerialBus;

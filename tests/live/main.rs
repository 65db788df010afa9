//! Watching live, with real ports, sockets and a browser.

mod chrome;
mod endurance;
mod hostile;
mod kinds;
mod layout;
mod legible;
mod line;
mod pages;
mod running;
mod scene;
mod serial;
mod served;
mod udp;
mod unplug;

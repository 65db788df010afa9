//! Watching live, with real ports, sockets and a browser.

mod chrome;
mod layout;
mod pages;
mod served;

//! Watching live, with real ports, sockets and a browser.

mod layout;

//! Talks to a board over a port: sends files, asks how it is, listens.
//!
//! The port is anything that reads with a time limit and writes; the board's answers pick the
//! next thing to send, so a broken cable costs what was on its way and no more.

pub mod client;
pub mod words;

pub use client::{BoardError, Client};

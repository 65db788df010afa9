//! Landmarks, and what the coach has to say of the corners: a text file for people, put into a
//! reference.
//!
//! - [`mod@file`] reads and writes the text;
//! - [`put`] lays it onto a reference;
//! - [`press`] finds the places where somebody marked something while driving past.

pub mod file;
pub mod press;
pub mod put;

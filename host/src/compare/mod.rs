//! Two cars held against each other: what each can do against speed, and which changes would make
//! the one behave like the other.
//!
//! [`mod@measure`] learns a car's curves and how sure they are, [`mod@fit`] looks for the change,
//! [`words`] says it.

pub mod fit;
pub mod measure;
pub mod words;

pub use fit::{Fit, fit};
pub use measure::{CURVES, Measured, measure};

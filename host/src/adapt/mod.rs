//! A reference for another day or another car, computed and never driven.
//!
//! 1. [`limits`] takes the car's curves apart into tyres, aerodynamics, engine and drag, and puts
//!    them together again after a [`change`];
//! 2. [`manner`] reads from the reference lap how much of those limits its driver used at each
//!    place, which [`driven`] does again;
//! 3. [`qss`] runs the speed around the line, forward and backward, within what that leaves;
//! 4. [`recompute`] does so for the car as it was and as it will be, and moves the reference's
//!    facts by the difference, so that no change changes nothing;
//! 5. [`words`] says what moved.

pub mod change;
pub mod driven;
pub mod limits;
pub mod manner;
pub mod qss;
pub mod recompute;
pub mod words;

pub use change::Change;
pub use recompute::{Adapted, adapt};

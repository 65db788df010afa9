//! A circuit, cars and drivers made on the spot, to show the whole job and to test it against
//! what is known to have happened.
//!
//! Physics, not a picture of the result: a point mass with a friction ellipse, drag, slope,
//! engine and brakes is stepped through time ([`car`]); a driver with a plan ([`plan`]), human
//! scatter and planted faults ([`fault`]) works pedals and steering; what came of it is written
//! down as it happens ([`truth`]). Everything follows from one seed.

pub mod advice;
pub mod campaign;
pub mod car;
pub mod circuit;
pub mod drive;
pub mod driver;
pub mod fault;
pub mod files;
pub mod known;
pub mod layout;
pub mod orders;
pub mod path;
pub mod pieces;
mod pilot;
pub mod plan;
mod plant;
pub mod quillmere;
pub mod receiver;
pub mod session;
pub mod show;
pub mod target;
pub mod truth;

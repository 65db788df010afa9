//! What the engine said, for other programs ([`json`]) and for people ([`words`]).

pub mod fold;
pub mod glance;
pub mod html;
pub mod json;
pub mod paint;
pub mod places;
pub mod reference;
pub mod system;
pub mod units;
pub mod words;

#[cfg(test)]
pub(crate) mod test_reference;

pub use glance::Glance;
pub use json::event_json;
pub use units::Units;

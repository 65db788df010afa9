//! The pages a drive serves: the driver's, read at a glance, and the coach's.
//!
//! [`hub`] keeps what there is to tell; each reader follows it at its own pace, so that a slow one
//! costs nothing. [`guard`] decides who may ask, [`server`] how many and for how long.

pub mod guard;
pub mod hub;
pub mod reference;
mod routes;
pub mod server;

pub use guard::{Access, Token};
pub use hub::Hub;
pub use server::{Limits, Server, StartFault};

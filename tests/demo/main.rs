//! The demonstration's car, driver, circuit and receiver against closed forms and against what
//! was ordered.

mod car;
mod circuit;
mod faults;
mod lap;
mod receiver;
mod session;

//! Gate and progress: what is admitted, where the car is, when laps begin and end.

mod contradictions;
mod crossing;
mod faults;
mod gate;
mod plane;
mod properties;
mod recordings;
mod source;
mod streams;
mod times;

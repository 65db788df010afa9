//! Gate and progress: what is admitted, where the car is, when laps begin and end.

mod faults;

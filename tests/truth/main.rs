//! Onsets from speed alone against the pedals of a simulator that nobody here wrote.

mod streams;

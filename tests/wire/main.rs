//! The wire and the files, from outside: frames, damage, golden vectors, readers in other
//! languages, recordings cut off.

mod any_bytes;
mod campaign;
mod frames;
mod killed;
mod made;
mod messages;
mod noise;
mod page;
mod random;
mod readers;
mod vectors;

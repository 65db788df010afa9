//! What is true whatever comes in, one function for each way in. They panic when it is not.
//!
//! Run by the fuzzer (`tests/fuzz.sh`) with inputs of its own, and by the test `hostile` with the
//! corpus, with what the fuzzer once found, and with damaged copies of both.

mod engine;
mod files;
mod packets;
mod receiver;
mod table;
mod web;
mod wire;

pub use engine::{engine, invented};
pub use files::{reference, thresholds};
pub use packets::packets;
pub use receiver::receiver;
pub use table::table;
pub use web::web;
pub use wire::wire;

/// One way in.
pub type Target = fn(&[u8]);

/// All of them, by the names their corpora have.
pub const TARGETS: [(&str, Target); 8] = [
    ("receiver", receiver),
    ("wire", wire),
    ("reference", reference),
    ("thresholds", thresholds),
    ("table", table),
    ("packets", packets),
    ("engine", engine),
    ("web", web),
];

/// Takes numbers from the front of some bytes; zeros behind their end.
struct Bytes<'a>(&'a [u8]);

impl Bytes<'_> {
    fn over(&self) -> bool {
        self.0.is_empty()
    }

    fn take<const N: usize>(&mut self) -> [u8; N] {
        let mut out = [0; N];
        let n = N.min(self.0.len());
        out[..n].copy_from_slice(&self.0[..n]);
        self.0 = &self.0[n..];
        out
    }

    fn byte(&mut self) -> u8 {
        u8::from_le_bytes(self.take())
    }

    /// A byte as a number from -1 to 1.
    fn signed(&mut self) -> f64 {
        f64::from(i8::from_le_bytes(self.take())) / 127.0
    }
}

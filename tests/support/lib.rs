//! What the tests of this crate share.

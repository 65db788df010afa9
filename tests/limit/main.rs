//! How near the engine comes to what speeds can tell at all: when a braking began, how well that
//! is known, and how soon it can be seen.
//!
//! The bounds are in `tests/data/published/limits.csv`, made with numpy by the script beside it,
//! which names their sources. The engine's figures are in `tests/limit/onsets.txt` and
//! `tests/limit/delays.txt`, false alarms in `tests/limit/alarms.txt` and `lifts.txt`, brakings from
//! full throttle in `tests/limit/full.txt`;
//! `CUEPOST_GOLDEN=write cargo test -p cuepost-tests --test limit` writes
//! them anew.

mod bound;
mod delay;
mod drive;
mod full;
mod golden;
mod noise;
mod onset;
mod steady;

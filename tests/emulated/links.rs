//! The proof that no panic path is linked, for the core without a floating-point unit and at the
//! level the smallest board is built with: the program's panic handler calls what is nowhere.

use crate::guest::built_with;

#[test]
fn nothing_can_panic_on_the_small_core_either() {
    built_with(
        "cuepost-emulated",
        "thumbv6m-none-eabi",
        &["--bin", "cuepost-emulated"],
    );
}

#[test]
fn nothing_can_panic_at_the_smallest_size() {
    let smallest = [
        "--bin",
        "cuepost-emulated",
        "--config",
        "profile.release.opt-level=\"z\"",
        "--target-dir",
        "target/smallest",
    ];
    built_with("cuepost-emulated", "thumbv7em-none-eabihf", &smallest);
}

//! The proof that no panic path is linked: the program's panic handler calls what is nowhere.
//!
//! The emulated board's program is linked whole, for the core without a floating-point unit and at
//! the level the smallest board is built with as well. Of the boards people own, all that runs once
//! the hardware is set up is linked: the main loop with their ports, outputs and flash, and the
//! interrupts. Not proven are the setting up itself, where the libraries of the chips check clocks and
//! speeds and the board starts again should they not suit, and on the STM32F4 the unlocking of its
//! flash, which is asked for while the car stands.

use crate::guest::{boards, built_with, llvm};

#[test]
fn nothing_can_panic_while_a_board_with_an_rp2040_runs() {
    running_links("cuepost-rp2040", "thumbv6m-none-eabi", "s");
}

#[test]
fn nothing_can_panic_while_a_board_with_an_stm32f4_runs() {
    running_links("cuepost-stm32f4", "thumbv7em-none-eabihf", "z");
}

/// Links what runs after the start, at the level `firmware/boards/build.sh` builds the board with.
fn running_links(package: &str, target: &str, level: &str) {
    let level = format!("profile.release.opt-level=\"{level}\"");
    let folder = "target/proof";
    let more = [
        "--features",
        "proof",
        "--config",
        &level,
        "--target-dir",
        folder,
    ];
    built_with(package, target, &more);
    let program = boards()
        .join(folder)
        .join(target)
        .join("release")
        .join(package);
    // What could not be reached would be proven in vain: the engine and the interrupts are in it.
    let said = std::process::Command::new(llvm("llvm-nm"))
        .args(["--demangle", "--defined-only"])
        .arg(&program)
        .output()
        .expect("llvm-nm, which tests/setup.sh installs with llvm-tools");
    let symbols = String::from_utf8_lossy(&said.stdout).into_owned();
    let interrupts = match package {
        "cuepost-rp2040" => ["UART0_IRQ", "UART1_IRQ"],
        _ => ["USART1", "USART2"],
    };
    let inside = [
        "cuepost_engine::voice",
        "cuepost_engine::judge",
        "cuepost_firmware::store",
    ];
    for name in interrupts.iter().chain(&inside) {
        assert!(symbols.contains(name), "{package} without {name}");
    }
}

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

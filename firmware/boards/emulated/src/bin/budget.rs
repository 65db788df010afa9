//! Measures what the firmware costs: instructions a sample, stack, static memory.
//!
//! The tests put a reference and a recording into the board's outer memory before it starts:
//! lengths of both (u32), the port the recording is for (0 receiver, 1 computer), then both. The
//! recording goes through the board's own main loop in pieces of 64 bytes; the report comes out of
//! UART 0, a name and a number a line.
//!
//! One instruction takes 256 ns of the emulator's time and the tick counter runs at 25 MHz, so
//! ticks times 5/32 are instructions, the same in every run.
#![no_std]
#![no_main]

use core::convert::Infallible;
use cortex_m::peripheral::SYST;
use cortex_m_semihosting::debug;
use cuepost_emulated::clock::{Clock, elapsed};
use cuepost_emulated::uart::Uart;
use cuepost_emulated::{Outputs, flash, outputs, stack, store};
use cuepost_firmware::board::{Board, Parts, Rooms, Wiring};
use cuepost_firmware::lamp::Lamp;
use cuepost_firmware::output::Output;
use cuepost_firmware::port::{Input, NoPort};
use cuepost_firmware::settings::{Settings, Source};
use cuepost_firmware::store::Part;
use embedded_hal::digital::{ErrorType, OutputPin};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use static_cell::StaticCell;

/// Where the tests put their data.
const DATA: usize = 0x2100_0000;
/// Microseconds between two samples of the recording.
const SAMPLE_US: u64 = 40_000;

static ROOMS: StaticCell<Rooms> = StaticCell::new();
static BOARD: StaticCell<Board<'static, Measured>> = StaticCell::new();

/// A port that a recording comes in on; what goes out is gone.
struct Tape(&'static [u8]);

impl embedded_io::ErrorType for Tape {
    type Error = Infallible;
}
impl ReadReady for Tape {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(!self.0.is_empty())
    }
}
impl Read for Tape {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Infallible> {
        let mut read = 0;
        while let (Some(place), Some((byte, rest))) = (bytes.get_mut(read), self.0.split_first()) {
            *place = *byte;
            self.0 = rest;
            read += 1;
        }
        Ok(read)
    }
}
impl Input for Tape {
    /// How much is left, where the status can be read from outside.
    fn lost(&self) -> u32 {
        self.0.len() as u32
    }
}
impl Write for Tape {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        Ok(bytes.len())
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}
impl WriteReady for Tape {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(true)
    }
}

/// A pin that nothing is on.
struct Pin;

impl ErrorType for Pin {
    type Error = Infallible;
}
impl OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
    fn set_high(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// The board with the lamp alone: what the others cost comes with a cue, not with a sample.
struct Measured;

impl Wiring for Measured {
    type Receiver = Tape;
    type Computer = Tape;
    type Display = NoPort;
    type Outputs = (Lamp<Pin>,);
    type Flash = flash::Flash;
}

#[cortex_m_rt::entry]
fn main() -> ! {
    stack::paint();
    let code = match measure() {
        Some(()) => debug::EXIT_SUCCESS,
        None => debug::EXIT_FAILURE,
    };
    loop {
        debug::exit(code);
    }
}

fn measure() -> Option<()> {
    let mut core = cortex_m::Peripherals::take()?;
    let mut report = Uart::open(0);
    let _clock = Clock::start(&mut core.SYST);
    let board = start()?;
    tell(
        &mut report,
        b"stack at the start, bytes",
        stack::high_water(),
    );
    stack::paint();
    let cost = play(board);
    tell(&mut report, b"stack, bytes", stack::high_water());
    tell(&mut report, b"samples", cost.samples);
    tell(&mut report, b"instructions a sample, mean", cost.mean());
    tell(
        &mut report,
        b"instructions a sample, worst",
        instructions(cost.worst),
    );
    tell(&mut report, b"instructions, nothing to do", idle(board));
    tell(&mut report, b"instructions, a cue shown", cue_shown());
    tell(
        &mut report,
        b"reference, bytes",
        size_of_val(&ROOMS) as u32 - engine_bytes(),
    );
    tell(&mut report, b"engine, bytes", engine_bytes());
    Some(())
}

const fn engine_bytes() -> u32 {
    size_of::<cuepost_engine::Engine>() as u32
}

/// The board with reference and recording.
#[inline(never)]
fn start() -> Option<&'static mut Board<'static, Measured>> {
    let (reference, tape, from_computer) = data()?;
    let mut store = store().ok()?;
    store.replace(Part::Reference, reference).ok()?;
    let mut settings = Settings::default();
    let (receiver, computer) = if from_computer {
        settings.source = Source::Computer;
        (Tape(&[]), Tape(tape))
    } else {
        (Tape(tape), Tape(&[]))
    };
    store.replace(Part::Settings, &settings.to_bytes()).ok()?;
    let parts = Parts {
        receiver,
        computer,
        display: NoPort,
        outputs: (Lamp::new(Pin),),
        store,
    };
    let rooms = Rooms::furnish(ROOMS.try_uninit()?);
    Some(BOARD.try_uninit()?.write(Board::new(parts, rooms)))
}

/// Reference, recording, and whether it is for the computer's port.
fn data() -> Option<(&'static [u8], &'static [u8], bool)> {
    // SAFETY: memory of the board that nothing writes; the lengths are what the tests put there.
    let word = |at: usize| unsafe { ((DATA + at) as *const u32).read_volatile() } as usize;
    let all = word(0)
        .checked_add(word(4))
        .filter(|all| *all < 0x0100_0000 - 12)?;
    // SAFETY: as above.
    let bytes = unsafe { core::slice::from_raw_parts((DATA + 12) as *const u8, all) };
    let (reference, tape) = bytes.split_at_checked(word(0))?;
    Some((reference, tape, word(8) != 0))
}

#[derive(Default)]
struct Cost {
    samples: u32,
    total: u64,
    worst: u32,
}

impl Cost {
    fn mean(&self) -> u32 {
        let all = (self.total * 5 + 16) / 32;
        all.checked_div(u64::from(self.samples)).unwrap_or(0) as u32
    }
}

fn instructions(ticks: u32) -> u32 {
    ((u64::from(ticks) * 5 + 16) / 32) as u32
}

/// Plays the recording to its end. A sample's cost is that of all steps since the one before it.
#[inline(never)]
fn play(board: &mut Board<'static, Measured>) -> Cost {
    let mut cost = Cost::default();
    let mut since = 0;
    loop {
        let now_us = u64::from(cost.samples) * SAMPLE_US;
        let begin = SYST::get_current();
        board.step(now_us);
        since += elapsed(begin, SYST::get_current());
        let (seen, left) = seen(board);
        if seen > cost.samples {
            cost.total += u64::from(since);
            cost.worst = cost.worst.max(since);
            cost.samples = seen;
            since = 0;
        }
        if left == 0 {
            return cost;
        }
    }
}

/// Samples the engine has seen, and bytes left on the tape.
#[inline(never)]
fn seen(board: &Board<'static, Measured>) -> (u32, u32) {
    let counts = board.status().counts;
    let refused = counts.refused.iter().sum::<u32>();
    (counts.admitted + refused, counts.lost_in)
}

/// A step with nothing to do.
fn idle(board: &mut Board<'static, Measured>) -> u32 {
    let begin = SYST::get_current();
    board.step(u64::MAX / 2);
    let begun = elapsed(begin, SYST::get_current());
    let _ = begun;
    let begin = SYST::get_current();
    board.step(u64::MAX / 2);
    instructions(elapsed(begin, SYST::get_current()))
}

/// A cue on lamp, strip of 32, sounder and screen: everything drawn anew.
#[inline(never)]
fn cue_shown() -> u32 {
    let mut all: Outputs = outputs();
    let settings = Settings {
        sounder: true,
        ..Settings::default()
    };
    let mut traced = 0;
    for n in 0..2 {
        let cue = cuepost_engine::Cue {
            lap: 1,
            corner: 12,
            phase: cuepost_engine::Phase::Throttle,
            advice: cuepost_engine::Advice::Sooner,
            told: cuepost_engine::Told::After,
            size: cuepost_engine::Size::Metres(12.0 + n as f32),
            size_s: None,
            loss_s: None,
            time_us: 0,
            progress_m: 0.0,
        };
        let begin = SYST::get_current();
        all.1.show(&cue, &settings, n * 1_000);
        all.2.show(&cue, &settings, n * 1_000);
        all.3.show(&cue, &settings, n * 1_000);
        let _ = all.1.tick(&settings, n * 1_000);
        let _ = all.2.tick(&settings, n * 1_000);
        let _ = all.3.tick(&settings, n * 1_000);
        traced = elapsed(begin, SYST::get_current());
    }
    instructions(traced)
}

fn tell(port: &mut Uart, name: &[u8], number: u32) {
    let mut digits = [b'0'; 10];
    let mut left = number;
    for digit in digits.iter_mut().rev() {
        *digit = b'0' + (left % 10) as u8;
        left /= 10;
    }
    port.send(name);
    port.send(b": ");
    port.send(&digits);
    port.send(b"\n");
}

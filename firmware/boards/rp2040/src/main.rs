//! Cuepost on a board with an RP2040: wiring only. `docs/WIRING.md` has the pins.
#![no_std]
#![no_main]
#![cfg_attr(feature = "proof", allow(dead_code, unused_imports))]

mod flash;
mod ports;

use cortex_m::peripheral::syst::SystClkSource;
use cuepost_firmware::board::{Activity, Board, Parts, Rooms, Wiring, settings_in};
use cuepost_firmware::lamp::Lamp;
use cuepost_firmware::output::OutputFault;
use cuepost_firmware::port::Inbox;
use cuepost_firmware::screen::Screen;
use cuepost_firmware::sounder::{PwmTone, Sounder};
use cuepost_firmware::store::{Region, Store};
use cuepost_firmware::strip::Strip;
use embedded_hal::digital::{ErrorType, OutputPin};
use fugit::RateExtU32;
use rp2040_hal::clocks::{Clock, init_clocks_and_plls};
use rp2040_hal::gpio::bank0::{Gpio15, Gpio18, Gpio19, Gpio20, Gpio21, Gpio25};
use rp2040_hal::gpio::{
    FunctionI2C, FunctionSio, FunctionSpi, Pin, Pins, PullDown, PullUp, SioOutput,
};
use rp2040_hal::i2c::I2C;
use rp2040_hal::pwm::{A, Channel, FreeRunning, Pwm0, Slice, Slices};
use rp2040_hal::spi::Enabled;
use rp2040_hal::uart::{DataBits, StopBits, UartConfig, UartPeripheral};
use rp2040_hal::{Sio, Spi, Timer, Watchdog, pac};
use static_cell::StaticCell;

/// The first 256 bytes of the flash: they make the rest of it readable.
#[unsafe(link_section = ".boot2")]
#[used]
static BOOT2: [u8; 256] = rp2040_boot2::BOOT_LOADER_GENERIC_03H;

/// The board's crystal, hertz.
const CRYSTAL_HZ: u32 = 12_000_000;
/// Speed of the computer's port, baud.
const COMPUTER_BAUD: u32 = 115_200;
/// Lamps on the strip.
const STRIP_LAMPS: usize = 16;
/// Ticks of the sounder's channel a second: 125 MHz through 100.
const SOUNDER_TICKS_HZ: u32 = 1_250_000;

static COMPUTER_INBOX: StaticCell<Inbox<512>> = StaticCell::new();
static RECEIVER_INBOX: StaticCell<Inbox<1024>> = StaticCell::new();
static ROOMS: StaticCell<Rooms> = StaticCell::new();
static BOARD: StaticCell<Board<'static, Rp2040>> = StaticCell::new();

type OutPin<I> = Pin<I, FunctionSio<SioOutput>, PullDown>;
type StripBus = Spi<
    Enabled,
    pac::SPI0,
    (
        Pin<Gpio19, FunctionSpi, PullDown>,
        Pin<Gpio18, FunctionSpi, PullDown>,
    ),
    8,
>;
type ScreenPins = (
    Pin<Gpio20, FunctionI2C, PullUp>,
    Pin<Gpio21, FunctionI2C, PullUp>,
);
type Panel = cuepost_firmware::screen::Panel<I2C<pac::I2C0, ScreenPins>>;
type Beeper = SounderChannel;

/// The lamp's pin and, with it, the lamp on the board: enough to try everything without a solder
/// joint.
struct LampPins(OutPin<Gpio15>, OutPin<Gpio25>);

impl ErrorType for LampPins {
    type Error = core::convert::Infallible;
}
impl OutputPin for LampPins {
    fn set_low(&mut self) -> Result<(), Self::Error> {
        self.0.set_low()?;
        self.1.set_low()
    }
    fn set_high(&mut self) -> Result<(), Self::Error> {
        self.0.set_high()?;
        self.1.set_high()
    }
}

/// The sounder's slice of the PWM, whose first channel is on GP16.
struct SounderChannel(Slice<Pwm0, FreeRunning>);

impl SounderChannel {
    fn channel(&mut self) -> &mut Channel<Slice<Pwm0, FreeRunning>, A> {
        &mut self.0.channel_a
    }
    fn set_pitch(&mut self, hz: u16) {
        let top = SOUNDER_TICKS_HZ / u32::from(hz.max(20));
        self.0.set_top(u16::try_from(top).unwrap_or(u16::MAX));
    }
}

impl embedded_hal::pwm::ErrorType for SounderChannel {
    type Error = core::convert::Infallible;
}
impl embedded_hal::pwm::SetDutyCycle for SounderChannel {
    fn max_duty_cycle(&self) -> u16 {
        self.0.get_top()
    }
    fn set_duty_cycle(&mut self, duty: u16) -> Result<(), Self::Error> {
        embedded_hal::pwm::SetDutyCycle::set_duty_cycle(self.channel(), duty)
    }
}

struct Rp2040;

impl Wiring for Rp2040 {
    type Receiver = cuepost_firmware::port::InboxReader<'static>;
    type Computer = ports::Computer;
    type Display = ports::Out<pac::UART1, ports::ReceiverPins>;
    type Outputs = (
        Lamp<LampPins>,
        Strip<StripBus, STRIP_LAMPS>,
        Sounder<PwmTone<Beeper, fn(&mut Beeper, u16)>>,
        Screen<Panel, fn(&mut Panel) -> Result<(), OutputFault>>,
    );
    type Flash = flash::Flash;
}

#[rp2040_hal::entry]
fn main() -> ! {
    let (board, timer) = start();
    loop {
        // Asleep until the next byte or millisecond. A byte that comes between the step and the
        // sleep waits for the millisecond.
        if board.step(timer.get_counter().ticks()) == Activity::Idle {
            cortex_m::asm::wfi();
        }
    }
}

/// Wakes the main loop, so that the lamp keeps its time.
#[cortex_m_rt::exception]
fn SysTick() {}

/// Puts the board together. A call of its own, so that what it needs of the stack is free again
/// when the main loop begins.
#[cfg(not(feature = "proof"))]
#[inline(never)]
fn start() -> (&'static mut Board<'static, Rp2040>, Timer) {
    let mut pac = pac::Peripherals::take().expect("taken once");
    let mut watchdog = Watchdog::new(pac.WATCHDOG);
    let clocks = init_clocks_and_plls(
        CRYSTAL_HZ,
        pac.XOSC,
        pac.CLOCKS,
        pac.PLL_SYS,
        pac.PLL_USB,
        &mut pac.RESETS,
        &mut watchdog,
    )
    .ok()
    .expect("the clocks of this board");
    let mut syst = cortex_m::Peripherals::take().expect("taken once").SYST;
    syst.set_clock_source(SystClkSource::Core);
    syst.set_reload(clocks.system_clock.freq().to_kHz() - 1);
    syst.clear_current();
    syst.enable_interrupt();
    syst.enable_counter();
    let timer = Timer::new(pac.TIMER, &mut pac.RESETS, &clocks);
    let sio = Sio::new(pac.SIO);
    let pins = Pins::new(
        pac.IO_BANK0,
        pac.PADS_BANK0,
        sio.gpio_bank0,
        &mut pac.RESETS,
    );

    let region = Region {
        begin: 0,
        slot_bytes: flash::BYTES / 2,
    };
    let store = Store::open(flash::Flash, region)
        .ok()
        .expect("a region that suits");
    let baud = settings_in(&store).receiver_baud.bits_a_second();
    let config = |baud: u32| UartConfig::new(baud.Hz(), DataBits::Eight, None, StopBits::One);
    let frequency = clocks.peripheral_clock.freq();

    let computer_pins = (pins.gpio0.reconfigure(), pins.gpio1.reconfigure());
    let (computer_in, computer_out) =
        UartPeripheral::new(pac.UART0, computer_pins, &mut pac.RESETS)
            .enable(config(COMPUTER_BAUD), frequency)
            .ok()
            .expect("a speed the port has")
            .split();
    let receiver_pins = (pins.gpio4.reconfigure(), pins.gpio5.reconfigure());
    let (receiver_in, display_out) = UartPeripheral::new(pac.UART1, receiver_pins, &mut pac.RESETS)
        .enable(config(baud), frequency)
        .ok()
        .expect("a speed the port has")
        .split();

    let lamp = LampPins(
        pins.gpio15.into_push_pull_output(),
        pins.gpio25.into_push_pull_output(),
    );
    // Clocked in this mode there is no pause between bytes, which the strip would mind.
    let strip = Spi::new(
        pac.SPI0,
        (pins.gpio19.into_function(), pins.gpio18.into_function()),
    )
    .init(
        &mut pac.RESETS,
        frequency,
        3_200.kHz(),
        embedded_hal::spi::MODE_1,
    );
    let mut sounder = Slices::new(pac.PWM, &mut pac.RESETS).pwm0;
    sounder.set_div_int(100);
    sounder.channel_a.output_to(pins.gpio16);
    sounder.enable();
    let i2c = I2C::i2c0(
        pac.I2C0,
        pins.gpio20.reconfigure(),
        pins.gpio21.reconfigure(),
        400.kHz(),
        &mut pac.RESETS,
        &clocks.system_clock,
    );

    let parts = Parts {
        receiver: ports::listen_receiver(receiver_in, RECEIVER_INBOX.init(Inbox::new())),
        computer: ports::Computer {
            inbox: ports::listen_computer(computer_in, COMPUTER_INBOX.init(Inbox::new())),
            out: ports::Out(computer_out),
        },
        display: ports::Out(display_out),
        outputs: (
            Lamp::new(lamp),
            Strip::new(strip),
            Sounder::new(PwmTone::new(
                SounderChannel(sounder),
                SounderChannel::set_pitch as fn(&mut Beeper, u16),
            )),
            Screen::new(
                Panel::new(i2c),
                Panel::present as fn(&mut Panel) -> Result<(), OutputFault>,
            ),
        ),
        store,
    };
    let rooms = Rooms::furnish(ROOMS.uninit());
    (BOARD.uninit().write(Board::new(parts, rooms)), timer)
}

/// The parts of a running board out of thin air: with them in place of [`start`] the main loop and the
/// interrupts are linked as they run, and the setting up of the hardware is not.
#[cfg(feature = "proof")]
fn start() -> (&'static mut Board<'static, Rp2040>, Timer) {
    fn conjured<T>() -> T {
        // SAFETY: never run, only linked.
        unsafe { core::ptr::read_volatile(core::hint::black_box(0x2000_0000) as *const T) }
    }
    core::mem::forget(ports::listen_receiver(conjured(), conjured()));
    core::mem::forget(ports::listen_computer(conjured(), conjured()));
    conjured()
}

/// What could panic is the setting up of the hardware. Then a new start is the best there is.
#[cfg(not(feature = "proof"))]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    cortex_m::peripheral::SCB::sys_reset()
}

/// Where nothing can panic this is never needed: a program in which anything could does not link.
#[cfg(feature = "proof")]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    unsafe extern "C" {
        fn a_panic_path_is_linked() -> !;
    }
    // SAFETY: never linked, so never called.
    unsafe { a_panic_path_is_linked() }
}

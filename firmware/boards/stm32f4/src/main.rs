//! Cuepost on a board with an STM32F411: wiring only. `docs/WIRING.md` has the pins.
#![no_std]
#![no_main]
#![cfg_attr(feature = "proof", allow(dead_code, unused_imports))]

mod flash;
mod ports;

use cuepost_firmware::board::{Board, Parts, Rooms, Wiring, settings_in};
use cuepost_firmware::lamp::Lamp;
use cuepost_firmware::output::OutputFault;
use cuepost_firmware::port::Inbox;
use cuepost_firmware::screen::Screen;
use cuepost_firmware::sounder::{PwmTone, Sounder};
use cuepost_firmware::store::Store;
use cuepost_firmware::strip::Strip;
use embedded_hal::digital::{ErrorType, OutputPin};
use static_cell::StaticCell;
use stm32f4xx_hal::flash::LockedFlash;
use stm32f4xx_hal::gpio::{Output, PB0, PC13};
use stm32f4xx_hal::i2c::I2c;
use stm32f4xx_hal::pac::{self, SPI1};
use stm32f4xx_hal::prelude::*;
use stm32f4xx_hal::rcc::Config;
use stm32f4xx_hal::serial;
use stm32f4xx_hal::spi::Spi;
use stm32f4xx_hal::timer::{CounterUs, PwmChannel, PwmHzManager};

/// Speed of the computer's port, baud.
const COMPUTER_BAUD: u32 = 115_200;
/// The sounder's timer runs at 96 MHz; through this it ticks a million times a second.
const SOUNDER_DIVIDER: u32 = 96;
const SOUNDER_TICKS_HZ: u32 = 1_000_000;
/// Lamps on the strip.
const STRIP_LAMPS: usize = 16;

static COMPUTER_INBOX: StaticCell<Inbox<512>> = StaticCell::new();
static RECEIVER_INBOX: StaticCell<Inbox<1024>> = StaticCell::new();
static ROOMS: StaticCell<Rooms> = StaticCell::new();
static BOARD: StaticCell<Board<'static, Stm32f4>> = StaticCell::new();

type Panel = cuepost_firmware::screen::Panel<I2c<pac::I2C1>>;

/// The lamp's pin and, with it, the lamp on the board, which lights while its pin is low.
struct LampPins(PB0<Output>, PC13<Output>);

impl ErrorType for LampPins {
    type Error = core::convert::Infallible;
}
impl OutputPin for LampPins {
    fn set_low(&mut self) -> Result<(), Self::Error> {
        self.0.set_low();
        self.1.set_high();
        Ok(())
    }
    fn set_high(&mut self) -> Result<(), Self::Error> {
        self.0.set_high();
        self.1.set_low();
        Ok(())
    }
}

/// The sounder's timer and its channel on PB6.
struct Beeper {
    timer: PwmHzManager<pac::TIM4>,
    channel: PwmChannel<pac::TIM4, 0>,
}

impl Beeper {
    fn set_pitch(&mut self, hz: u16) {
        let top = SOUNDER_TICKS_HZ / u32::from(hz.max(20));
        // SAFETY: TIM4 is this sounder's, and every value is one its registers may hold: at most
        // 50,000. The library's own way links a panic for values that are not.
        unsafe {
            let timer = &*pac::TIM4::ptr();
            timer.psc().write(|w| w.bits(SOUNDER_DIVIDER - 1));
            timer.arr().write(|w| w.bits(top - 1));
            timer.cnt().write(|w| w.bits(0));
        }
    }
}

impl embedded_hal::pwm::ErrorType for Beeper {
    type Error = core::convert::Infallible;
}
impl embedded_hal::pwm::SetDutyCycle for Beeper {
    fn max_duty_cycle(&self) -> u16 {
        self.timer.get_max_duty()
    }
    fn set_duty_cycle(&mut self, duty: u16) -> Result<(), Self::Error> {
        embedded_hal::pwm::SetDutyCycle::set_duty_cycle(&mut self.channel, duty)
    }
}

struct Stm32f4;

impl Wiring for Stm32f4 {
    type Receiver = cuepost_firmware::port::InboxReader<'static>;
    type Computer = ports::Computer;
    type Display = ports::Out<pac::USART2>;
    type Outputs = (
        Lamp<LampPins>,
        Strip<Spi<SPI1>, STRIP_LAMPS>,
        Sounder<PwmTone<Beeper, fn(&mut Beeper, u16)>>,
        Screen<Panel, fn(&mut Panel) -> Result<(), OutputFault>>,
    );
    type Flash = flash::Flash;
}

/// Microseconds since the start, from a counter that turns over after 71 minutes.
struct Clock {
    counter: CounterUs<pac::TIM5>,
    last: u32,
    total_us: u64,
}

impl Clock {
    fn now_us(&mut self) -> u64 {
        let now = self.counter.now().ticks();
        self.total_us += u64::from(now.wrapping_sub(self.last));
        self.last = now;
        self.total_us
    }
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let (board, mut clock) = start();
    loop {
        board.step(clock.now_us());
    }
}

/// Puts the board together. A call of its own, so that what it needs of the stack is free again
/// when the main loop begins.
#[cfg(not(feature = "proof"))]
#[inline(never)]
fn start() -> (&'static mut Board<'static, Stm32f4>, Clock) {
    let dp = pac::Peripherals::take().expect("taken once");
    // 96 MHz from the board's crystal; the bus of the strip then divides to 3 MHz.
    let mut rcc = dp.RCC.freeze(Config::hse(25.MHz()).sysclk(96.MHz()));
    let (gpioa, gpiob) = (dp.GPIOA.split(&mut rcc), dp.GPIOB.split(&mut rcc));
    let gpioc = dp.GPIOC.split(&mut rcc);

    let flash = flash::Flash(LockedFlash::new(dp.FLASH));
    let store = Store::open(flash, flash::REGION)
        .ok()
        .expect("a region that suits");
    let baud = settings_in(&store).receiver_baud.bits_a_second();
    let speed = |baud: u32| serial::Config::default().baudrate(baud.bps());

    let computer = dp
        .USART1
        .serial((gpioa.pa9, gpioa.pa10), speed(COMPUTER_BAUD), &mut rcc);
    let (computer_out, computer_in) = computer.expect("a speed the port has").split();
    let receiver = dp
        .USART2
        .serial((gpioa.pa2, gpioa.pa3), speed(baud), &mut rcc);
    let (display_out, receiver_in) = receiver.expect("a speed the port has").split();

    let lamp = LampPins(
        gpiob.pb0.into_push_pull_output(),
        gpioc.pc13.into_push_pull_output(),
    );
    let strip_pins = (Some(gpioa.pa5), SPI1::NoMiso, Some(gpioa.pa7));
    let strip = dp
        .SPI1
        .spi(strip_pins, embedded_hal::spi::MODE_1, 3.MHz(), &mut rcc);
    let (timer, (channel, ..)) = dp.TIM4.pwm_hz(1_000.Hz(), &mut rcc);
    let mut channel = channel.with(gpiob.pb6);
    channel.enable();
    let i2c = I2c::new(dp.I2C1, (gpiob.pb8, gpiob.pb9), 400.kHz(), &mut rcc);
    let mut counter = dp.TIM5.counter_us(&mut rcc);
    counter
        .start(u32::MAX.micros())
        .ok()
        .expect("the longest period there is");

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
                Beeper { timer, channel },
                Beeper::set_pitch as fn(&mut Beeper, u16),
            )),
            Screen::new(
                Panel::new(i2c),
                Panel::present as fn(&mut Panel) -> Result<(), OutputFault>,
            ),
        ),
        store,
    };
    let clock = Clock {
        counter,
        last: 0,
        total_us: 0,
    };
    let rooms = Rooms::furnish(ROOMS.uninit());
    (BOARD.uninit().write(Board::new(parts, rooms)), clock)
}

/// The parts of a running board out of thin air: with them in place of [`start`] the main loop and the
/// interrupts are linked as they run, and the setting up of the hardware is not.
#[cfg(feature = "proof")]
fn start() -> (&'static mut Board<'static, Stm32f4>, Clock) {
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

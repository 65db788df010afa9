//! Cuepost on a board with an STM32F411: wiring only. `docs/WIRING.md` has the pins.
#![no_std]
#![no_main]

mod flash;
mod ports;

use cuepost_firmware::board::{Board, Parts, Rooms, Wiring, settings_in};
use cuepost_firmware::lamp::Lamp;
use cuepost_firmware::output::OutputFault;
use cuepost_firmware::screen::Screen;
use cuepost_firmware::sounder::{PwmTone, Sounder};
use cuepost_firmware::store::Store;
use cuepost_firmware::strip::Strip;
use embedded_hal::digital::{ErrorType, OutputPin};
use ssd1306::mode::{BufferedGraphicsMode, DisplayConfig};
use ssd1306::prelude::{DisplayRotation, DisplaySize128x64, I2CInterface};
use ssd1306::{I2CDisplayInterface, Ssd1306};
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
/// Lamps on the strip.
const STRIP_LAMPS: usize = 16;

static ROOMS: StaticCell<Rooms> = StaticCell::new();
static BOARD: StaticCell<Board<'static, Stm32f4>> = StaticCell::new();

type Panel = Ssd1306<
    I2CInterface<I2c<pac::I2C1>>,
    DisplaySize128x64,
    BufferedGraphicsMode<DisplaySize128x64>,
>;

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
        self.timer.set_period(u32::from(hz.max(20)).Hz());
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

/// Brings the screen's buffer to the glass; a screen that was not there before is set up first.
fn present(panel: &mut Panel) -> Result<(), OutputFault> {
    let set_up = panel.init();
    set_up.and_then(|()| panel.flush()).map_err(|_| OutputFault)
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
    let panel: Panel = Ssd1306::new(
        I2CDisplayInterface::new(i2c),
        DisplaySize128x64,
        DisplayRotation::Rotate0,
    )
    .into_buffered_graphics_mode();
    let mut counter = dp.TIM5.counter_us(&mut rcc);
    counter
        .start(u32::MAX.micros())
        .ok()
        .expect("the longest period there is");

    let parts = Parts {
        receiver: ports::listen_receiver(receiver_in),
        computer: ports::Computer {
            inbox: ports::listen_computer(computer_in),
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
            Screen::new(panel, present as fn(&mut Panel) -> Result<(), OutputFault>),
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

/// The firmware proper cannot panic; what could is the setting up of the hardware. Then a new start
/// is the best there is.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    cortex_m::peripheral::SCB::sys_reset()
}

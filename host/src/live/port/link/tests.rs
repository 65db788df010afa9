//! The link on a bus that plays a script.

use super::*;
use crate::live::port::bus::Found;
use std::cell::RefCell;
use std::collections::VecDeque;
use std::io;
use std::rc::Rc;

#[derive(Default)]
struct Script {
    reads: VecDeque<io::Result<Vec<u8>>>,
    opens: VecDeque<Result<(), OpenFault>>,
    opened: Vec<String>,
    found: Vec<Found>,
    handles: usize,
}

#[derive(Clone, Default)]
struct Fake(Rc<RefCell<Script>>);

struct Handle(Rc<RefCell<Script>>);

impl Drop for Handle {
    fn drop(&mut self) {
        self.0.borrow_mut().handles -= 1;
    }
}

impl Read for Handle {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let bytes = self
            .0
            .borrow_mut()
            .reads
            .pop_front()
            .unwrap_or(Ok(vec![]))?;
        buffer[..bytes.len()].copy_from_slice(&bytes);
        Ok(bytes.len())
    }
}

impl Bus for Fake {
    type Port = Handle;

    fn open(&mut self, path: &str) -> Result<Handle, OpenFault> {
        let mut script = self.0.borrow_mut();
        script.opened.push(path.to_owned());
        script.opens.pop_front().unwrap_or(Ok(()))?;
        script.handles += 1;
        Ok(Handle(self.0.clone()))
    }

    fn list(&mut self) -> Vec<Found> {
        self.0.borrow().found.clone()
    }
}

fn device(path: &str, serial: Option<&str>) -> Found {
    Found {
        path: path.to_owned(),
        usb: Some(UsbIdentity {
            vendor: 0x1546,
            product: 0x01a9,
            serial: serial.map(str::to_owned),
        }),
        label: String::new(),
    }
}

fn ms(n: u64) -> Duration {
    Duration::from_millis(n)
}

fn opened(found: Vec<Found>) -> (Fake, Link<Fake>) {
    let fake = Fake::default();
    fake.0.borrow_mut().found = found;
    let link = Link::open(fake.clone(), "/dev/ttyACM0").expect("opens");
    (fake, link)
}

#[test]
fn a_timeout_is_quiet_and_zero_bytes_are_gone() {
    let (fake, mut link) = opened(vec![]);
    let mut buffer = [0; 64];
    fake.0.borrow_mut().reads = VecDeque::from([
        Ok(b"abc".to_vec()),
        Err(ErrorKind::TimedOut.into()),
        Err(ErrorKind::Interrupted.into()),
        Ok(vec![]),
    ]);
    assert_eq!(link.read(ms(0), &mut buffer), Got::Bytes(3));
    assert_eq!(link.read(ms(0), &mut buffer), Got::Quiet);
    assert_eq!(link.read(ms(0), &mut buffer), Got::Quiet);
    assert!(matches!(link.read(ms(0), &mut buffer), Got::Gone(_)));
    assert_eq!(fake.0.borrow().handles, 0, "the old handle is closed");
}

#[test]
fn it_backs_off_and_never_spins() {
    let (fake, mut link) = opened(vec![device("/dev/ttyACM0", Some("A"))]);
    fake.0.borrow_mut().found.clear();
    let mut buffer = [0; 64];
    assert!(matches!(link.read(ms(0), &mut buffer), Got::Gone(_)));
    let mut now = ms(0);
    let mut tries = 0;
    while now < ms(10_000) {
        match link.read(now, &mut buffer) {
            Got::Away { wait, .. } => {
                assert!(wait > Duration::ZERO);
                now += wait;
            }
            other => panic!("{other:?}"),
        }
        tries += 1;
    }
    // 0.1, 0.2, 0.4, 0.8, then once a second.
    assert!(tries <= 16, "{tries} tries in 10 s");
}

#[test]
fn it_comes_back_by_identity_under_another_name() {
    let (fake, mut link) = opened(vec![device("/dev/ttyACM0", Some("A"))]);
    let mut buffer = [0; 64];
    assert!(matches!(link.read(ms(0), &mut buffer), Got::Gone(_)));
    // Another device took the old name.
    fake.0.borrow_mut().found = vec![
        device("/dev/ttyACM0", Some("B")),
        device("/dev/ttyACM1", Some("A")),
    ];
    let got = link.read(ms(100), &mut buffer);
    assert_eq!(got, Got::Back("/dev/ttyACM1".into()));
    assert_eq!(link.path(), "/dev/ttyACM1");
}

#[test]
fn twins_without_serial_numbers_are_not_confused() {
    let (fake, mut link) = opened(vec![device("/dev/ttyACM0", None)]);
    let mut buffer = [0; 64];
    assert!(matches!(link.read(ms(0), &mut buffer), Got::Gone(_)));
    fake.0.borrow_mut().found = vec![device("/dev/ttyACM1", None), device("/dev/ttyACM2", None)];
    fake.0.borrow_mut().opens.push_back(Err(OpenFault::Missing));
    assert!(matches!(link.read(ms(100), &mut buffer), Got::Away { .. }));
    assert_eq!(fake.0.borrow().opened.last().unwrap(), "/dev/ttyACM0");
}

#[test]
fn each_reason_is_told_once() {
    let (fake, mut link) = opened(vec![]);
    let mut buffer = [0; 64];
    assert!(matches!(link.read(ms(0), &mut buffer), Got::Gone(_)));
    fake.0.borrow_mut().opens = VecDeque::from([
        Err(OpenFault::Missing),
        Err(OpenFault::Denied),
        Err(OpenFault::Busy),
        Err(OpenFault::Busy),
        Ok(()),
    ]);
    let mut told = Vec::new();
    let mut now = ms(0);
    loop {
        match link.read(now, &mut buffer) {
            Got::Away { wait, why } => {
                told.extend(why);
                now += wait;
            }
            Got::Back(_) => break,
            other => panic!("{other:?}"),
        }
    }
    assert_eq!(
        told,
        [OpenFault::Missing, OpenFault::Denied, OpenFault::Busy]
    );
}

//! Reads datagrams from one sender.

use super::decode::Decode;
use super::outlet::{EachSecond, Outlet};
use crate::live::message::{Note, NoteKind};
use std::io;
use std::net::{IpAddr, SocketAddr, UdpSocket};
use std::sync::atomic::Ordering::Relaxed;
use std::time::{Duration, Instant};

/// How long a read waits: short enough to notice a stop at once.
const READ_TIMEOUT: Duration = Duration::from_millis(50);
/// Another sender is listened to only after the first has been silent for this long.
const SENDER_HOLD: Duration = Duration::from_secs(5);
/// The largest datagram and one more, to see that none is longer.
const BLOCK: usize = 65_536;

/// Opens the socket.
pub fn open(at: SocketAddr) -> io::Result<UdpSocket> {
    let socket = UdpSocket::bind(at)?;
    socket.set_read_timeout(Some(READ_TIMEOUT))?;
    Ok(socket)
}

/// Reads until the drive is to end.
pub fn read(socket: &UdpSocket, mut decode: Box<dyn Decode>, out: &Outlet) {
    let mut buffer = vec![0; BLOCK];
    let mut sender = Sender::default();
    let mut second = EachSecond::default();
    while !out.stopped() {
        match socket.recv_from(&mut buffer) {
            Ok((n, from)) => {
                let arrived = Instant::now();
                let now = out.now();
                if !sender.admit(from.ip(), now) {
                    continue;
                }
                out.counters.bytes.fetch_add(n as u64, Relaxed);
                let bytes = buffer.get(..n).unwrap_or_default();
                let before = out.counters.samples.load(Relaxed);
                let at_us = now.as_micros() as u64;
                decode.push(bytes, at_us, &mut |s| out.sample(s, arrived));
                // A line of text ends with its datagram, whether the sender wrote an end or not.
                if is_open_line(bytes) {
                    decode.push(b"\n", at_us, &mut |s| out.sample(s, arrived));
                }
                out.is_of(decode.source_kind());
                if let Some(why) = decode.fault() {
                    out.note(Note::new(NoteKind::Source, why));
                }
                if out.counters.samples.load(Relaxed) > before {
                    sender.believe(from.ip(), now);
                }
            }
            Err(e) if quiet(e.kind()) => {}
            Err(e) => {
                out.note(Note::new(NoteKind::Source, format!("UDP: {e}")));
                if !out.wait(Duration::from_secs(1)) {
                    break;
                }
            }
        }
        if second.due(out.now()) {
            out.counters.set_decoder(refused(decode.as_ref(), &sender));
        }
    }
    decode.end(&mut |s| out.sample(s, Instant::now()));
    out.counters.set_decoder(refused(decode.as_ref(), &sender));
}

fn refused(decode: &dyn Decode, sender: &Sender) -> Vec<(String, u64)> {
    let mut all = decode.refused();
    all.push(("packet from another sender".into(), sender.strangers));
    all
}

fn is_open_line(bytes: &[u8]) -> bool {
    let text = |b: &u8| b.is_ascii_graphic() || matches!(b, b' ' | b'\t');
    bytes.first().is_some_and(text) && bytes.last().is_some_and(text)
}

/// A refused connection is a datagram of ours that nobody took; on Windows it comes back here.
fn quiet(kind: io::ErrorKind) -> bool {
    use io::ErrorKind as K;
    matches!(
        kind,
        K::WouldBlock | K::TimedOut | K::Interrupted | K::ConnectionReset
    )
}

/// The machine whose packets gave samples; while it sends, nobody else is believed.
#[derive(Debug, Default)]
struct Sender {
    believed: Option<(IpAddr, Duration)>,
    strangers: u64,
}

impl Sender {
    fn admit(&mut self, from: IpAddr, now: Duration) -> bool {
        match self.believed {
            Some((ip, heard)) if ip != from && now.saturating_sub(heard) < SENDER_HOLD => {
                self.strangers += 1;
                false
            }
            _ => true,
        }
    }

    fn believe(&mut self, from: IpAddr, now: Duration) {
        self.believed = Some((from, now));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_sender_is_not_mixed_in() {
        let mut sender = Sender::default();
        let a: IpAddr = "192.0.2.1".parse().expect("an address");
        let b: IpAddr = "192.0.2.2".parse().expect("an address");
        let s = Duration::from_secs;
        assert!(sender.admit(b, s(0)), "nobody is believed yet");
        assert!(sender.admit(a, s(0)));
        sender.believe(a, s(0));
        assert!(!sender.admit(b, s(4)));
        assert!(sender.admit(a, s(4)));
        assert!(sender.admit(b, s(6)), "the first has gone");
        assert_eq!(sender.strangers, 1);
    }
}

//! The packets half of `cuepost check`: what a layout makes of them.

use super::manners::Fitting;
use crate::live::input::Source;
use crate::live::layout::show::{self, Captured};
use crate::live::layout::{Layout, PacketReader, Refused};
use anyhow::{Context, bail};
use std::io::{self, Write};
use std::net::{SocketAddr, UdpSocket};
use std::path::Path;
use std::process::ExitCode;
use std::time::{Duration, Instant};

/// Shows the packets of a file or of a socket.
pub fn show(
    layout: &Path,
    packets: &Path,
    seconds: f64,
    save: Option<&Path>,
) -> anyhow::Result<ExitCode> {
    let mut reader = PacketReader::new(Layout::read(layout)?);
    let named = packets.to_string_lossy();
    let captured = match named.parse::<Source>() {
        Ok(Source::Udp(at)) => listen(at, seconds)?,
        _ => {
            let text = std::fs::read_to_string(packets).with_context(|| named.to_string())?;
            show::parse(&text).map_err(|why| anyhow::anyhow!("{named}: {why}"))?
        }
    };
    if let Some(path) = save {
        let text: String = captured.iter().map(|p| show::line(p) + "\n").collect();
        std::fs::write(path, text).with_context(|| path.display().to_string())?;
    }
    let mut out = Fitting::new(io::stdout().lock());
    for packet in &captured {
        for line in show::show(&mut reader, packet) {
            writeln!(out, "{line}")?;
        }
    }
    let counts = reader.counts();
    writeln!(
        out,
        "{} packets, {} samples, {} lost on the way, the sender started again {} times",
        counts.datagrams, counts.samples, counts.lost, counts.restarts
    )?;
    for (why, n) in Refused::ALL.iter().zip(counts.refused) {
        if n > 0 {
            writeln!(out, "refused: {n} {}", why.name())?;
        }
    }
    out.flush()?;
    if captured.is_empty() {
        bail!("no packet came; is the simulator sending to this machine and this port?");
    }
    Ok(ExitCode::SUCCESS)
}

/// Listens for a while.
fn listen(at: SocketAddr, seconds: f64) -> anyhow::Result<Vec<Captured>> {
    if !(0.1..=600.0).contains(&seconds) {
        bail!("--seconds {seconds}: from 0.1 to 600");
    }
    let socket = UdpSocket::bind(at).with_context(|| format!("udp {at}"))?;
    if !super::manners::quiet() {
        eprintln!("listening on UDP {at} for {seconds} s");
    }
    let begun = Instant::now();
    let over = Duration::from_secs_f64(seconds);
    let mut buffer = vec![0; 65_536];
    let mut captured = Vec::new();
    while let Some(left) = over.checked_sub(begun.elapsed()).filter(|d| !d.is_zero()) {
        socket.set_read_timeout(Some(left))?;
        match socket.recv(&mut buffer) {
            Ok(n) => captured.push(Captured {
                at_ms: begun.elapsed().as_millis() as u64,
                bytes: buffer.get(..n).unwrap_or_default().to_vec(),
            }),
            Err(e)
                if matches!(
                    e.kind(),
                    io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut
                ) => {}
            Err(e) => return Err(e).context(format!("udp {at}")),
        }
    }
    Ok(captured)
}

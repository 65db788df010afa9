//! `cuepost demo`: the whole job on an invented circuit.

use crate::demo::driver::LapPlan;
use crate::demo::fault::{Fault, FaultKind};
use crate::demo::receiver::ReceiverModel;
use crate::demo::session::{Session, Wish};
use crate::demo::{files, show};
use crate::report::units::Units;
use anyhow::{Context, bail, ensure};
use std::path::PathBuf;
use std::process::ExitCode;

/// Show the whole job on an invented circuit: coach's laps, reference, a driver's faults, cues
///
/// Nothing is needed: circuit, cars and drivers are made on the spot from a seed, with a receiver's
/// noise, and what was told is printed next to what was planted. With --out the recordings, the
/// reference and the truth are written too, to try the other commands on.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  cuepost demo
  cuepost demo --out demo --faults 1:brake-late:12,6:throttle-late:20")]
pub struct Args {
    /// Everything follows from it
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Samples a second, 5 to 200
    #[arg(long, default_value_t = 25.0)]
    rate: f64,
    /// Standard deviation of the speed's noise, m/s, 0 to 1
    #[arg(long, default_value_t = 0.05)]
    noise: f64,
    /// Let the receiver see the pedals
    #[arg(long)]
    pedals: bool,
    /// What the driver does wrong, instead of the usual programme: [LAP:]CORNER:KIND:SIZE,...
    /// or `none`; without a lap in laps 2 and 3. Sizes in metres, m/s, seconds, or a share of
    /// the deceleration
    #[arg(long, value_name = "LIST")]
    faults: Option<String>,
    /// Write recordings, reference and truth into this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Units of the text
    #[arg(long, value_enum, default_value_t = Units::Metric)]
    units: Units,
}

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    ensure!(
        (5.0..=200.0).contains(&args.rate),
        "--rate {}: from 5 to 200 samples a second",
        args.rate
    );
    ensure!(
        (0.0..=1.0).contains(&args.noise),
        "--noise {}: from 0 to 1 m/s",
        args.noise
    );
    let receiver = ReceiverModel {
        speed_sd_mps: args.noise,
        pedals: args.pedals,
        ..ReceiverModel::usual(args.rate)
    };
    let mut wish = Wish::usual(args.seed, receiver);
    if let Some(list) = &args.faults {
        wish.laps = laps(list)?;
    }
    let session = Session::hold(&wish)?;
    say!(
        "Seed {}: {} samples a second, {} m/s of noise, pedals {}.\n",
        args.seed,
        args.rate,
        args.noise,
        if args.pedals { "seen" } else { "hidden" }
    );
    tell!("{}", show::text(&session, args.units));
    look_at(args, &session)?;
    Ok(ExitCode::SUCCESS)
}

/// Laps with the faults of a list: the first one clean, and one clean one behind the last.
fn laps(list: &str) -> anyhow::Result<Vec<LapPlan>> {
    let mut planted: Vec<(usize, u8, Fault)> = Vec::new();
    for item in list
        .split(',')
        .map(str::trim)
        .filter(|i| !i.is_empty() && *i != "none")
    {
        planted.extend(fault(item).with_context(|| format!("--faults: `{item}`"))?);
    }
    let last = planted.iter().map(|p| p.0).max().unwrap_or(2);
    let mut laps = vec![LapPlan::clean(); last + 1];
    for (lap, corner, fault) in planted {
        laps[lap - 1].faults.push((corner, fault));
    }
    Ok(laps)
}

/// One fault of the list, in one lap or two.
fn fault(item: &str) -> anyhow::Result<Vec<(usize, u8, Fault)>> {
    let parts: Vec<&str> = item.split(':').collect();
    let (lap, corner, kind, size) = match parts[..] {
        [corner, kind, size] => (None, corner, kind, size),
        [lap, corner, kind, size] => (Some(lap), corner, kind, size),
        _ => bail!("expected [LAP:]CORNER:KIND:SIZE, as in 6:throttle-late:20"),
    };
    let corner: u8 = corner
        .parse()
        .ok()
        .filter(|c| (1..=CORNERS).contains(c))
        .with_context(|| format!("`{corner}` is no corner; they are numbered 1 to {CORNERS}"))?;
    let kind = FaultKind::from_name(kind).with_context(|| {
        let all: Vec<&str> = FaultKind::ALL.into_iter().map(FaultKind::name).collect();
        format!("no fault is called `{kind}`; there are {}", all.join(", "))
    })?;
    let size: f64 = size
        .parse()
        .ok()
        .filter(|s| (0.0..=SIZE_MAX).contains(s))
        .with_context(|| format!("`{size}` is no size; a number from 0 to {SIZE_MAX}"))?;
    let laps = match lap {
        None => vec![2, 3],
        Some(lap) => vec![
            lap.parse()
                .ok()
                .filter(|l| (1..=LAPS_MAX).contains(l))
                .with_context(|| format!("`{lap}` is no lap; laps are numbered 1 to {LAPS_MAX}"))?,
        ],
    };
    Ok(laps
        .into_iter()
        .map(|lap| (lap, corner, kind.of(size)))
        .collect())
}

/// Corners of the invented circuit.
const CORNERS: u8 = crate::demo::quillmere::NAMES.len() as u8;
/// No fault is larger, in any unit: beyond this the car is only off the road.
const SIZE_MAX: f64 = 100.0;
/// More laps take more than a moment.
const LAPS_MAX: usize = 40;

/// What to do next.
fn look_at(args: &Args, session: &Session) -> anyhow::Result<()> {
    say!("\nWhat to look at");
    say!("  - what was told below what was planted, and the loss as measured beside the true one");
    say!(
        "  - a cue as it happened tells what is late so far, so its size is less than the mistake"
    );
    say!("  - corner 6: the same word twice brings a reminder before the corner");
    let Some(folder) = &args.out else {
        say!("\nNext");
        say!("  cuepost demo --rate 10 --noise 0.1 --faults 4:brake-soft:0.3");
        say!("  cuepost demo --out demo      the files, for the other commands");
        return Ok(());
    };
    let files = files::write(session, folder)?;
    let shown = |p: &std::path::Path| p.display().to_string();
    let (driver, reference) = (shown(&files.driver), shown(&files.reference));
    say!("  - {}: what really happened", shown(&files.truth));
    say!("\nNext");
    say!("  cuepost brief {reference}");
    say!("  cuepost replay {driver} -r {reference}");
    say!("  cuepost debrief {driver} -r {reference} -o debrief.html");
    say!("  cuepost learn {} -o again.ref", shown(&files.coach));
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_of_faults_becomes_laps() {
        let laps = laps("1:brake-late:12, 4:6:throttle-late:20").expect("a good list");
        assert_eq!(laps.len(), 5);
        assert_eq!(laps[1].faults, [(1, FaultKind::BrakeLate.of(12.0))]);
        assert_eq!(laps[1].faults, laps[2].faults);
        assert_eq!(laps[3].faults, [(6, FaultKind::ThrottleLate.of(20.0))]);
        assert!(laps[0].faults.is_empty() && laps[4].faults.is_empty());
        assert_eq!(
            super::laps("none").expect("no faults"),
            vec![LapPlan::clean(); 3]
        );
    }

    #[test]
    fn a_bad_list_is_refused_with_the_reason() {
        for (list, why) in [
            ("brake-late", "expected [LAP:]CORNER:KIND:SIZE"),
            ("99:brake-late:12", "numbered 1 to 10"),
            ("1:brake-laet:12", "there are brake-early, brake-late"),
            ("1:brake-late:-3", "is no size"),
            ("1:brake-late:NaN", "is no size"),
            ("0:1:brake-late:3", "is no lap"),
        ] {
            let error = format!("{:#}", laps(list).expect_err(list));
            assert!(error.contains(why) && error.contains(list), "{error}");
        }
    }
}

//! `cuepost adapt`: a reference for another day or another car.

use super::manners;
use crate::adapt::change::{self, Change, MassChange};
use crate::adapt::{adapt, words};
use crate::report::Units;
use crate::{learn, reference_file};
use anyhow::bail;
use std::path::PathBuf;
use std::process::ExitCode;

/// Recompute a reference for other grip, mass, power, drag or downforce
///
/// The line stays; speeds, brake points and full-throttle points move by what the car's limits,
/// learned from the reference's own laps, make of the change. What comes of it was never driven:
/// it is marked so, and no cue asks to brake later or go faster than was driven until a lap has
/// shown a corner to be possible.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  cuepost adapt demo/quillmere.ref --grip 0.95 --mass +50 --car-mass 1250 -o sunday.ref
  cuepost adapt demo/quillmere.ref --grip -10% -o first-day.ref")]
pub struct Args {
    /// The reference, as `cuepost learn` made it
    reference: PathBuf,
    /// Where to write the new one
    #[arg(long, short)]
    output: PathBuf,
    /// Grip of tyres and road: 0.95 or -5%
    #[arg(long, value_name = "FACTOR", value_parser = change::factor, allow_hyphen_values = true, default_value = "1")]
    grip: f64,
    /// Mass of car and driver: +50 (kilograms) or +4%
    #[arg(long, value_name = "CHANGE", value_parser = change::mass, allow_hyphen_values = true, default_value = "0")]
    mass: MassChange,
    /// Engine power: 1.1 or +10%
    #[arg(long, value_name = "FACTOR", value_parser = change::factor, allow_hyphen_values = true, default_value = "1")]
    power: f64,
    /// Aerodynamic drag: 1.1 or +10%
    #[arg(long, value_name = "FACTOR", value_parser = change::factor, allow_hyphen_values = true, default_value = "1")]
    drag: f64,
    /// Downforce: 1.1 or +10%
    #[arg(long, value_name = "FACTOR", value_parser = change::factor, allow_hyphen_values = true, default_value = "1")]
    downforce: f64,
    /// Mass of car and driver of the reference, kilograms, where it does not say
    #[arg(long, value_name = "KG", value_parser = super::learn::mass)]
    car_mass: Option<f32>,
    /// Name of the car it is for; the reference's when not given
    #[arg(long)]
    car: Option<String>,
    /// Conditions it is for, in words; what was changed when not given
    #[arg(long)]
    conditions: Option<String>,
    /// You vouch for it: cues may ask for more than anybody has driven
    #[arg(long)]
    trust: bool,
    /// Units for people
    #[arg(long, value_enum, default_value_t)]
    units: Units,
}

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let name = args.reference.display();
    let (before, _) = reference_file::read(&args.reference)?;
    let car_kg = args.car_mass.or(before.session.mass_kg).map(f64::from);
    let Some(mass) = args.mass.of(car_kg) else {
        bail!(
            "{name} does not say how heavy the car is: add --car-mass KG (with driver), or give the mass as a percentage"
        );
    };
    let change = Change {
        grip: args.grip,
        mass,
        power: args.power,
        drag: args.drag,
        downforce: args.downforce,
    };
    if let Some(fault) = change.fault() {
        bail!("{fault}");
    }
    let mut adapted = adapt(&before, change, args.trust)
        .map_err(|e| anyhow::anyhow!("{name}: cannot be adapted: {e}"))?;
    let session = &mut adapted.reference.session;
    session.mass_kg = car_kg.map(|kg| (kg * mass) as f32);
    session.conditions = learn::short(&match &args.conditions {
        Some(words) => words.clone(),
        None if before.session.conditions.is_empty() => change.to_string(),
        None => format!("{change}; from {}", before.session.conditions),
    });
    if let Some(car) = &args.car {
        session.car = learn::short(car);
    }
    let what = change.to_string();
    if !manners::quiet() {
        let moved = words::moved(&before.view(), &adapted, &what, args.units);
        tell!("{moved}");
    }
    let id = reference_file::write(&args.output, &adapted.reference.view())?;
    note!("written     {} ({id:08X})", args.output.display());
    Ok(ExitCode::SUCCESS)
}

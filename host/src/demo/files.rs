//! A session as files that the other commands read.

use super::session::Session;
use super::truth::Moment;
use crate::reference_file;
use anyhow::Context;
use cuepost_engine::{Position, Sample};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// What was written where.
#[derive(Clone, Debug)]
pub struct Written {
    /// The coach's laps as received.
    pub coach: PathBuf,
    /// The driver's laps as received.
    pub driver: PathBuf,
    /// The reference.
    pub reference: PathBuf,
    /// What really happened.
    pub truth: PathBuf,
}

/// Writes recordings, reference and truth into a folder, made when it is not there.
///
/// # Errors
/// When the folder or a file cannot be written, with its path.
pub fn write(session: &Session, folder: &Path) -> anyhow::Result<Written> {
    std::fs::create_dir_all(folder).with_context(|| folder.display().to_string())?;
    let written = Written {
        coach: folder.join("coach.csv"),
        driver: folder.join("driver.csv"),
        reference: folder.join("quillmere.ref"),
        truth: folder.join("truth.csv"),
    };
    let put = |path: &Path, text: String| {
        std::fs::write(path, text).with_context(|| path.display().to_string())
    };
    put(&written.coach, recording(&session.coach_samples))?;
    put(&written.driver, recording(&session.driven_samples))?;
    put(&written.truth, truth(session))?;
    reference_file::write(&written.reference, &session.learned.reference.view())?;
    Ok(written)
}

/// Samples as a table with named columns and units.
fn recording(samples: &[Sample]) -> String {
    let pedals = samples.first().is_some_and(|s| s.brake.is_some());
    let degrees = samples
        .first()
        .is_some_and(|s| matches!(s.position, Some(Position::Geodetic { .. })));
    let mut out = String::from("time_s,");
    out += if degrees {
        "lat_deg,lon_deg"
    } else {
        "x_m,y_m"
    };
    out += ",speed_mps,course_deg";
    out += if pedals {
        ",brake,throttle,gear\n"
    } else {
        "\n"
    };
    for s in samples {
        // Writing to a String cannot fail.
        let _ = write!(out, "{:.6},", s.time_us as f64 * 1e-6);
        let _ = match s.position {
            Some(Position::Local { east_mm, north_mm }) => {
                write!(
                    out,
                    "{:.3},{:.3}",
                    east_mm as f64 * 1e-3,
                    north_mm as f64 * 1e-3
                )
            }
            Some(Position::Geodetic { lat_e7, lon_e7 }) => {
                write!(
                    out,
                    "{:.7},{:.7}",
                    f64::from(lat_e7) * 1e-7,
                    f64::from(lon_e7) * 1e-7
                )
            }
            None => write!(out, ","),
        };
        let number =
            |x: Option<f32>, digits: usize| x.map_or(String::new(), |x| format!("{x:.digits$}"));
        let course = s
            .direction_rad
            .map(|d| (90.0 - d.to_degrees()).rem_euclid(360.0));
        let _ = write!(out, ",{},{}", number(s.speed_mps, 3), number(course, 2));
        if pedals {
            let gear = s.gear.map_or(String::new(), |g| g.to_string());
            let _ = write!(
                out,
                ",{},{},{gear}",
                number(s.brake, 3),
                number(s.throttle, 3)
            );
        }
        out.push('\n');
    }
    out
}

/// What really happened, a row a passage; places in metres from the start line.
fn truth(session: &Session) -> String {
    let mut out = String::from(
        "lap,corner,kind,planted,size,known_s,lost_s,measured_s,brake_m,release_m,slowest_m,slowest_mps,\
         throttle_m,full_m,lifts,offset_slowest_m,offset_exit_m,exit_mps,peak_decel_mps2\n",
    );
    let drive = &session.driven;
    let place = |m: Option<Moment>| {
        m.map_or(String::new(), |m| {
            format!("{:.2}", drive.progress_m(m.along_m))
        })
    };
    for lap in 1..=drive.laps() {
        for row in session.rows(lap) {
            let p = row.passage;
            let planted = p.fault.map_or("-", |f| f.kind.name());
            let size = p.fault.map_or(String::new(), |f| format!("{:.3}", f.size));
            let seconds = |s: Option<f64>| s.map_or(String::new(), |s| format!("{s:.4}"));
            let _ = writeln!(
                out,
                "{lap},{},{:?},{planted},{size},{},{},{},{},{},{:.2},{:.3},{},{},{},{:.2},{:.2},{:.3},{:.2}",
                p.corner,
                p.kind,
                seconds(session.known_s(&row)),
                seconds(row.lost_s),
                seconds(row.measured_s.map(f64::from)),
                place(p.brake.or(p.lift)),
                place(p.release),
                drive.progress_m(p.slowest.along_m),
                p.slowest.speed_mps,
                place(p.throttle),
                place(p.full),
                p.lifts,
                p.offset_slowest_m,
                p.offset_exit_m,
                p.exit.speed_mps,
                p.peak_decel_mps2,
            );
        }
    }
    out
}

//! Simulated drives as a receiver sends them (`tests/data/gnss/README.md`): NMEA, UBX and their mix
//! give the epochs of the truth table.

use crate::{data, lat_lon, receive};
use cuepost_engine::Sample;
use cuepost_engine::receiver::{Counts, Reason};
use cuepost_tests::csv::Table;

/// 13:00:00.
const BEGIN_US: f64 = 13.0 * 3600e6;

struct Set {
    name: &'static str,
    step_us: f64,
    table: Table,
}

impl Set {
    fn read(name: &'static str, rate_hz: f64) -> Self {
        Self {
            name,
            step_us: 1e6 / rate_hz,
            table: Table::read(&format!("gnss/{name}.timing.csv")),
        }
    }

    fn receive(&self, kind: &str) -> (Vec<Sample>, Counts) {
        let path = data(&format!("gnss/{}.{kind}", self.name));
        receive(&std::fs::read(path).expect("a stream"))
    }

    fn number(&self, row: usize, column: &str) -> f64 {
        self.table.number(row, column).expect("a number")
    }

    fn flag(&self, row: usize, column: &str) -> bool {
        self.number(row, column) != 0.0
    }

    /// Rows whose epoch must come out: newer than all before, and not damaged where that matters.
    fn rows(&self, damaged_count: bool) -> Vec<usize> {
        let mut newest = -1.0;
        (0..self.table.len())
            .filter(|&row| {
                let epoch = self.number(row, "epoch");
                let usable = damaged_count || !self.flag(row, "corrupt");
                let new = usable && epoch > newest;
                if new {
                    newest = epoch;
                }
                new
            })
            .collect()
    }

    /// The samples are the epochs of these rows, to `tolerance_us` in time.
    fn check_times(&self, samples: &[Sample], rows: &[usize], tolerance_us: f64) {
        assert_eq!(samples.len(), rows.len(), "{}", self.name);
        for (sample, &row) in samples.iter().zip(rows) {
            let us = BEGIN_US + self.number(row, "epoch") * self.step_us;
            let off_us = sample.time_us as f64 - us;
            assert!(
                off_us.abs() <= tolerance_us,
                "{} row {row}: {off_us}",
                self.name
            );
            let fix = self.flag(row, "fix_ok");
            assert_eq!(sample.position.is_some(), fix, "{} row {row}", self.name);
        }
    }

    /// Places are the true ones plus the error that was put in, to the resolution of the text.
    fn check_places(&self, samples: &[Sample], rows: &[usize], resolution_m: f64) {
        let plane = |row| {
            (
                self.number(row, "true_x_m") + self.number(row, "err_e_m"),
                self.number(row, "true_y_m") + self.number(row, "err_n_m"),
            )
        };
        let (lat0, lon0) = lat_lon(&samples[0]).expect("a first place");
        let (x0, y0) = plane(rows[0]);
        // The tangent plane of the ellipsoid at the first place (WGS 84).
        let (a, e2) = (6_378_137.0, 6.694_379_990_14e-3_f64);
        let w = 1.0 - e2 * lat0.to_radians().sin().powi(2);
        let meridian = a * (1.0 - e2) / (w * w.sqrt());
        let parallel = a / w.sqrt() * lat0.to_radians().cos();
        for (sample, &row) in samples.iter().zip(rows) {
            let Some((lat, lon)) = lat_lon(sample) else {
                continue;
            };
            let (x, y) = plane(row);
            let east = (lon - lon0).to_radians() * parallel - (x - x0);
            let north = (lat - lat0).to_radians() * meridian - (y - y0);
            // The plane's scale differs from the origin's by up to 2e-4 here.
            let bound = 2.0 * resolution_m + 2e-4 * (x - x0).hypot(y - y0);
            assert!(
                east.abs() < bound && north.abs() < bound,
                "{} row {row}: {east} {north} of {bound}",
                self.name
            );
        }
    }

    fn speed_error_mps(&self, samples: &[Sample], rows: &[usize]) -> f64 {
        let errors: Vec<f64> = samples
            .iter()
            .zip(rows)
            .filter_map(|(sample, &row)| {
                Some(f64::from(sample.speed_mps?) - self.number(row, "true_speed_mps"))
            })
            .collect();
        (errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64).sqrt()
    }
}

#[test]
fn a_good_receiver() {
    let set = Set::read("s1_good25", 25.0);
    let rows = set.rows(true);
    assert_eq!(rows.len(), 600);
    for (kind, resolution_m) in [("nmea", 0.01), ("ubx", 0.006)] {
        let (samples, counts) = set.receive(kind);
        assert_eq!(counts.refused_total(), 0);
        set.check_times(&samples, &rows, 1.0);
        set.check_places(&samples, &rows, resolution_m);
        let error = set.speed_error_mps(&samples, &rows);
        // Noise of 0.03 m/s was put in on each axis.
        assert!((0.027..0.033).contains(&error), "{kind}: {error}");
        assert!(samples.iter().all(|s| s.direction_rad.is_some()));
    }
}

#[test]
fn times_of_whole_milliseconds_at_18_hz() {
    let set = Set::read("s6_18hz", 18.0);
    let rows = set.rows(true);
    for (kind, tolerance_us) in [("nmea", 500.5), ("ubx", 2.0)] {
        let (samples, counts) = set.receive(kind);
        assert_eq!(counts.refused_total(), 0);
        set.check_times(&samples, &rows, tolerance_us);
        set.check_places(&samples, &rows, 0.01);
    }
}

#[test]
fn coarse_text_and_epochs_without_a_fix() {
    let set = Set::read("s4_cheap10", 10.0);
    let rows = set.rows(true);
    let voids = rows.iter().filter(|&&row| !set.flag(row, "fix_ok")).count();
    assert!(voids >= 10);
    for (kind, resolution_m) in [("nmea", 0.1), ("ubx", 0.006)] {
        let (samples, counts) = set.receive(kind);
        assert_eq!((counts.refused_total(), counts.voids as usize), (0, voids));
        set.check_times(&samples, &rows, 1.0);
        set.check_places(&samples, &rows, resolution_m);
        for sample in samples.iter().filter(|s| s.position.is_none()) {
            assert_eq!((sample.speed_mps, sample.direction_rad), (None, None));
        }
    }
}

#[test]
fn damaged_swapped_and_repeated_epochs() {
    let set = Set::read("s2_faulty25", 25.0);
    let count = |column| {
        (0..set.table.len())
            .filter(|&row| set.flag(row, column))
            .count()
    };
    let (damaged, repeated) = (count("corrupt"), count("dup"));
    assert!(damaged >= 5 && repeated >= 5);

    // A damaged frame is lost.
    let (samples, counts) = set.receive("ubx");
    let rows = set.rows(false);
    set.check_times(&samples, &rows, 1.0);
    set.check_places(&samples, &rows, 0.006);
    assert_eq!(counts.refused(Reason::Checksum).count as usize, damaged);
    let late = set.table.len() - damaged - repeated - rows.len();
    assert!(late >= 3);
    assert_eq!(counts.refused(Reason::Late).count as usize, late);
    assert_eq!(counts.refused(Reason::Repeated).count as usize, repeated);

    // Of a damaged RMC the place is still known from its GGA, the speed is not.
    let (samples, counts) = set.receive("nmea");
    let rows = set.rows(true);
    set.check_times(&samples, &rows, 1.0);
    set.check_places(&samples, &rows, 0.01);
    let refused = counts.refused(Reason::Checksum).count + counts.refused(Reason::Cut).count;
    assert_eq!(refused as usize, damaged);
    for (sample, &row) in samples.iter().zip(&rows) {
        let known = sample.speed_mps.is_some();
        assert_eq!(known, !set.flag(row, "corrupt"), "row {row}");
    }
}

#[test]
fn a_mix_gives_the_frames_and_fills_with_sentences() {
    let set = Set::read("s2_faulty25", 25.0);
    let (mixed, counts) = set.receive("mixed");
    let rows = set.rows(true);
    set.check_times(&mixed, &rows, 1.0);
    set.check_places(&mixed, &rows, 0.01);
    let (frames, _) = set.receive("ubx");
    let from_frames: Vec<&Sample> = mixed.iter().filter(|s| s.speed_sd_mps.is_some()).collect();
    // All that the frames alone give, but those whose frame came late, after a damaged newer one
    // whose sentences were whole.
    let lost: Vec<_> = frames.iter().filter(|f| !from_frames.contains(f)).collect();
    let newer_by_text = rows.len() - frames.len();
    assert!(
        lost.len() <= newer_by_text,
        "{} of {newer_by_text}",
        lost.len()
    );
    assert!(counts.merged > 3_000);
}

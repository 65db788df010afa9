//! An invented circuit, a coach's reference and a driver's laps with planted faults, as files and
//! as a receiver's bytes.

use cuepost_engine::{Position, Sample};
use cuepost_host::demo::car::Car;
use cuepost_host::demo::driver::{Driver, LapPlan, Scatter};
use cuepost_host::demo::fault::FaultKind;
use cuepost_host::demo::plan::Style;
use cuepost_host::demo::quillmere;
use cuepost_host::demo::receiver::{Plane, ReceiverModel, sample};
use cuepost_host::learn::start::StartAt;
use cuepost_host::learn::{Options, Take, learn};
use cuepost_host::record::{Pace, Writer};
use cuepost_host::reference_file;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

/// Everything is kept in a folder of this test run.
pub struct Scene {
    /// What the driver's receiver gave, as a wire recording holds it.
    pub samples: Vec<Sample>,
    /// The same as RMC sentences.
    pub nmea: Vec<u8>,
    folder: PathBuf,
}

/// Where the circuit lies.
const PLANE: Plane = Plane::Geodetic {
    lat_deg: 45.5,
    lon_deg: 9.5,
};

/// The scene, made once.
pub fn scene() -> &'static Scene {
    static SCENE: OnceLock<Scene> = OnceLock::new();
    SCENE.get_or_init(make)
}

impl Scene {
    pub fn reference(&self) -> PathBuf {
        self.folder.join("quillmere.ref")
    }

    pub fn recording(&self) -> PathBuf {
        self.folder.join("driver.rec")
    }

    pub fn nmea_file(&self) -> PathBuf {
        self.folder.join("driver.nmea")
    }

    /// A path of its own for a test.
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }
}

fn make() -> Scene {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("live");
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a folder");
    let circuit = quillmere::circuit().expect("lays out");
    let driver = Driver::practised(&circuit, &Car::touring(), Style::STEADY, Scatter::COACH);
    let receiver = ReceiverModel {
        plane: PLANE,
        ..ReceiverModel::usual(25.0)
    };
    let coach = driver.drive(&circuit, &vec![LapPlan::clean(); 3], 1);
    let faults = [
        (1, FaultKind::ThrottleLate.of(30.0)),
        (3, FaultKind::BrakeEarly.of(20.0)),
        (6, FaultKind::OverSlow.of(3.0)),
    ];
    let laps = [
        LapPlan::with(&faults),
        LapPlan::with(&faults),
        LapPlan::with(&faults),
    ];
    let driven = driver.drive(&circuit, &laps, 2);
    write_reference(
        &folder,
        &circuit.start_line(),
        &sample(&coach, &receiver, 3),
    );

    // What comes out of the sentences is what every source of this scene gives.
    let nmea = sentences(&sample(&driven, &receiver, 4));
    std::fs::write(folder.join("driver.nmea"), &nmea).expect("written");
    let mut samples = Vec::new();
    let mut decoder = cuepost_engine::receiver::Receiver::default();
    decoder.push_slice(&nmea, |s| samples.push(s));
    decoder.finish(|s| samples.push(s));
    record(&folder.join("driver.rec"), &samples);
    Scene {
        samples,
        nmea,
        folder,
    }
}

fn write_reference(folder: &Path, start: &(f64, f64, f64), samples: &[Sample]) {
    let take = Take {
        name: "coach",
        samples,
    };
    let Position::Geodetic { lat_e7, lon_e7 } = PLANE.position(start.0, start.1) else {
        panic!("the scene is on the globe");
    };
    let options = Options {
        start: Some(StartAt::Globe {
            lat_deg: f64::from(lat_e7) * 1e-7,
            lon_deg: f64::from(lon_e7) * 1e-7,
            bearing_deg: start.2,
        }),
        ..Options::default()
    };
    let learned = learn(&[take], &options, &mut |_, _| {}).expect("the coach's laps are good");
    reference_file::write(&folder.join("quillmere.ref"), &learned.reference.view())
        .expect("written");
}

/// Writes samples as a recording.
pub fn record(path: &Path, samples: &[Sample]) {
    let header = cuepost_engine::wire::Header::default();
    let mut writer = Writer::create(path, Pace::Bulk, &header).expect("a new file");
    for s in samples {
        writer.sample(s).expect("written");
    }
    writer.finish().expect("written");
}

/// Samples as RMC sentences of 14 June 2026.
pub fn sentences(samples: &[Sample]) -> Vec<u8> {
    let mut out = Vec::new();
    for s in samples {
        let (Some(Position::Geodetic { lat_e7, lon_e7 }), Some(speed)) = (s.position, s.speed_mps)
        else {
            panic!("every sample of the scene has a position and a speed");
        };
        let ms = s.time_us / 1000 + 9 * 3_600_000;
        let (h, m, s_, f) = (ms / 3_600_000, ms / 60_000 % 60, ms / 1000 % 60, ms % 1000);
        let angle = |e7: i32, width: usize| {
            let degrees = e7 / 10_000_000;
            let minutes = f64::from(e7 % 10_000_000) * 60.0 / 1e7;
            format!("{degrees:0width$}{minutes:010.7}")
        };
        let knots = f64::from(speed) * 3600.0 / 1852.0;
        let course = s.direction_rad.map_or(String::new(), |d| {
            format!(
                "{:.2}",
                (90.0 - f64::from(d).to_degrees()).rem_euclid(360.0)
            )
        });
        let body = format!(
            "GNRMC,{h:02}{m:02}{s_:02}.{f:03},A,{},N,{},E,{knots:.4},{course},140626,,,A",
            angle(lat_e7, 2),
            angle(lon_e7, 3)
        );
        let sum = body.bytes().fold(0, |a, b| a ^ b);
        out.extend(format!("${body}*{sum:02X}\r\n").into_bytes());
    }
    out
}

/// The program under test.
pub fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_program"))
}

/// What `replay` prints of a recording.
pub fn replayed(recording: &Path) -> String {
    let output = program()
        .arg("replay")
        .arg(recording)
        .arg("--reference")
        .arg(scene().reference())
        .args(["--format", "jsonl"])
        .output()
        .expect("runs");
    assert!(output.status.success(), "{output:?}");
    String::from_utf8(output.stdout).expect("text")
}

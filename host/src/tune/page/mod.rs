//! The page with sliders: what other thresholds would have told, at once, and the coach's verdict
//! on each cue. The program judges; the page asks and draws.

mod answer;
mod routes;
mod session;

pub use routes::router;

use super::Take;
use super::marks::{Marks, Sheet, What};
use super::outcome::{Desk, Shaken, sheets};
use super::settings::set;
use crate::durable;
use crate::reference_file::HostReference;
use crate::report::Units;
use crate::thresholds_file;
use cuepost_engine::{Config, Focus, Thresholds};
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};

/// How often the drive is measured again to see what flips: fewer times than in a sweep, so that a
/// slider is followed at once.
const SHAKES: u64 = 3;

/// Everything the page works on.
pub struct Work {
    reference: Box<HostReference>,
    takes: Vec<Take>,
    shaken: Shaken,
    base: Config,
    units: Units,
    marks: Mutex<Marked>,
    marks_path: PathBuf,
    save: Mutex<Save>,
}

/// The marks and what follows from them.
struct Marked {
    marks: Marks,
    sheets: Vec<Sheet>,
}

/// Where thresholds are saved; a file that is not this page's own is not touched.
struct Save {
    path: PathBuf,
    own: bool,
}

/// What the page is opened with.
pub struct Opened {
    /// The reference.
    pub reference: Box<HostReference>,
    /// The recordings, measured.
    pub takes: Vec<Take>,
    /// The thresholds begun from.
    pub base: Config,
    /// The marks there are.
    pub marks: Marks,
    /// Where marks are written.
    pub marks_path: PathBuf,
    /// Where thresholds are saved.
    pub save_path: PathBuf,
    /// The units shown.
    pub units: Units,
}

impl Work {
    /// Ready to be asked.
    pub fn new(opened: Opened) -> Self {
        let shaken = Shaken::new(&opened.reference.view(), &opened.takes, SHAKES);
        let marked = Marked {
            sheets: sheets(&opened.takes, &opened.marks),
            marks: opened.marks,
        };
        Self {
            reference: opened.reference,
            takes: opened.takes,
            shaken,
            base: opened.base,
            units: opened.units,
            marks: Mutex::new(marked),
            marks_path: opened.marks_path,
            save: Mutex::new(Save {
                path: opened.save_path,
                own: false,
            }),
        }
    }

    /// The configuration of the sliders: pairs of a threshold and its value, and `focus`.
    pub fn config(&self, sliders: &[(String, String)]) -> Result<Config, String> {
        let mut config = self.base.clone();
        for (name, value) in sliders {
            match (name.as_str(), value.as_str()) {
                ("focus", "every") => config.focus = Focus::Every,
                ("focus", "one") => config.focus = Focus::One,
                ("focus", other) => return Err(format!("focus is every or one, not {other}")),
                (name, value) => {
                    let known = Thresholds::DEFAULT.ranges().iter().any(|r| r.0 == name);
                    let value: f32 = value.parse().map_err(|_| format!("{name}: no number"))?;
                    if !known {
                        return Err(format!("there is no threshold {name}"));
                    }
                    set(&mut config, name, value);
                }
            }
        }
        config.validate().map_err(|fault| fault.to_string())?;
        Ok(config)
    }

    /// Accepts or rejects a cue, or takes the mark away, and writes the file.
    pub fn mark(&self, take: usize, what: What, right: Option<bool>) -> Result<(), String> {
        let name = &self
            .takes
            .get(take)
            .ok_or("there is no such recording")?
            .name;
        let mut marked = self.marks.lock().unwrap_or_else(PoisonError::into_inner);
        let mut marks = marked.marks.clone();
        marks.put(name, what, right);
        // First the file: what the page shows as marked is on the disk.
        let shown = self.marks_path.display();
        durable::write(&self.marks_path, marks.write().as_bytes())
            .map_err(|e| format!("{shown}: cannot be written: {e}"))?;
        marked.sheets = sheets(&self.takes, &marks);
        marked.marks = marks;
        Ok(())
    }

    /// Writes a configuration as a thresholds file and says where.
    pub fn save(&self, config: &Config) -> Result<String, String> {
        let mut save = self.save.lock().unwrap_or_else(PoisonError::into_inner);
        let shown = save.path.display().to_string();
        if !save.own && save.path.exists() {
            return Err(format!(
                "{shown} is there already; open the page with --save and another name"
            ));
        }
        let text = thresholds_file::write(config);
        durable::write(&save.path, text.as_bytes())
            .map_err(|e| format!("{shown}: cannot be written: {e}"))?;
        save.own = true;
        Ok(shown)
    }

    fn with_desk<T>(&self, f: impl FnOnce(Desk<'_>, &Marks) -> T) -> T {
        let marked = self.marks.lock().unwrap_or_else(PoisonError::into_inner);
        let desk = Desk {
            reference: &self.reference.view(),
            takes: &self.takes,
            sheets: (!marked.marks.marks.is_empty()).then_some(&marked.sheets),
        };
        f(desk, &marked.marks)
    }
}

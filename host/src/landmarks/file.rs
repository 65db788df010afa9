//! The text file.
//!
//! ```toml
//! [[landmark]]
//! name = "second board"
//! progress_m = 394.0      # or lat_deg and lon_deg, or x_m and y_m
//! side = "right"          # left, right, across
//!
//! [[corner]]
//! number = 5
//! name = "Long Left"
//! note = "the kerb is flat, use it"
//! gear = 3
//! ```

use crate::report::system;
use cuepost_engine::Position;
use cuepost_engine::check::{LOCAL_MAX_MM, PROGRESS_MAX_M};
use serde::Deserialize;
use std::fmt::Write;
use std::path::Path;
use toml::Spanned;

/// The longest name of a landmark or corner, bytes.
pub const NAME_MAX: usize = 24;
/// The longest note of a corner, bytes.
pub const NOTE_MAX: usize = 64;
/// The largest file read, bytes.
const FILE_MAX: u64 = 1 << 20;

/// Where a landmark is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Spot {
    /// Metres from the start line along the reference line.
    Progress(f64),
    /// A position, on the road beside it or its own.
    Position(Position),
}

/// One landmark.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Its name.
    pub name: String,
    /// Where it is.
    pub spot: Spot,
    /// +1 left, -1 right, 0 across; `None` when it is to follow from the position.
    pub side: Option<i8>,
    /// The line of the file it begins in, from 1.
    pub line: usize,
}

/// What the coach has to say of a corner.
#[derive(Clone, Debug, PartialEq)]
pub struct CornerEntry {
    /// Its number, from 1.
    pub number: u8,
    /// Its name; kept when `None`.
    pub name: Option<String>,
    /// The note; kept when `None`.
    pub note: Option<String>,
    /// The gear at the slowest point; kept when `None`.
    pub gear: Option<i8>,
    /// The line of the file it begins in, from 1.
    pub line: usize,
}

/// A whole file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Notes {
    /// Landmarks in the order of the file.
    pub landmarks: Vec<Entry>,
    /// Corners in the order of the file.
    pub corners: Vec<CornerEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawFile {
    #[serde(default)]
    landmark: Vec<Spanned<RawLandmark>>,
    #[serde(default)]
    corner: Vec<Spanned<RawCorner>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawLandmark {
    name: String,
    progress_m: Option<f64>,
    lat_deg: Option<f64>,
    lon_deg: Option<f64>,
    x_m: Option<f64>,
    y_m: Option<f64>,
    side: Option<Side>,
}

#[derive(Deserialize)]
#[serde(rename_all = "lowercase")]
enum Side {
    Left,
    Right,
    Across,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawCorner {
    number: u8,
    name: Option<String>,
    note: Option<String>,
    gear: Option<i8>,
}

/// Reads a file. The error is one line that says where and what.
pub fn read(path: &Path) -> Result<Notes, String> {
    use std::io::Read;
    let name = path.display();
    let mut text = String::new();
    std::fs::File::open(path)
        .and_then(|f| f.take(FILE_MAX).read_to_string(&mut text))
        .map_err(|e| match e.kind() {
            std::io::ErrorKind::InvalidData => format!("{name}: not a text file"),
            _ => format!("{name}: {}", system::words(&e)),
        })?;
    parse(&text).map_err(|e| format!("{name}: {e}"))
}

/// Reads the text of a file.
pub fn parse(text: &str) -> Result<Notes, String> {
    let raw: RawFile = toml::from_str(text).map_err(|e| {
        let line = e.span().map_or(1, |span| line_of(text, span.start));
        let message = e.message().lines().next().unwrap_or("not readable");
        format!("line {line}: {message}")
    })?;
    let mut notes = Notes::default();
    for spanned in raw.landmark {
        let line = line_of(text, spanned.span().start);
        let entry = landmark(spanned.into_inner(), line);
        notes
            .landmarks
            .push(entry.map_err(|e| format!("line {line}: {e}"))?);
    }
    for spanned in raw.corner {
        let line = line_of(text, spanned.span().start);
        let entry = corner(spanned.into_inner(), line);
        let entry = entry.map_err(|e| format!("line {line}: {e}"))?;
        if notes.corners.iter().any(|c| c.number == entry.number) {
            return Err(format!("line {line}: corner {} twice", entry.number));
        }
        notes.corners.push(entry);
    }
    Ok(notes)
}

fn line_of(text: &str, at: usize) -> usize {
    let before = text.as_bytes().get(..at).unwrap_or_default();
    before.iter().filter(|b| **b == b'\n').count() + 1
}

fn landmark(raw: RawLandmark, line: usize) -> Result<Entry, String> {
    let name = words("name", &raw.name, NAME_MAX)?;
    if name.is_empty() {
        return Err("a landmark needs a name".to_owned());
    }
    let spot = spot(&raw).map_err(|e| format!("{name}: {e}"))?;
    let side = raw.side.map(|s| match s {
        Side::Left => 1,
        Side::Right => -1,
        Side::Across => 0,
    });
    Ok(Entry {
        name,
        spot,
        side,
        line,
    })
}

fn spot(raw: &RawLandmark) -> Result<Spot, String> {
    let within = |field: &str, x: f64, most: f64| {
        if x.abs() <= most {
            Ok(x)
        } else {
            Err(format!("{field} = {x} is out of range"))
        }
    };
    match (
        raw.progress_m,
        (raw.lat_deg, raw.lon_deg),
        (raw.x_m, raw.y_m),
    ) {
        (Some(at), (None, None), (None, None)) => {
            let at = within("progress_m", at, f64::from(PROGRESS_MAX_M))?;
            Ok(Spot::Progress(at))
        }
        (None, (Some(lat), Some(lon)), (None, None)) => {
            let lat = within("lat_deg", lat, 89.0)?;
            let lon = within("lon_deg", lon, 180.0)?;
            Ok(Spot::Position(Position::Geodetic {
                lat_e7: (lat * 1e7).round() as i32,
                lon_e7: (lon * 1e7).round() as i32,
            }))
        }
        (None, (None, None), (Some(x), Some(y))) => {
            let most = LOCAL_MAX_MM as f64 * 1e-3;
            Ok(Spot::Position(Position::Local {
                east_mm: (within("x_m", x, most)? * 1e3).round() as i64,
                north_mm: (within("y_m", y, most)? * 1e3).round() as i64,
            }))
        }
        _ => Err(
            "say where it is in one way: progress_m, or lat_deg and lon_deg, or x_m and y_m"
                .to_owned(),
        ),
    }
}

fn corner(raw: RawCorner, line: usize) -> Result<CornerEntry, String> {
    if raw.number == 0 {
        return Err("corners are numbered from 1".to_owned());
    }
    let text =
        |field: &str, text: Option<String>, most| text.map(|t| words(field, &t, most)).transpose();
    if raw.gear.is_some_and(|g| !(-1..=20).contains(&g)) {
        return Err("gear is from -1 to 20".to_owned());
    }
    Ok(CornerEntry {
        number: raw.number,
        name: text("name", raw.name, NAME_MAX)?,
        note: text("note", raw.note, NOTE_MAX)?,
        gear: raw.gear,
        line,
    })
}

/// A text that a reference can hold.
fn words(field: &str, text: &str, most: usize) -> Result<String, String> {
    let text = text.trim();
    if text.chars().any(char::is_control) {
        return Err(format!("{field} has a character that cannot be printed"));
    }
    if text.len() > most {
        return Err(format!(
            "{field} is too long: \"{text}\" takes {} bytes, there is room for {most}",
            text.len()
        ));
    }
    Ok(text.to_owned())
}

/// A text as a quoted string of the file.
pub fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// One landmark as the file has it; `note` stands behind the place as a comment.
pub fn write(out: &mut String, name: &str, spot: Spot, side: Option<i8>, note: &str) {
    // Writing to a string cannot fail.
    let _ = writeln!(out, "[[landmark]]\nname = {}", quoted(name));
    let note = if note.is_empty() {
        String::new()
    } else {
        format!("  # {note}")
    };
    let _ = match spot {
        Spot::Progress(m) => writeln!(out, "progress_m = {m:.1}{note}"),
        Spot::Position(Position::Geodetic { lat_e7, lon_e7 }) => writeln!(
            out,
            "lat_deg = {:.7}{note}\nlon_deg = {:.7}",
            f64::from(lat_e7) * 1e-7,
            f64::from(lon_e7) * 1e-7
        ),
        Spot::Position(Position::Local { east_mm, north_mm }) => writeln!(
            out,
            "x_m = {:.3}{note}\ny_m = {:.3}",
            east_mm as f64 * 1e-3,
            north_mm as f64 * 1e-3
        ),
    };
    let _ = match side {
        Some(side) => writeln!(out, "side = \"{}\"\n", crate::report::places::side(side)),
        None => writeln!(out, "# side = \"left\", \"right\" or \"across\"\n"),
    };
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_read_and_what_is_written_is_read_back() {
        let mut text = String::new();
        let place = Spot::Position(Position::Geodetic {
            lat_e7: 465_000_001,
            lon_e7: -71_234_567,
        });
        write(
            &mut text,
            "second \"board\"",
            Spot::Progress(394.5),
            Some(-1),
            "lap 2",
        );
        write(&mut text, "old oak", place, None, "");
        text += "[[corner]]\nnumber = 5\nname = \"Long Left\"\ngear = 3\n";
        let notes = parse(&text).unwrap();
        assert_eq!(notes.landmarks.len(), 2);
        assert_eq!(notes.landmarks[0].name, "second \"board\"");
        assert_eq!(notes.landmarks[0].spot, Spot::Progress(394.5));
        assert_eq!(notes.landmarks[0].side, Some(-1));
        assert_eq!(notes.landmarks[1].spot, place);
        assert_eq!(notes.landmarks[1].side, None);
        assert_eq!(notes.corners[0].gear, Some(3));
        assert_eq!(notes.corners[0].note, None);
    }

    #[test]
    fn what_is_wrong_is_named_with_its_line() {
        for (text, error) in [
            (
                "\n[[landmark]]\nname = \"a\"\n",
                "line 2: a: say where it is in one way",
            ),
            (
                "[[landmark]]\nname = \"a\"\nprogress_m = 1\nlat_deg = 3.0\n",
                "line 1: a: say where it is in one way",
            ),
            (
                "[[landmark]]\nprogress_m = 1\n",
                "line 1: missing field `name`",
            ),
            (
                "[[landmark]]\nname = \"a\"\nprogres_m = 1\n",
                "line 3: unknown field `progres_m`",
            ),
            (
                "[[landmark]]\nname = \"\"\nprogress_m = 1\n",
                "line 1: a landmark needs a name",
            ),
            (
                "[[landmark]]\nname = \"a\"\nprogress_m = nan\n",
                "line 1: a: progress_m = NaN is out of range",
            ),
            (
                "[[landmark]]\nname = \"a board that has much too long a name\"\nprogress_m = 1\n",
                "line 1: name is too long",
            ),
            (
                "[[landmark]]\nname = \"a\"\nprogress_m = 1\nside = \"up\"\n",
                "line 4: unknown variant `up`",
            ),
            (
                "[[corner]]\nnumber = 0\n",
                "line 1: corners are numbered from 1",
            ),
            (
                "[[corner]]\nnumber = 2\n[[corner]]\nnumber = 2\n",
                "line 3: corner 2 twice",
            ),
            ("name = ", "line 1: "),
        ] {
            let found = parse(text).unwrap_err();
            assert!(found.starts_with(error), "{text:?}: {found}");
            assert_eq!(found.lines().count(), 1);
        }
    }
}

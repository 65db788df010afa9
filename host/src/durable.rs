//! Files that are either the old one or the whole new one, whenever the program or the machine
//! stops.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Replaces a file's content in one step: a temporary file beside it, synced, then renamed over it.
///
/// After a crash at any moment the path holds the old bytes or the new ones, never a mixture; a
/// temporary file (`.NAME.PID.part`) may be left behind and can be deleted.
pub fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let part = part_path(path)?;
    let result = write_part(&part, bytes).and_then(|()| fs::rename(&part, path));
    if result.is_err() {
        // The first fault is the one to report.
        let _ = fs::remove_file(&part);
        return result;
    }
    sync_folder(path)
}

fn part_path(path: &Path) -> io::Result<PathBuf> {
    let name = path.file_name().ok_or_else(|| {
        io::Error::new(io::ErrorKind::InvalidInput, "the path does not name a file")
    })?;
    let mut part = std::ffi::OsString::from(".");
    part.push(name);
    part.push(format!(".{}.part", std::process::id()));
    Ok(path.with_file_name(part))
}

fn write_part(part: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(true)
        .open(part)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// The rename itself is durable only when the folder is synced; where folders cannot be opened
/// (Windows) the file system does it alone.
fn sync_folder(path: &Path) -> io::Result<()> {
    if cfg!(not(unix)) {
        return Ok(());
    }
    let folder = match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    File::open(folder)?.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn replaces_and_leaves_nothing_behind() {
        let folder = std::env::temp_dir().join(format!("cuepost-durable-{}", std::process::id()));
        fs::create_dir_all(&folder).unwrap();
        let path = folder.join("a.ref");
        write(&path, b"old").unwrap();
        write(&path, b"newer").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"newer");
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 1);
        // A folder in the way: an error, and the temporary file is gone again.
        fs::create_dir(folder.join("b.ref")).unwrap();
        assert!(write(&folder.join("b.ref"), b"x").is_err());
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 2);
        assert!(write(Path::new(".."), b"x").is_err());
        fs::remove_dir_all(&folder).unwrap();
    }
}

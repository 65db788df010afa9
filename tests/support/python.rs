//! Programs of others in Python, in an environment of their own.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The folder of our scripts.
pub fn compare() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("compare")
}

/// The interpreter of the environment in `target`, made once; `lists` below `tests/`, with what pip
/// is told beside each, are installed when `module` cannot be imported.
pub fn python(target: &Path, module: &str, lists: &[(&str, &str)]) -> PathBuf {
    let venv = target.join("python");
    let python = venv.join("bin/python");
    let works = |python: &Path| {
        let mut command = Command::new(python);
        command.args(["-c", &format!("import {module}")]);
        let quiet = command.stdout(Stdio::null()).stderr(Stdio::null());
        quiet.status().is_ok_and(|s| s.success())
    };
    if works(&python) {
        return python;
    }
    let made = Command::new("python3")
        .args(["-m", "venv"])
        .arg(&venv)
        .status();
    assert!(
        made.is_ok_and(|s| s.success()),
        "needs python3 with its venv module"
    );
    for (wish, list) in lists {
        let mut pip = Command::new(&python);
        pip.args(["-m", "pip", "install", "--quiet", wish, "-r"]);
        let tests = Path::new(env!("CARGO_MANIFEST_DIR"));
        let installed = pip.arg(tests.join(list)).status();
        assert!(
            installed.is_ok_and(|s| s.success()),
            "needs PyPI once, to install tests/{list} into {}",
            venv.display()
        );
    }
    assert!(works(&python), "{} is not usable", venv.display());
    python
}

//! Tables kept beside the tests, compared figure by figure.

use std::path::PathBuf;

fn path(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("limit")
        .join(name)
}

/// Holds a table against the one kept: words must be the same, figures within a share of
/// themselves and a last digit or two.
pub fn compare(name: &str, made: &str) {
    let path = path(name);
    if std::env::var("CUEPOST_GOLDEN").is_ok_and(|v| v == "write") {
        std::fs::write(&path, made).expect("written");
    }
    let kept = std::fs::read_to_string(&path).expect("a table beside the test");
    assert_eq!(kept.lines().count(), made.lines().count(), "{name}: lines");
    let mut off = Vec::new();
    for (k, m) in kept.lines().zip(made.lines()) {
        let same = k.split_whitespace().count() == m.split_whitespace().count()
            && k.split_whitespace()
                .zip(m.split_whitespace())
                .all(|(a, b)| near(a, b));
        if !same {
            off.push(format!("kept {k}\nmade {m}"));
        }
    }
    assert!(
        off.is_empty(),
        "{name}: {} lines changed; if for the better, write it anew with CUEPOST_GOLDEN=write\n{}",
        off.len(),
        off.join("\n")
    );
}

/// 5 % and 0.02: about what another seed would change.
fn near(a: &str, b: &str) -> bool {
    match (a.parse::<f64>(), b.parse::<f64>()) {
        (Ok(a), Ok(b)) => (a - b).abs() <= 0.02 + 0.05 * a.abs(),
        _ => a == b,
    }
}

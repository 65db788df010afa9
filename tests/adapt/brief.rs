//! The coach's sheet: what it says, and that it can be printed.

use crate::data;
use cuepost_host::adapt::{Change, adapt};
use cuepost_host::brief::{markdown, page, sheet, text};
use cuepost_host::reference_file::{self, HostReference};
use cuepost_host::report::Units;
use cuepost_tests::command::{Folder, cuepost};
use std::path::Path;
use std::process::Command;

/// Sixteen corners: a drive of the simulator on a circuit that crosses over itself.
fn sixteen(folder: &Folder) -> Box<HostReference> {
    let recording = data("streams/s6_gt.base.10hz.csv").display().to_string();
    let club = folder.file("club.ref");
    let notes = folder.put(
        "notes.toml",
        "[[landmark]]\nname = \"100 board\"\nprogress_m = 120\nside = \"left\"\n\
         [[corner]]\nnumber = 1\nname = \"Hairpin <1>\"\nnote = \"the kerb is flat, use it\"\ngear = 2\n",
    );
    let args = [
        "learn",
        &recording,
        "-o",
        &club,
        "--name",
        "Club & Co",
        "--landmarks",
        &notes,
    ];
    cuepost(&args).expect("a reference");
    reference_file::read(club.as_ref()).expect("readable").0
}

#[test]
fn every_corner_is_said_in_words_and_the_exits_are_ranked() {
    let folder = Folder::new("brief");
    let kept = sixteen(&folder);
    let view = kept.view();
    assert!(view.corners.len() >= 14, "{} corners", view.corners.len());
    let said = sheet(&view, Units::Metric);
    assert_eq!(said.corners.len(), view.corners.len());
    for (said, corner) in said.corners.iter().zip(view.corners) {
        let whole = said.sentences.join(" ");
        let slowest = corner
            .facts
            .slowest_mps
            .map(|m| Units::Metric.speed(m.value.into()));
        if corner.kind == cuepost_engine::CornerKind::Braked {
            assert!(whole.starts_with("Brake "), "{whole}");
            let slowest = format!("Slowest {}", slowest.expect("measured"));
            assert!(whole.contains(&slowest), "{whole}");
        }
        assert!(!whole.contains("NaN") && !whole.contains('?'), "{whole}");
    }
    assert!(
        said.worth
            .is_sorted_by(|a, b| a.seconds_a_mps >= b.seconds_a_mps)
    );
    assert!(said.worth.iter().all(|w| w.straight_m > 0.0));
    let first = &said.corners[usize::from(said.worth[0].corner) - 1];
    assert_eq!(first.rank, 1);
    let plain = text(&said, Units::Metric);
    assert!(plain.contains("Hairpin <1>, a ") && plain.contains("the kerb is flat, use it"));
    assert!(plain.contains("in gear 2"));
    assert!(plain.lines().all(|l| l.chars().count() <= 110));
    let marked = markdown(&said, Units::Metric);
    assert!(marked.contains("# Club & Co") && marked.contains("Hairpin \\<1\\>"));
}

/// A metre a second more at the exit, carried along a straight at constant speed: L/v · 1/v.
#[test]
fn an_exit_is_worth_what_the_straight_makes_of_it() {
    // Common practice: 600 m at 50 m/s are worth 0.24 s for one metre a second more.
    let folder = Folder::new("brief-worth");
    let mut kept = sixteen(&folder);
    for node in &mut kept.nodes {
        node.speed_cmps = 5000;
    }
    let view = kept.view();
    for w in sheet(&view, Units::Si).worth {
        let want = w.straight_m / 2500.0;
        let step = 5.0 / 2500.0;
        assert!((w.seconds_a_mps - want).abs() <= step, "{w:?}");
    }
}

#[test]
fn a_computed_reference_says_so_first() {
    let folder = Folder::new("brief-computed");
    let kept = sixteen(&folder);
    let change = Change {
        grip: 0.9,
        ..Change::default()
    };
    let adapted = adapt(&kept, change, false).expect("adapted");
    let view = adapted.reference.view();
    let said = sheet(&view, Units::Metric);
    let caution = said.caution.expect("a caution");
    let html = page(&said, &view, Units::Metric);
    let at = |what: &str| html.find(what).unwrap_or_else(|| panic!("no {what}"));
    assert!(at("class=\"caution\"") < at("id=\"corners\""));
    assert!(text(&said, Units::Metric).contains("CAUTION"));
    assert!(markdown(&said, Units::Metric).contains("**Caution.**"));
    assert!(caution.contains("never driven"));
    assert!(sheet(&kept.view(), Units::Metric).caution.is_none());
}

#[test]
fn the_page_needs_nothing_else_and_fits_two_sheets() {
    let folder = Folder::new("brief-page");
    let kept = sixteen(&folder);
    let view = kept.view();
    let html = page(&sheet(&view, Units::Metric), &view, Units::Metric);
    for elsewhere in ["http", "src=", "href=", "url(", "<script"] {
        assert!(!html.contains(elsewhere), "{elsewhere}");
    }
    assert!(html.contains("Hairpin &lt;1&gt;") && html.contains("Club &amp; Co"));
    assert_eq!(html.matches("<article>").count(), view.corners.len());
    assert_eq!(html.matches("<circle").count(), view.corners.len());
    let file = folder.put("brief.html", &html);
    let pdf = folder.file("brief.pdf");
    if Command::new("chromium").arg("--version").output().is_err() {
        assert!(
            std::env::var_os("CUEPOST_NEED_BROWSER").is_none(),
            "needs chromium"
        );
        return;
    }
    let printed = Command::new("chromium")
        .args([
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--no-first-run",
        ])
        .args(["--disable-background-networking", "--no-pdf-header-footer"])
        .arg(format!("--user-data-dir={}", folder.file("profile")))
        .arg(format!("--print-to-pdf={pdf}"))
        .arg(format!("file://{file}"))
        .output();
    assert!(printed.is_ok_and(|o| o.status.success()));
    assert_eq!(sheets(pdf.as_ref()), 2);
}

/// Pages of a PDF, which its catalogue of objects names uncompressed.
fn sheets(pdf: &Path) -> usize {
    let bytes = std::fs::read(pdf).expect("printed");
    let text = String::from_utf8_lossy(&bytes);
    let pages = text.matches("/Type /Page").count();
    pages - text.matches("/Type /Pages").count()
}

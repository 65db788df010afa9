//! Marks files, read and written.

use super::*;
use cuepost_engine::Size;

fn cue(lap: u16, corner: u8, advice: Advice, told: Told) -> Cue {
    Cue {
        lap,
        corner,
        phase: Phase::Throttle,
        advice,
        told,
        size: Size::Metres(10.0),
        size_s: None,
        loss_s: None,
        time_us: 0,
        progress_m: 0.0,
    }
}

fn agreement(text: &str, cues: &[Cue]) -> (u32, u32, u32) {
    let a = Marks::parse(text).unwrap().sheet("run").agreement(cues);
    (a.right, a.wrong, a.missed)
}

#[test]
fn a_complete_sheet_blames_what_it_does_not_ask_for_in_its_laps_only() {
    let text = "lap,corner,phase,advice\n2,1,throttle,sooner\n2,3,brake,later\n";
    let sooner = |lap, corner, told| cue(lap, corner, Advice::Sooner, told);
    let cues = [
        sooner(2, 1, Told::After),
        sooner(2, 4, Told::After),
        sooner(2, 5, Told::Ahead),
        cue(2, 6, Advice::Better, Told::After),
        sooner(3, 4, Told::After),
    ];
    assert_eq!(agreement(text, &cues), (1, 1, 1));
    let reminded = [sooner(2, 1, Told::Ahead)];
    assert_eq!(agreement(text, &reminded), (1, 0, 1), "a reminder tells it");
}

#[test]
fn marks_one_by_one_blame_only_what_they_speak_of() {
    let text = "lap,corner,phase,advice,right,recording\n\
        2,1,throttle,sooner,yes,run\n2,4,throttle,sooner,no,run\n2,5,throttle,sooner,no,other\n";
    let cues = [1, 4, 5].map(|corner| cue(2, corner, Advice::Sooner, Told::After));
    assert_eq!(agreement(text, &cues), (1, 1, 0));
    let other = [cue(2, 1, Advice::Later, Told::After)];
    assert_eq!(agreement(text, &other), (0, 1, 1), "told something else");
}

#[test]
fn what_is_put_is_written_and_read_back() {
    let mut marks = Marks::to_be_made();
    let one = What::of(&cue(2, 1, Advice::Sooner, Told::Now));
    let two = What::of(&cue(1, 9, Advice::MoreRoad, Told::Now));
    marks.put("a, \"b\"", one, Some(true));
    marks.put("a, \"b\"", two, Some(false));
    marks.put("a, \"b\"", one, Some(false));
    assert_eq!(marks.of("a, \"b\"", one), Some(false));
    let again = Marks::parse(&marks.write()).unwrap();
    assert_eq!(again.of("a, \"b\"", one), Some(false));
    assert_eq!(again.of("a, \"b\"", two), Some(false));
    assert_eq!(again.of("c", two), None);
    marks.put("a, \"b\"", one, None);
    assert_eq!(marks.marks.len(), 1);
}

#[test]
fn a_complete_sheet_stays_complete() {
    let mut marks = Marks::parse("lap,corner,phase,advice\n2,1,throttle,sooner\n").unwrap();
    let at = |lap, corner| What::of(&cue(lap, corner, Advice::Sooner, Told::Now));
    assert_eq!(marks.of("run", at(2, 1)), Some(true));
    assert_eq!(marks.of("run", at(2, 4)), Some(false), "not asked for");
    assert_eq!(marks.of("run", at(3, 4)), None, "a lap it does not name");
    marks.put("run", at(2, 4), Some(true));
    marks.put("run", at(2, 1), Some(false));
    let again = Marks::parse(&marks.write()).unwrap();
    assert!(!again.one_by_one);
    assert_eq!(again.of("run", at(2, 4)), Some(true));
    assert_eq!(again.of("run", at(2, 1)), Some(false));
}

#[test]
fn what_is_wrong_is_named_with_its_line() {
    for (text, says) in [
        ("lap,corner,phase\n", "line 1: no column \"advice\""),
        (
            "lap,corner,phase,advice\n1,0,brake,later\n",
            "line 2: corner is a number from 1",
        ),
        (
            "lap,corner,phase,advice\n1,1,brake,later\n1,1,brakes,later\n",
            "line 3: there is no phase \"brakes\"",
        ),
        (
            "lap,corner,phase,advice\nx,1,brake,later\n",
            "line 2: lap is",
        ),
        ("lap,corner,phase,advice\n1,1,brake\n", "line 2: "),
        (
            "lap,corner,phase,advice,right\n1,1,brake,later,maybe\n",
            "line 2: right is yes or no",
        ),
    ] {
        let error = Marks::parse(text).unwrap_err();
        assert!(error.contains(says), "{text:?}: {error}");
    }
}

use super::strict_screen::StrictScreen;
use super::*;
use crate::test_cue::{advices, cue, phases};
use cuepost_engine::{Advice, Phase};
use std::collections::HashSet;
use std::string::ToString;

fn settings() -> Settings {
    Settings::default()
}

fn on_screen(of: &Cue) -> std::string::String {
    let mut screen = Screen::new(StrictScreen::new(), |_: &mut StrictScreen| Ok(()));
    screen.show(of, &settings(), 0);
    screen.tick(&settings(), 0).unwrap();
    screen.release().printed()
}

#[test]
fn a_cue_as_it_is_seen() {
    let seen = on_screen(&cue(Phase::Throttle, Advice::Sooner, 12.0));
    let expected = "\
⢀⣀⣀⣀⡀⠀⠀⠀⠀⠀⢀⣀⣀⣀⡀⢀⡀⠀⢀⡀⢀⣀⣀⡀⠀⠀⢀⣀⡀⠀⢀⣀⣀⣀⡀⢀⣀⣀⣀⡀⢀⡀⠀⠀⠀⢀⣀⣀⣀⡀
⢸⡇⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⣿⠀⠀⢸⡇⠀⢸⡇⢸⡇⠀⢹⡆⢰⡏⠀⢹⡆⠀⠀⣿⠀⠀⠀⠀⣿⠀⠀⢸⡇⠀⠀⠀⢸⡇
⠘⠓⠉⢳⡄⠀⠀⠀⠀⠀⠀⠀⣿⠀⠀⢸⡗⠒⢺⡇⢸⡧⢤⡞⠁⢸⡇⠀⢸⡇⠀⠀⣿⠀⠀⠀⠀⣿⠀⠀⢸⡇⠀⠀⠀⢸⡗⠒⠂
⠐⢦⣀⡼⠃⠀⠀⠀⠀⠀⠀⠀⣿⠀⠀⢸⡇⠀⢸⡇⢸⡇⠀⢻⡄⠘⢧⣀⡼⠃⠀⠀⣿⠀⠀⠀⠀⣿⠀⠀⢸⣇⣀⣀⡀⢸⣇⣀⣀⡀
⢀⡴⠒⢦⡀⢀⡴⠒⢦⡀⢀⡴⠒⢦⡀⢰⣦⠀⢰⡆⢰⡖⠒⠒⠂⢰⡖⠒⢦⡀
⠘⢧⣀⡀⠀⢸⡇⠀⢸⡇⢸⡇⠀⢸⡇⢸⡟⣧⢸⡇⢸⣇⣀⡀⠀⢸⡇⠀⣸⠇
⢀⡀⠀⢹⡆⢸⡇⠀⢸⡇⢸⡇⠀⢸⡇⢸⡇⠘⣿⡇⢸⡇⠀⠀⠀⢸⡏⠙⣧
⠀⠙⠒⠋⠀⠀⠙⠒⠋⠀⠀⠙⠒⠋⠀⠘⠃⠀⠘⠃⠘⠓⠒⠒⠂⠘⠃⠀⠘⠃
⠀⠀⠀⠀⠀⠀⢀⣠⣴⡆⠀⠀⠀⠀⠀⠀⠀⣀⠀⠀⠀⢀⣀⡀
⠀⠀⣀⣤⣶⣾⣿⣿⣿⡇⠀⠀⠀⠀⠀⠠⠞⣿⠀⠀⠰⠏⠀⢹⡆
⠒⠿⣿⣿⣿⣿⣿⣿⣿⡇⠀⠀⠀⠀⠀⠀⠀⣿⠀⠀⠀⢀⡤⠞⠁⠀⠀⠀⠀⠀⢸⡞⣷⢻⡆
⠀⠀⠀⠉⠛⠻⢿⣿⣿⡇⠀⠀⠀⠀⠀⢀⣀⣿⣀⡀⢰⣏⣀⣀⡀⠀⠀⠀⠀⠀⢸⡇⣿⢸⡇
⠀⠀⠀⠀⠀⠀⠀⠈⠙⠃
";
    assert_eq!(seen, expected);
}

#[test]
fn a_state_as_it_is_seen() {
    let mut screen = Screen::new(StrictScreen::new(), |_: &mut StrictScreen| Ok(()));
    screen.tick(&settings(), 0).unwrap();
    let expected = "\
⢀⡀⠀⢀⡀⠀⢀⣀⡀⠀⠀⠀⠀⠀⠀⠀⢀⣀⡀⠀⢀⡀⠀⢀⡀⢀⣀⣀⣀⡀⠀⢀⣀⡀
⢸⣿⡄⢸⡇⢰⡏⠀⢹⡆⠀⠀⠀⠀⠀⢰⡏⠀⠙⠂⢸⡇⠀⢸⡇⢸⡇⠀⠀⠀⢰⡏⠀⠙⠂
⢸⡇⢻⣼⡇⢸⡇⠀⢸⡇⠀⠀⠀⠀⠀⢸⡇⠀⠀⠀⢸⡇⠀⢸⡇⢸⡗⠒⠂⠀⠀⠙⠒⢦⡀
⢸⡇⠀⢻⡇⠘⢧⣀⡼⠃⠀⠀⠀⠀⠀⠘⢧⣀⡴⠂⠘⢧⣀⡼⠃⢸⣇⣀⣀⡀⠐⢦⣀⡼⠃
⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⡀⠀⠀⠀⡀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⣀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⢀⠀⠀⡀
⢔⣒⠀⣔⣒⡄⢐⣒⡄⡦⠒⠄⡔⠒⠄⡧⠒⡄⠐⡆⠀⡦⠒⡄⡔⠒⡆⠀⠀⠀⢼⠤⠁⡔⠒⡄⡦⠒⠄⠀⠀⠀⢺⠒⠀⡧⠒⡄⣔⣒⡄
⠒⠒⠁⠑⠒⠀⠑⠒⠃⠃⠀⠀⠑⠒⠁⠃⠀⠃⠐⠓⠀⠃⠀⠃⢌⣉⠇⠀⠀⠀⠘⠀⠀⠑⠒⠁⠃⠀⠀⠀⠀⠀⠈⠒⠁⠃⠀⠃⠑⠒
⠀⠀⠀⢀⡀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⢀⠀⠀⡀⠀⠀⠀⠀⠀⠀⠀⠀⢀⡀⠀⠀⡀
⡦⠒⡄⠀⡇⠀⢐⣒⡄⡔⠒⠄⣔⣒⡄⠀⠀⠀⡔⠒⡄⡦⠒⡄⠀⠀⠀⢺⠒⠀⡧⠒⡄⣔⣒⡄⠀⠀⠀⠀⡇⠀⠐⡆⠀⡦⠒⡄⣔⣒⡄
⡏⠒⠁⠐⠓⠀⠑⠒⠃⠑⠒⠁⠑⠒⠀⠀⠀⠀⠑⠒⠁⠃⠀⠃⠀⠀⠀⠈⠒⠁⠃⠀⠃⠑⠒⠀⠀⠀⠀⠐⠓⠀⠐⠓⠀⠃⠀⠃⠑⠒
";
    assert_eq!(screen.release().printed(), expected);
}

/// Every cue there is fits on the screen (a pixel beyond the edge panics), and no two look alike.
#[test]
fn all_cues_fit_and_differ() {
    let mut seen = HashSet::new();
    let mut count = 0;
    for phase in phases() {
        for advice in advices() {
            let mut cue = cue(phase, advice, 999.0);
            cue.corner = u8::MAX;
            // "Keep it" is of the whole corner and names no phase.
            if advice != Advice::Better || phase == Phase::Brake {
                count += 1;
                assert!(seen.insert(on_screen(&cue)), "{phase:?} {advice:?}");
            }
        }
    }
    assert_eq!(seen.len(), count);
}

#[test]
fn sizes_as_they_are_read() {
    let cases = [
        (Size::Metres(12.4), "12 m"),
        (Size::Metres(9.96), "10 m"),
        (Size::Metres(9.94), "9.9 m"),
        (Size::Metres(1e9), "999 m"),
        (Size::Speed(1.34), "1.3 m/s"),
        (Size::Deceleration(0.8), "0.8 m/s2"),
        (Size::Seconds(0.214), "0.21 s"),
        (Size::Seconds(-3.0), "0.00 s"),
    ];
    for (size, text) in cases {
        assert_eq!(size_text(size).to_string(), text, "{size:?}");
    }
}

#[test]
fn drawn_on_a_change_only_and_again_after_a_fault() {
    let mut presented = 0;
    let mut screen = Screen::new(StrictScreen::new(), |_: &mut StrictScreen| {
        presented += 1;
        Ok(())
    });
    for ms in 0..1_000 {
        screen.tick(&settings(), ms * 1_000).unwrap();
    }
    screen.show(
        &cue(Phase::Brake, Advice::Later, 9.0),
        &settings(),
        1_000_000,
    );
    screen.display.broken = true;
    assert_eq!(screen.tick(&settings(), 1_000_000), Err(OutputFault));
    for ms in 1_001..2_000 {
        assert_eq!(
            screen.tick(&settings(), ms * 1_000),
            Ok(()),
            "left alone for a second"
        );
    }
    screen.display.broken = false;
    for ms in 2_000..8_000 {
        screen.tick(&settings(), ms * 1_000).unwrap();
    }
    screen.state(HealthState::Ok, Why::Good, &settings());
    screen.tick(&settings(), 9_000_000).unwrap();
    drop(screen);
    // Searching, the cue, searching again, ready.
    assert_eq!(presented, 4);
}

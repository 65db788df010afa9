use super::strict_screen::StrictScreen;
use super::*;
use crate::test_cue::{advices, cue, phases};
use cuepost_engine::{Advice, Phase, Size};
use std::collections::HashSet;

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
fn speeds_are_in_the_unit_that_is_set() {
    let mut cue = cue(Phase::Rotation, Advice::Faster, 1.0);
    cue.size = Size::Speed(3.0);
    let kilometres = on_screen(&cue);
    let mut screen = Screen::new(StrictScreen::new(), |_: &mut StrictScreen| Ok(()));
    let metres = Settings {
        units: SpeedUnit::Mps,
        ..settings()
    };
    screen.show(&cue, &metres, 0);
    screen.tick(&metres, 0).unwrap();
    assert_ne!(screen.release().printed(), kilometres);
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

//! Human words for what the engine says: corners by name, places by landmark, sizes in the
//! driver's unit.

use super::places;
use super::units::{Units, lap_time, seconds};
use cuepost_engine::{
    Advice, Corner, Cue, Event, HealthEvent, HealthState, LapEvent, PaceEvent, Phase,
    ReferenceView, Told, Way,
};

/// A loss below this is not worth a word, seconds.
const LOSS_SAID_S: f32 = 0.005;

/// A corner of the reference by its number, from 1.
pub fn corner<'a>(reference: &ReferenceView<'a>, number: u8) -> Option<&'a Corner> {
    reference.corners.get(usize::from(number).checked_sub(1)?)
}

/// What people call a corner: `Corner 5`, or `Corner 5 (Long Left)` when it has a name.
pub fn corner_name(reference: &ReferenceView<'_>, number: u8) -> String {
    match corner(reference, number) {
        Some(c) if !c.name.is_empty() => format!("Corner {number} ({})", c.name),
        _ => format!("Corner {number}"),
    }
}

/// What to do, without corner or cost: `brake 12 m sooner`.
pub fn instruction(cue: &Cue, units: Units) -> String {
    let size = units.size(cue.size);
    let with = match cue.phase {
        Phase::Straight => "",
        Phase::Brake => "brake ",
        Phase::Trail => "trail the brake ",
        Phase::Rotation => "",
        Phase::Throttle => "throttle ",
    };
    match cue.advice {
        Advice::Sooner => format!("{with}{size} sooner"),
        Advice::Later => format!("{with}{size} later"),
        Advice::Harder => format!("{with}harder by {size}"),
        Advice::Softer => format!("{with}softer by {size}"),
        Advice::Longer => format!("{with}{size} longer"),
        Advice::Shorter => format!("{with}{size} shorter"),
        Advice::Faster => format!("carry {size} more through the slowest point"),
        Advice::Slower => format!("take {size} off at the slowest point"),
        Advice::Wider => format!("{size} wider at the slowest point"),
        Advice::Tighter => format!("{size} nearer the inside at the slowest point"),
        Advice::Fuller => format!("full throttle {size} sooner"),
        Advice::Steady => format!("stay on the throttle, a lift cost {size}"),
        Advice::MoreRoad => format!("use {size} more road at the exit"),
        Advice::SmallerLift => format!("a smaller lift, carry {size} more"),
        Advice::Better => format!("better by {size}, keep it"),
    }
}

/// Where on the road the cue's aim is, as the reference did it, and the word that leads to it.
fn aim_m(corner: &Corner, cue: &Cue) -> Option<(&'static str, f32)> {
    let facts = &corner.facts;
    let (lead, at) = match (cue.phase, cue.advice) {
        (Phase::Brake, Advice::Sooner | Advice::Later) => ("", facts.brake_m),
        (Phase::Trail, Advice::Longer | Advice::Shorter) => ("until ", facts.release_m),
        (Phase::Throttle, Advice::Sooner | Advice::Later) => ("", facts.throttle_m),
        (Phase::Throttle, Advice::Fuller) => ("", facts.full_m),
        _ => return None,
    };
    Some((lead, at?.value))
}

/// What to do and where the reference does it: `brake 12 m later, 6 m past the second board`.
pub fn advice(cue: &Cue, reference: &ReferenceView<'_>, units: Units) -> String {
    let mut text = instruction(cue, units);
    let aim = corner(reference, cue.corner).and_then(|c| aim_m(c, cue));
    if let Some((lead, at_m)) = aim
        && let Some(place) = places::near(reference, at_m, units)
    {
        text.push_str(", ");
        text.push_str(lead);
        text.push_str(&place);
    }
    text
}

/// When a cue is told.
pub const fn moment(told: Told) -> &'static str {
    match told {
        Told::Now => "as it happened",
        Told::After => "on the way out",
        Told::Ahead => "before the corner",
    }
}

/// The way a cue points, as every display shows it: to the left sooner or less, to the right later
/// or more, neither for what is to be kept.
pub const fn mark(advice: Advice) -> char {
    match advice.way() {
        Way::Less => '←',
        Way::More => '→',
        Way::Keep => '=',
    }
}

/// A line below a corner's figures: which way, what to do, and when it is told.
pub fn told_line(cue: &Cue, what: &str) -> String {
    format!("     {} {what} ({})\n", mark(cue.advice), moment(cue.told))
}

/// A cue in one sentence:
/// `Corner 5 (Long Left): brake 12 m later, 6 m past the second board (0.21 s lost)`.
pub fn cue(cue: &Cue, reference: &ReferenceView<'_>, units: Units) -> String {
    let next = match cue.told {
        Told::Ahead => "next: ",
        Told::Now | Told::After => "",
    };
    let mut text = format!(
        "{next}{}: {}",
        corner_name(reference, cue.corner),
        advice(cue, reference, units)
    );
    match cue.loss_s {
        Some(loss) if cue.advice != Advice::Better && loss >= LOSS_SAID_S => {
            text.push_str(&format!(" ({} lost)", seconds(f64::from(loss))));
        }
        _ => {}
    }
    text
}

/// A lap in one sentence: `Lap 2: 1:23.412, 0.418 s behind the reference`.
pub fn lap(lap: &LapEvent) -> String {
    let mut text = format!("Lap {}: {}", lap.lap, lap_time(lap.time_us));
    match lap.gap_s {
        Some(gap) if gap.is_finite() && gap >= 0.0 => {
            text.push_str(&format!(", {gap:.3} s behind the reference"));
        }
        Some(gap) if gap.is_finite() => {
            text.push_str(&format!(", {:.3} s ahead of the reference", -gap));
        }
        _ => {}
    }
    if !lap.valid {
        text.push_str(" (not a whole lap)");
    }
    text
}

/// A change of health in words: `Cues again`, `No cues: driving against the line`.
pub fn health(health: &HealthEvent) -> String {
    match health.state {
        HealthState::Ok => "Position and speed are good".into(),
        _ => format!("No cues: {}", health.why.name()),
    }
}

/// A pace in words: `Lap 3: 2.0 % slower than the reference everywhere`.
pub fn pace(pace: &PaceEvent) -> String {
    let percent = (f64::from(pace.ratio) - 1.0) * 100.0;
    let word = if percent < 0.0 { "faster" } else { "slower" };
    format!(
        "Lap {}: {:.1} % {word} than the reference everywhere",
        pace.lap,
        percent.abs()
    )
}

/// Any event in words; `None` for those that are only measurements (phases, corner facts).
pub fn event(event: &Event, reference: &ReferenceView<'_>, units: Units) -> Option<String> {
    match event {
        Event::Cue(c) => Some(cue(c, reference, units)),
        Event::Lap(l) => Some(lap(l)),
        Event::Health(h) => Some(health(h)),
        Event::Pace(p) => Some(pace(p)),
        Event::Phase(_) | Event::Corner(_) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::test_reference::with_reference;
    use cuepost_engine::Size;

    fn a_cue(phase: Phase, advice: Advice, size: Size) -> Cue {
        Cue {
            lap: 2,
            corner: 2,
            phase,
            advice,
            told: Told::After,
            size,
            size_s: None,
            loss_s: Some(0.21),
            time_us: 0,
            progress_m: 0.0,
        }
    }

    #[test]
    fn a_cue_says_where_the_reference_does_it() {
        with_reference(|r| {
            // The second board stands at 394 m, the reference brakes at 400 m.
            let later = a_cue(Phase::Brake, Advice::Later, Size::Metres(12.0));
            assert_eq!(
                cue(&later, r, Units::Metric),
                "Corner 2 (Long Left): brake 12 m later, 6 m past the second board (0.21 s lost)"
            );
        });
    }

    #[test]
    fn a_reminder_says_that_it_is_for_the_next_corner() {
        with_reference(|r| {
            let mut c = a_cue(Phase::Rotation, Advice::Faster, Size::Speed(2.0));
            c.told = Told::Ahead;
            c.corner = 1;
            c.loss_s = None;
            assert_eq!(
                cue(&c, r, Units::Metric),
                "next: Corner 1: carry 7 km/h more through the slowest point"
            );
        });
    }

    #[test]
    fn what_got_better_is_no_loss() {
        with_reference(|r| {
            let c = a_cue(Phase::Straight, Advice::Better, Size::Seconds(0.15));
            assert_eq!(
                cue(&c, r, Units::Metric),
                "Corner 2 (Long Left): better by 0.15 s, keep it"
            );
        });
    }

    #[test]
    fn laps_say_ahead_or_behind() {
        let mut l = LapEvent {
            lap: 2,
            time_us: 83_412_000,
            end_us: 0,
            valid: true,
            gap_s: Some(0.418),
        };
        assert_eq!(lap(&l), "Lap 2: 1:23.412, 0.418 s behind the reference");
        l.gap_s = Some(-0.2);
        l.valid = false;
        assert_eq!(
            lap(&l),
            "Lap 2: 1:23.412, 0.200 s ahead of the reference (not a whole lap)"
        );
    }
}

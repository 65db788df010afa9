//! How much of the reference's grip was used, lap by lap: what fades in every corner alike is the
//! tyres, the fuel or the day, and no corner's fault.

use crate::session::Session;
use cuepost_engine::{CornerKind, Facts, ReferenceView};
use std::fmt::Write;

/// Corners a lap needs for a middle.
const CORNERS_LEAST: usize = 3;
/// Laps a trend needs.
const LAPS_LEAST: usize = 5;
/// A trend is told from so many of its standard deviations over many laps, and over few from so
/// many more as there are laps to share this: about Student's t for one chance in a hundred.
const SURE: (f32, f32) = (2.3, 8.0);
/// And from this much a lap.
const TOLD: f32 = 0.002;

/// One lap.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LapGrip {
    /// The lap.
    pub lap: u16,
    /// Middle over the corners of the largest deceleration, over the reference's.
    pub braking: Option<f32>,
    /// The same of the lateral acceleration at the slowest point.
    pub cornering: Option<f32>,
}

/// A trend over the laps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Change a lap.
    pub a_lap: f32,
    /// Its standard deviation.
    pub sd: f32,
}

/// The laps in their order.
pub fn laps(session: &Session, reference: &ReferenceView<'_>) -> Vec<LapGrip> {
    let mut numbers: Vec<u16> = session.passages.iter().map(|p| p.facts.lap).collect();
    numbers.sort_unstable();
    numbers.dedup();
    let of = |lap: u16| {
        let facts = || {
            let mine = session.passages.iter().map(|p| &p.facts);
            mine.filter(move |f| f.lap == lap && f.usable)
        };
        LapGrip {
            lap,
            braking: middle(facts().filter_map(|f| braking(f, reference)).collect()),
            cornering: middle(facts().filter_map(|f| cornering(f, reference)).collect()),
        }
    };
    let all = numbers.into_iter().filter(|lap| *lap > 0).map(of);
    all.filter(|l| l.braking.is_some() || l.cornering.is_some())
        .collect()
}

fn braking(facts: &Facts, reference: &ReferenceView<'_>) -> Option<f32> {
    let own = corner(facts, reference)?;
    let (live, want) = (
        facts.peak_decel_mps2?.value,
        own.facts.peak_decel_mps2?.value,
    );
    (own.kind == CornerKind::Braked && want > 1.0).then(|| live / want)
}

/// On the same bend the lateral acceleration goes with the square of the speed.
fn cornering(facts: &Facts, reference: &ReferenceView<'_>) -> Option<f32> {
    let own = corner(facts, reference)?;
    let (live, want) = (facts.slowest_mps?.value, own.facts.slowest_mps?.value);
    (own.kind != CornerKind::Flat && want > 1.0).then(|| (live / want).powi(2))
}

fn corner<'a>(facts: &Facts, reference: &ReferenceView<'a>) -> Option<&'a cuepost_engine::Corner> {
    let index = usize::from(facts.corner).checked_sub(1)?;
    reference.corners.get(index)
}

fn middle(mut all: Vec<f32>) -> Option<f32> {
    all.retain(|x| x.is_finite());
    if all.len() < CORNERS_LEAST {
        return None;
    }
    all.sort_by(f32::total_cmp);
    let n = all.len();
    Some(0.5 * (all[n / 2] + all[(n - 1) / 2]))
}

/// A straight line by least squares.
pub fn trend(points: &[(f32, f32)]) -> Option<Trend> {
    let n = points.len() as f32;
    if points.len() < LAPS_LEAST {
        return None;
    }
    let (mx, my) = (
        points.iter().map(|p| p.0).sum::<f32>() / n,
        points.iter().map(|p| p.1).sum::<f32>() / n,
    );
    let square: f32 = points.iter().map(|p| (p.0 - mx).powi(2)).sum();
    if square <= 0.0 {
        return None;
    }
    let a_lap = points.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum::<f32>() / square;
    let left: f32 = points
        .iter()
        .map(|p| (p.1 - my - a_lap * (p.0 - mx)).powi(2))
        .sum();
    Some(Trend {
        a_lap,
        sd: (left / (n - 2.0) / square).sqrt(),
    })
}

type Part = fn(&LapGrip) -> Option<f32>;

const PARTS: [(&str, &str, Part); 2] = [
    ("cornering", "turn", |l| l.cornering),
    ("braking", "brake", |l| l.braking),
];

fn points(laps: &[LapGrip], part: Part) -> Vec<(f32, f32)> {
    let known = laps
        .iter()
        .filter_map(|l| Some((f32::from(l.lap), part(l)?)));
    known.collect()
}

/// The trends in words; nothing when the laps are too few.
pub fn words(laps: &[LapGrip]) -> Vec<String> {
    let said = PARTS.iter().filter_map(|(name, _, part)| {
        let points = points(laps, *part);
        let found = trend(&points)?;
        let (first, last) = (points.first()?.0, points.last()?.0);
        let percent = 100.0 * found.a_lap.abs();
        let least = SURE.0 + SURE.1 / (points.len() as f32 - 2.0);
        let sure = found.a_lap.abs() > least * found.sd && found.a_lap.abs() > TOLD;
        Some(if !sure {
            format!("Grip used in {name}: no trend over laps {first:.0} to {last:.0}.")
        } else if found.a_lap < 0.0 {
            format!(
                "Grip used in {name} fell by {percent:.1} % a lap (±{:.1}) over laps {first:.0} to {last:.0}, over the middle of the corners: look at tyres, temperature and road before the driver.",
                100.0 * found.sd
            )
        } else {
            format!(
                "Grip used in {name} rose by {percent:.1} % a lap (±{:.1}) over laps {first:.0} to {last:.0}: warmer tyres, less fuel, a drying road or a braver driver.",
                100.0 * found.sd
            )
        })
    });
    said.collect()
}

/// The section of the page; empty when the laps are too few to say anything.
pub fn section(laps: &[LapGrip]) -> String {
    let said = words(laps);
    if said.is_empty() {
        return String::new();
    }
    let mut html = String::from(
        "<section id=\"grip\" aria-labelledby=\"grip-h\"><h2 id=\"grip-h\">Grip used</h2>",
    );
    for sentence in said {
        let _ = write!(html, "<p>{sentence}</p>");
    }
    html.push_str(&chart(laps));
    html.push_str(
        "<p class=\"hint\">Middle over the corners of each lap, as a share of the reference lap's: \
         lateral acceleration at the slowest point (round), largest deceleration (square).</p></section>",
    );
    html
}

const WIDTH: f32 = 1300.0;
const HEIGHT: f32 = 170.0;
const LEFT: f32 = 48.0;
const BELOW: f32 = 24.0;

/// Where laps and shares stand on the chart.
struct Scale {
    laps: (f32, f32),
    shares: (f32, f32),
}

impl Scale {
    fn of(laps: &[LapGrip]) -> Option<Self> {
        let (first, last) = (f32::from(laps.first()?.lap), f32::from(laps.last()?.lap));
        let values = || laps.iter().flat_map(|l| [l.braking, l.cornering]).flatten();
        let low = (values().fold(1.0, f32::min) * 20.0).floor() / 20.0;
        let high = (values().fold(1.0, f32::max) * 20.0).ceil() / 20.0;
        Some(Self {
            laps: (first, last.max(first + 1.0)),
            shares: (low, high.max(low + 0.05)),
        })
    }

    fn x(&self, lap: f32) -> f32 {
        let (first, last) = self.laps;
        LEFT + 12.0 + (lap - first) / (last - first) * (WIDTH - LEFT - 30.0)
    }

    fn y(&self, share: f32) -> f32 {
        let (low, high) = self.shares;
        8.0 + (high - share) / (high - low) * (HEIGHT - BELOW - 16.0)
    }
}

fn chart(laps: &[LapGrip]) -> String {
    let Some(scale) = Scale::of(laps) else {
        return String::new();
    };
    let mut svg = format!(
        "<svg viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" aria-label=\"Grip used against the lap\">"
    );
    lines(&mut svg, &scale);
    for (k, (_, colour, part)) in PARTS.iter().enumerate() {
        trace(&mut svg, &scale, &points(laps, *part), colour, k == 0);
    }
    let every = (laps.len() / 15).max(1);
    for l in laps.iter().step_by(every) {
        let _ = write!(
            svg,
            "<text x=\"{:.1}\" y=\"{}\" text-anchor=\"middle\">lap {}</text>",
            scale.x(f32::from(l.lap)),
            HEIGHT - 6.0,
            l.lap
        );
    }
    svg.push_str("</svg>");
    svg
}

/// A line across for every 5 or 10 %.
fn lines(svg: &mut String, scale: &Scale) {
    let (low, high) = scale.shares;
    let mut line = low;
    while line <= high + 0.001 {
        let _ = write!(
            svg,
            "<path d=\"M{LEFT} {0:.1}H{WIDTH}\" stroke=\"var(--line)\" fill=\"none\"/><text x=\"{1}\" y=\"{2:.1}\" text-anchor=\"end\">{3:.0} %</text>",
            scale.y(line),
            LEFT - 6.0,
            scale.y(line) + 4.0,
            100.0 * line
        );
        line += if high - low > 0.31 { 0.1 } else { 0.05 };
    }
}

/// One part over the laps, with a sign of its own.
fn trace(svg: &mut String, scale: &Scale, points: &[(f32, f32)], colour: &str, round: bool) {
    let mut path = String::new();
    for (i, (lap, v)) in points.iter().enumerate() {
        let letter = if i == 0 { 'M' } else { 'L' };
        let _ = write!(path, "{letter}{:.1} {:.1}", scale.x(*lap), scale.y(*v));
    }
    let _ = write!(
        svg,
        "<path d=\"{path}\" stroke=\"var(--{colour})\" stroke-width=\"1.5\" fill=\"none\"/>"
    );
    for (lap, v) in points {
        let (cx, cy) = (scale.x(*lap), scale.y(*v));
        let _ = if round {
            write!(
                svg,
                "<circle cx=\"{cx:.1}\" cy=\"{cy:.1}\" r=\"4.5\" fill=\"var(--{colour})\"/>"
            )
        } else {
            write!(
                svg,
                "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"8\" height=\"8\" fill=\"var(--{colour})\"/>",
                cx - 4.0,
                cy - 4.0
            )
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fading(a_lap: f32, noise: f32) -> Vec<LapGrip> {
        let lap = |i: u16| {
            let wobble = if i.is_multiple_of(2) { noise } else { -noise };
            let v = 1.0 + a_lap * f32::from(i) + wobble;
            LapGrip {
                lap: i,
                braking: Some(1.0 + wobble),
                cornering: Some(v),
            }
        };
        (1..=10).map(lap).collect()
    }

    #[test]
    fn a_fading_tyre_is_told_and_noise_is_not() {
        let laps = fading(-0.01, 0.003);
        let said = words(&laps);
        assert!(
            said[0].contains("cornering fell by 1.0 % a lap"),
            "{said:?}"
        );
        assert!(said[1].contains("braking: no trend"), "{said:?}");
        assert!(words(&laps[..4]).is_empty(), "four laps are no trend");
        assert!(words(&fading(0.01, 0.003))[0].contains("rose by"));
        let html = section(&laps);
        assert_eq!(html.matches("<circle").count(), 10);
        assert_eq!(html.matches("<rect").count(), 10);
        assert_eq!(section(&laps[..4]), "");
    }

    #[test]
    fn a_trend_is_a_straight_line_by_least_squares() {
        let found = trend(&[(1.0, 1.0), (2.0, 1.1), (3.0, 1.2), (4.0, 1.3), (5.0, 1.4)]).unwrap();
        assert!((found.a_lap - 0.1).abs() < 1e-6 && found.sd < 1e-6);
        assert_eq!(trend(&[(1.0, 1.0); 6]), None);
    }
}

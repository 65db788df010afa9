//! What a page shows can be read at arm's length in the sun: the height of its capitals, the contrast
//! of text and shapes, nothing cut off.

use crate::chrome::{Screen, ask};
use fantoccini::Client;

/// Millimetres of a CSS pixel on a phone or tablet held at arm's length: the reference pixel of
/// CSS Values 3 is 1/160 inch at a device's usual distance for handheld screens (common practice
/// of browsers on phones), so this is a nominal figure.
const MM_A_PIXEL: f64 = 25.4 / 160.0;
/// ISO 15008:2017, recommended 20 arc minutes at 0.7 m (from memory): h = 2 d tan(θ/2).
const ISO_15008_MM: f64 = 4.07;

/// For each visible text: its element, the height of a capital in CSS pixels, and the contrast of
/// its colour to the ground (WCAG 2.2, relative luminance).
pub const TEXTS: &str = r#"(() => {
  const luminance = (c) => {
    const [r, g, b] = c.match(/[\d.]+/g).slice(0, 3).map((v) => {
      v = v / 255;
      return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = luminance(getComputedStyle(document.body).backgroundColor);
  const context = document.createElement("canvas").getContext("2d");
  return [...document.body.querySelectorAll("*")]
    .filter((e) => [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim()))
    .filter((e) => e.checkVisibility())
    .map((e) => {
      const style = getComputedStyle(e);
      context.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
      const ink = luminance(style.color);
      const box = e.getBoundingClientRect();
      const range = document.createRange();
      range.selectNodeContents(e);
      const text = range.getBoundingClientRect();
      return {
        id: e.id,
        text: e.textContent,
        capital_px: context.measureText("H").actualBoundingBoxAscent,
        contrast: (Math.max(ink, ground) + 0.05) / (Math.min(ink, ground) + 0.05),
        inside: text.left >= -1 && text.right <= innerWidth + 1 && text.top >= -1 && text.bottom <= innerHeight + 1,
      };
    });
})()"#;

/// The contrast of the arrow or the frame to the ground, if one is shown.
const SHAPE: &str = r#"(() => {
  const luminance = (c) => {
    const [r, g, b] = c.match(/[\d.]+/g).slice(0, 3).map((v) => {
      v = v / 255;
      return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const arrow = [...document.querySelectorAll('#shape polygon')].find((p) => p.checkVisibility());
  const frame = document.querySelector('#cue.keep');
  const colour = arrow ? getComputedStyle(arrow).fill : frame && getComputedStyle(frame).borderTopColor;
  if (!colour) return null;
  const [a, b] = [luminance(colour), luminance(getComputedStyle(document.body).backgroundColor)];
  return (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
})()"#;

/// On the dark ground and on the bright one.
pub async fn check_legible(page: &Client, screen: Screen) {
    for light in [true, false] {
        let toggle = format!(
            "(() => {{ document.documentElement.classList.toggle('light', {light}); return 1; }})()"
        );
        ask(page, &toggle).await;
        check_ground(page, screen).await;
    }
}

async fn check_ground(page: &Client, screen: Screen) {
    let showing = ask(page, "document.body.dataset.showing").await;
    let shape = ask(page, SHAPE).await;
    assert_eq!(
        shape.is_number(),
        showing == "cue",
        "{}: {shape}",
        screen.name
    );
    assert!(
        shape.as_f64().is_none_or(|c| c >= 7.0),
        "{}: {shape}",
        screen.name
    );
    for text in ask(page, TEXTS).await.as_array().expect("texts") {
        let mm = text["capital_px"].as_f64().expect("a height") * MM_A_PIXEL;
        assert!(
            mm >= 1.5 * ISO_15008_MM,
            "{}: {text} is {mm:.1} mm",
            screen.name
        );
        assert!(
            text["contrast"].as_f64() >= Some(7.0),
            "{}: {text}",
            screen.name
        );
        assert_eq!(text["inside"], true, "{}: {text}", screen.name);
    }
}

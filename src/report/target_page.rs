//! The target for sharpness as a page to print, with the steps of all that is shot beside a
//! calibration: five squares, whose edges are dark against light, turned against the pixels.

use super::lines::wrapped;
use askama::Template;

#[derive(Template)]
#[template(path = "target.html")]
struct TargetSheet<'a> {
    /// Left, top, and middle of each square in millimetres.
    squares: Vec<(f64, f64, f64, f64)>,
    side: f64,
    sun: &'a str,
    parts: [Part; 3],
}

/// One sort of frames.
struct Part {
    title: &'static str,
    steps: &'static [&'static str],
}

/// Side of a square in millimetres.
const SIDE: f64 = 42.0;
/// Their middles on a sheet laid across: 279 by 209 mm are on both A4 (ISO 216) and Letter (ANSI/ASME
/// Y14.1).
const MIDDLES: [(f64, f64); 5] =
    [(139.5, 104.5), (40.0, 42.0), (239.0, 42.0), (40.0, 167.0), (239.0, 167.0)];

/// What to do, part by part.
const PARTS: [Part; 3] = [
    Part {
        title: "Sharpness: folders sharpness/bare and sharpness/filter",
        steps: &[
            "Print this page at full size in black ink; the line must measure 50 mm. Fix it flat, evenly \
             lit, without gloss.",
            "Fill the frame with it, upright to the camera: the squares then stand at five degrees to the \
             pixels. Tripod, remote release, stabilisation off, the aperture you use.",
            "Focus without the filter, then turn autofocus off and touch neither ring. Raw; the paper \
             bright, not clipped.",
            "Three frames without the filter, three through it at a time that gives the same brightness, \
             and three without again: a focus that changed shows in them.",
        ],
    },
    Part {
        title: "Veil: folders veil/bare, veil/filter, veil/dark, veil/leak",
        steps: &[
            "Line a box black and put it behind an opening in white card; the opening takes a twentieth \
             of the frame, in its middle, the card the rest.",
            "Two frames without the filter and two through it, the card bright and not clipped; two with \
             the lens capped at each of the two times.",
            "From eight stops, or with a slot holder: one frame with an opaque card in the filter\u{2019}s \
             place, same time, so that light past the holder is told from veil.",
        ],
    },
    Part {
        title: "Ghosts: folders ghost/bare and ghost/filter",
        steps: &[
            "A small bright lamp in a dark room, half way from the middle of the frame to a corner.",
            "Without the filter and through it: one frame so short that the lamp itself is not clipped, \
             one some five stops longer, one ten.",
        ],
    },
];

/// The page to print.
///
/// # Errors
/// Where the template cannot be written, which does not happen to a string.
pub fn page() -> Result<String, askama::Error> {
    let square = |(x, y): (f64, f64)| (x - SIDE / 2.0, y - SIDE / 2.0, x, y);
    TargetSheet {
        squares: MIDDLES.map(square).to_vec(),
        side: SIDE,
        sun: crate::safety::SUN_SHORT,
        parts: PARTS,
    }
    .render()
}

/// The steps for the terminal.
#[must_use]
pub fn text() -> String {
    let mut out = String::new();
    for part in PARTS {
        out.push_str(&format!("\n{}\n", part.title));
        for (step, number) in part.steps.iter().zip(1..) {
            out.push_str(&wrapped(&format!("  {number}  "), &crate::say::figures::plain(step)));
        }
    }
    out.push_str(&format!(
        "\n{}\n",
        wrapped("", "For ghosts use a lamp, never the sun.").trim_end()
    ));
    out
}

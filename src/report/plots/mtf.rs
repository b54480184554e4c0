//! Modulation over frequency, without the filter and through it, each with its band.

use super::chart::Plane;
use super::ink::Role;
use super::label::{Anchor, Label};
use super::sheet::{Caption, PlotError, Sheet, Svg};

/// One curve: cycles per pixel, modulation, expanded uncertainty.
pub type Curve = [[f64; 3]];

/// The highest frequency drawn, that of Nyquist, in cycles per pixel.
const NYQUIST: f64 = 0.5;
/// Modulation at the top.
const TOP: f64 = 1.1;

/// Draws both curves; the dotted line is half the modulation, where MTF50 is read.
///
/// # Errors
/// Where a curve has fewer than two points or the drawing library refuses.
pub fn both(
    caption: &Caption,
    bare: &Curve,
    filtered: Option<&Curve>,
    width: f64,
) -> Result<Svg, PlotError> {
    const SIZE: f64 = 13.5;
    if bare.len() < 2 || filtered.is_some_and(|c| c.len() < 2) {
        return Err(PlotError::Empty);
    }
    let height = if width < 400.0 { 230.0 } else { 260.0 };
    let plane = Plane {
        left: 46.0,
        right: width - 14.0,
        top: 14.0,
        bottom: height - 48.0,
        x_lo: 0.0,
        x_hi: NYQUIST,
        y_top: TOP,
        y_bottom: 0.0,
    };
    let mut sheet = Sheet::new(caption, width, height);
    for (share, text) in [(0.0, "0"), (0.5, "0.5"), (1.0, "1")] {
        plane.y_tick(&mut sheet, share, text, SIZE);
    }
    plane.frame(&mut sheet);
    for tenth in 0..=5 {
        let at = f64::from(tenth) / 10.0;
        plane.x_tick(&mut sheet, at, &crate::rounding::fixed(at, 1), SIZE);
    }
    draw(&mut sheet, &plane, bare, Role::Claimed);
    if let Some(filtered) = filtered {
        draw(&mut sheet, &plane, filtered, Role::Measured);
    }
    // The words stand at the right above the curves, which fall.
    let x = plane.right - 4.0;
    let label = |words: &str, y: f64, role| {
        Label::new(words, x, plane.top + y, SIZE, Anchor::End).paint(role)
    };
    sheet.text_if_room(label("without the filter", 10.0, Role::Claimed));
    if filtered.is_some() {
        sheet.text_if_room(label("through it", 30.0, Role::Measured));
    }
    let below = Label::new("cycles per pixel", plane.right, height - 10.0, SIZE, Anchor::End);
    sheet.text_if_room(below.paint(Role::Soft));
    sheet.finish()
}

fn draw(sheet: &mut Sheet, plane: &Plane, curve: &Curve, role: Role) {
    let inside = |[f, m, u]: &[f64; 3]| {
        let keep = |v: f64| v.clamp(0.0, TOP);
        (f.clamp(0.0, NYQUIST), keep(*m), keep(m - u), keep(m + u))
    };
    let points: Vec<(f64, f64, f64, f64)> = curve.iter().map(inside).collect();
    let mut band: Vec<(f64, f64)> = points.iter().map(|p| plane.at((p.0, p.3))).collect();
    band.extend(points.iter().rev().map(|p| plane.at((p.0, p.2))));
    sheet.area(band, Role::Zone);
    sheet.line(points.iter().map(|p| plane.at((p.0, p.1))).collect(), 2.0, role);
}

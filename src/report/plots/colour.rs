//! The cast: a grey patch split in two, and for the lab the plane of a* and b*.

use super::chart::{Plane, step};
use super::heat::srgb;
use super::ink::{Paint, Role};
use super::label::{Anchor, Bounds, Label};
use super::sheet::{Caption, PlotError, Sheet, Svg};

/// Lightness of the patch.
const GREY: f64 = 60.0;
/// Of the neutral surround.
const SURROUND: f64 = 50.0;

/// The grey of L* 60 as the filter leaves it, the exposure made up. In CIELAB (CIE 15:2018)
/// a* and b* of one and the same cast grow with L* + 16 while all ratios are above (6/29)^3.
#[must_use]
pub fn cast_at_grey(lab: [f64; 3]) -> [f64; 3] {
    let scale = (GREY + 16.0) / (lab[0] + 16.0);
    [GREY, lab[1] * scale, lab[2] * scale]
}

/// Left half without the filter, right half with it.
///
/// # Errors
/// Where the drawing library refuses.
pub fn swatch(caption: &Caption, lab: [f64; 3], width: f64) -> Result<Svg, PlotError> {
    const HEIGHT: f64 = 150.0;
    const INSET: f64 = 34.0;
    const SIZE: f64 = 14.0;
    let mut sheet = Sheet::new(caption, width, HEIGHT);
    let surround = Paint::Exact(srgb([SURROUND, 0.0, 0.0]));
    let all = Bounds { left: 0.0, top: 0.0, right: width, bottom: HEIGHT };
    sheet.rectangle(all, surround);
    let middle = width / 2.0;
    let half = |left, right| Bounds { left, top: INSET, right, bottom: HEIGHT - 10.0 };
    sheet.rectangle(half(INSET, middle), Paint::Exact(srgb([GREY, 0.0, 0.0])));
    sheet.rectangle(half(middle, width - INSET), Paint::Exact(srgb(cast_at_grey(lab))));
    let white = Paint::Exact([0xFF, 0xFF, 0xFF]);
    let (left, right) = ((INSET + middle) / 2.0, (middle + width - INSET) / 2.0);
    sheet.text(Label::new("without", left, 18.0, SIZE, Anchor::Middle).paint(white));
    sheet.text(Label::new("with the filter", right, 18.0, SIZE, Anchor::Middle).paint(white));
    sheet.finish()
}

/// A point in the plane.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanePoint {
    /// Its name, empty for none.
    pub label: String,
    /// a*.
    pub a: f64,
    /// b*.
    pub b: f64,
    /// Radius of doubt.
    pub doubt: f64,
}

/// a* to the right, b* upwards, the bare light in the middle, rings of equal distance.
///
/// # Errors
/// Where there is no point or the drawing library refuses.
pub fn plane(caption: &Caption, points: &[PlanePoint], width: f64) -> Result<Svg, PlotError> {
    const SIZE: f64 = 13.5;
    if points.is_empty() {
        return Err(PlotError::Empty);
    }
    let farthest = points.iter().map(|p| p.a.hypot(p.b) + p.doubt).fold(4.0, f64::max);
    let ring = step(farthest * 1.15, 3.0);
    let reach = ring * (farthest * 1.1 / ring).ceil();
    let (left, right, top, bottom) = (12.0, width - 12.0, 12.0, width - 12.0);
    let plane = Plane {
        left,
        right,
        top,
        bottom,
        x_lo: -reach,
        x_hi: reach,
        y_top: reach,
        y_bottom: -reach,
    };
    let mut sheet = Sheet::new(caption, width, width);
    let (cx, cy) = plane.at((0.0, 0.0));
    sheet.line(vec![(left, cy), (right, cy)], 1.0, Role::Rule);
    sheet.line(vec![(cx, top), (cx, bottom)], 1.0, Role::Rule);
    let rings = (reach / ring).round() as i64;
    for n in 1..=rings {
        sheet.dot(cx, cy, plane.x(ring * n as f64) - cx, false, Role::Zone);
    }
    for (words, x, y, anchor) in [
        ("redder, +a*", right, cy - 11.0, Anchor::End),
        ("greener", left, cy - 11.0, Anchor::Start),
        ("yellower, +b*", cx + 6.0, top + 8.0, Anchor::Start),
        ("bluer", cx + 6.0, bottom - 8.0, Anchor::Start),
    ] {
        sheet.text(Label::new(words, x, y, SIZE, anchor).paint(Role::Soft));
    }
    for point in points {
        let (x, y) = plane.at((point.a, point.b));
        sheet.line(vec![(cx, cy), (x, y)], 1.0, Role::Measured);
        sheet.dot(x, y, plane.x(point.doubt) - cx, false, Role::Measured);
        sheet.dot(x, y, 3.5, true, Role::Measured);
    }
    for point in points.iter().filter(|point| !point.label.is_empty()) {
        let (x, y) = plane.at((point.a, point.b));
        label_point(&mut sheet, &point.label, x, y, plane.x(point.doubt) - cx);
    }
    for n in 1..=rings {
        let x = plane.x(ring * n as f64);
        let text = format!("{}", ring * n as f64);
        sheet.text_if_room(
            Label::new(text, x - 3.0, cy + 11.0, SIZE - 1.0, Anchor::End).paint(Role::Soft),
        );
    }
    sheet.finish()
}

/// Tries the four sides of the circle of doubt.
fn label_point(sheet: &mut Sheet, words: &str, x: f64, y: f64, radius: f64) {
    const SIZE: f64 = 13.5;
    let gap = radius + 5.0;
    let sides = [
        (x + gap, y, Anchor::Start),
        (x - gap, y, Anchor::End),
        (x, y - gap - 7.0, Anchor::Middle),
        (x, y + gap + 7.0, Anchor::Middle),
    ];
    for (x, y, anchor) in sides {
        if sheet.text_if_room(Label::new(words, x, y, SIZE, anchor).paint(Role::Measured)) {
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One cast (ratios of X and Z to Y kept) at L* 50 and at L* 60, by the definition of CIELAB
    /// (CIE 15:2018, eq. 8.1 to 8.6).
    #[test]
    fn the_same_cast_at_another_lightness() {
        let (x_ratio, z_ratio) = (0.93_f64, 1.08_f64);
        let lab = |lightness: f64| {
            let fy: f64 = (lightness + 16.0) / 116.0;
            let y = fy.powi(3);
            let (fx, fz) = ((x_ratio * y).cbrt(), (z_ratio * y).cbrt());
            [lightness, 500.0 * (fx - fy), 200.0 * (fy - fz)]
        };
        let (found, expected) = (cast_at_grey(lab(50.0)), lab(60.0));
        for (f, e) in found.iter().zip(expected) {
            assert!((f - e).abs() < 1e-9, "{found:?} {expected:?}");
        }
    }
}

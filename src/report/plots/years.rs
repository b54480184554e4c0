//! A value over the years, each measurement with its uncertainty, marked by its camera.

use super::chart::{Plane, step};
use super::ink::Role;
use super::label::{Anchor, Label};
use super::ruler::Caption;
use super::sheet::{PlotError, Sheet, Svg};

/// Size of letters, pixels.
const SIZE: f64 = 13.5;

/// One measurement.
#[derive(Clone, Debug, PartialEq)]
pub struct YearPoint {
    /// Years of the common era, with their fraction.
    pub year: f64,
    /// The value, in the unit of the axis.
    pub value: f64,
    /// Its expanded uncertainty, in the same unit.
    pub u95: f64,
    /// A letter for the camera; empty where there is one only.
    pub camera: String,
}

/// The points over the years; `what` names the axis.
///
/// # Errors
/// Where there is nothing finite to draw or the drawing library refuses.
pub fn years(
    caption: &Caption,
    points: &[YearPoint],
    what: &str,
    width: f64,
) -> Result<Svg, PlotError> {
    const HEIGHT: f64 = 230.0;
    let ends = |of: &dyn Fn(&YearPoint) -> [f64; 2]| {
        points
            .iter()
            .flat_map(of)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), v| (lo.min(v), hi.max(v)))
    };
    let (low, high) = ends(&|p| [p.value - p.u95, p.value + p.u95]);
    let (first, last) = ends(&|p| [p.year, p.year]);
    if !(low.is_finite() && high.is_finite() && first.is_finite() && last.is_finite()) {
        return Err(PlotError::Empty);
    }
    let pad = ((high - low) * 0.1).max(1e-3);
    let apart = step(high - low + 2.0 * pad, 4.0);
    let room = ((last - first) * 0.06).max(0.1);
    let plane = Plane {
        left: 58.0,
        right: width - 14.0,
        top: 28.0,
        bottom: HEIGHT - 34.0,
        x_lo: first - room,
        x_hi: last + room,
        y_top: high + pad,
        y_bottom: low - pad,
    };
    let mut sheet = Sheet::new(&caption.name, &caption.title, &caption.finding, width, HEIGHT);
    axes(&mut sheet, &plane, apart, (first, last));
    let line = points.iter().map(|p| plane.at((p.year, p.value))).collect();
    sheet.line(line, 1.0, Role::Rule);
    for point in points {
        draw(&mut sheet, &plane, point);
    }
    sheet.text_if_room(Label::new(what, 2.0, 11.0, SIZE, Anchor::Start).paint(Role::Soft));
    sheet.finish()
}

/// Values at the left, years below.
fn axes(sheet: &mut Sheet, plane: &Plane, apart: f64, (first, last): (f64, f64)) {
    let places = (-apart.log10().floor()).clamp(0.0, 6.0) as usize;
    let (from, to) = ((plane.y_bottom / apart).ceil() as i64, (plane.y_top / apart).floor() as i64);
    for tick in from..=to {
        let value = tick as f64 * apart;
        let text = crate::say::figures::fixed(value, places);
        plane.y_tick(sheet, value, &text, SIZE);
    }
    plane.frame(sheet);
    let every = ((last - first) / 8.0).ceil().max(1.0) as i64;
    for year in plane.x_lo.ceil() as i64..=plane.x_hi.floor() as i64 {
        if year % every == 0 {
            plane.x_tick(sheet, year as f64, &year.to_string(), SIZE);
        }
    }
}

fn draw(sheet: &mut Sheet, plane: &Plane, point: &YearPoint) {
    let (x, y) = plane.at((point.year, point.value));
    let (up, down) = (plane.y(point.value + point.u95), plane.y(point.value - point.u95));
    sheet.line(vec![(x, up), (x, down)], 2.0, Role::Measured);
    sheet.dot(x, y, 4.0, true, Role::Measured);
    if !point.camera.is_empty() {
        let label = Label::new(&*point.camera, x + 8.0, y - 9.0, SIZE, Anchor::Start);
        sheet.text_if_room(label);
    }
}

//! A value along something, over the years or the dial: each point with its uncertainty.

use super::chart::{Plane, step};
use super::ink::Role;
use super::label::{Anchor, Label};
use super::sheet::{Caption, PlotError, Sheet, Svg};

/// Size of letters, pixels.
const SIZE: f64 = 13.5;

/// One point.
#[derive(Clone, Debug, PartialEq)]
pub struct CoursePoint {
    /// Where, in the unit of the lower axis.
    pub x: f64,
    /// The value, in the unit of the left axis.
    pub value: f64,
    /// Its expanded uncertainty, in the same unit.
    pub u95: f64,
    /// A letter beside it; empty where there is none.
    pub letter: String,
}

/// The axes, and what is drawn beside the points.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CourseAxes {
    /// Names the left axis.
    pub what: String,
    /// Places along the lower axis with their words; those without room are left out.
    pub ticks: Vec<(f64, String)>,
    /// Room left of the first point and right of the last, in the unit of the lower axis.
    pub room: f64,
    /// A line from point to point.
    pub joined: bool,
    /// A line at nought, where the values would all be.
    pub nought: bool,
    /// Rings for what was claimed or would be, in the units of both axes.
    pub claimed: Vec<(f64, f64)>,
}

/// The points along the lower axis.
///
/// # Errors
/// Where there is nothing finite to draw or the drawing library refuses.
pub fn course(
    caption: &Caption,
    points: &[CoursePoint],
    axes: &CourseAxes,
    width: f64,
) -> Result<Svg, PlotError> {
    const HEIGHT: f64 = 230.0;
    let (mut low, mut high) = ends(points.iter().flat_map(|p| [p.value - p.u95, p.value + p.u95]));
    let (first, last) = ends(points.iter().map(|p| p.x));
    if !(low.is_finite() && high.is_finite() && first.is_finite() && last.is_finite()) {
        return Err(PlotError::Empty);
    }
    let beside = axes.claimed.iter().map(|(_, y)| *y).chain(axes.nought.then_some(0.0));
    (low, high) = beside.fold((low, high), |(lo, hi), v| (lo.min(v), hi.max(v)));
    let pad = ((high - low) * 0.1).max(1e-3);
    let plane = Plane {
        left: 58.0,
        right: width - 14.0,
        top: 28.0,
        bottom: HEIGHT - 34.0,
        x_lo: first - axes.room,
        x_hi: last + axes.room,
        y_top: high + pad,
        y_bottom: low - pad,
    };
    let mut sheet = Sheet::new(caption, width, HEIGHT);
    frame(&mut sheet, &plane, axes);
    if axes.nought {
        sheet.line(vec![plane.at((plane.x_lo, 0.0)), plane.at((plane.x_hi, 0.0))], 1.0, Role::Rule);
    }
    if axes.joined {
        let line = points.iter().map(|p| plane.at((p.x, p.value))).collect();
        sheet.line(line, 1.0, Role::Rule);
    }
    for claimed in &axes.claimed {
        let (x, y) = plane.at(*claimed);
        sheet.dot(x, y, 4.0, false, Role::Claimed);
    }
    for point in points {
        draw(&mut sheet, &plane, point);
    }
    sheet.text_if_room(Label::new(&*axes.what, 2.0, 11.0, SIZE, Anchor::Start).paint(Role::Soft));
    sheet.finish()
}

fn ends(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), v| (lo.min(v), hi.max(v)))
}

/// Values at the left, places below.
fn frame(sheet: &mut Sheet, plane: &Plane, axes: &CourseAxes) {
    let apart = step(plane.y_top - plane.y_bottom, 4.0);
    let places = (-apart.log10().floor()).clamp(0.0, 6.0) as usize;
    let (from, to) = ((plane.y_bottom / apart).ceil() as i64, (plane.y_top / apart).floor() as i64);
    for tick in from..=to {
        let value = tick as f64 * apart;
        let text = crate::say::figures::fixed(value, places);
        plane.y_tick(sheet, value, &text, SIZE);
    }
    plane.frame(sheet);
    for (x, words) in &axes.ticks {
        plane.x_tick(sheet, *x, words, SIZE);
    }
}

fn draw(sheet: &mut Sheet, plane: &Plane, point: &CoursePoint) {
    let (x, y) = plane.at((point.x, point.value));
    let (up, down) = (plane.y(point.value + point.u95), plane.y(point.value - point.u95));
    sheet.line(vec![(x, up), (x, down)], 2.0, Role::Measured);
    sheet.dot(x, y, 4.0, true, Role::Measured);
    if !point.letter.is_empty() {
        let label = Label::new(&*point.letter, x + 8.0, y - 9.0, SIZE, Anchor::Start);
        sheet.text_if_room(label);
    }
}
